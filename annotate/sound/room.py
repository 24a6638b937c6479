"""The room's own sound in step with the film: kept where the picture is real time, silent elsewhere.

Sample ``n`` of the film stands at ``n / 48000`` s of cut time and is the recording's sample at the
recording time on screen then, whichever part holds it. Every joint is faded over a few
milliseconds, so that no step of the waveform clicks.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from annotate.recording import Recording
from chapters.media.samples import SampleReader
from chapters.timemap import Piece, TimeMap
from chapters.times import round_half_up

RATE_HZ = 48000
#: A joint is faded out and in over this time each.
FADE_S = Fraction(5, 1000)
_BLOCK = RATE_HZ

Samples = NDArray[np.float32]


class _Room:
    """The sound of all parts by recording time; one part is open at a time."""

    def __init__(self, recording: Recording, stack: ExitStack) -> None:
        self._recording = recording
        self._stack = stack
        self._part = -1
        self._reader: SampleReader | None = None

    def read(self, start: Fraction, count: int) -> Samples:
        """``count`` samples from recording time ``start`` on, silence where there is no sound."""
        out = np.zeros((count, 2), np.float32)
        done = 0
        while done < count:
            r = start + Fraction(done, RATE_HZ)
            span = self._recording.line.part_at(r)
            left = span.offset + span.length - r
            n = min(count - done, max(1, -(-left * RATE_HZ // 1)))
            own = r - span.offset + span.trim
            index = self._recording.line.parts.index(span)
            out[done : done + n] = self._from(index, own, int(n))
            done += int(n)
        return out

    def _from(self, index: int, own: Fraction, count: int) -> Samples:
        probe = self._recording.probes[index]
        if probe.sound is None:
            return np.zeros((count, 2), np.float32)
        if index != self._part:
            self._stack.close()
            reader = SampleReader(self._recording.paths[index], probe, RATE_HZ)
            self._reader, self._part = self._stack.enter_context(reader), index
        assert self._reader is not None
        return self._reader.read(own, own + Fraction(count, RATE_HZ))


def _first_sample(t: Fraction) -> int:
    return round_half_up(t * RATE_HZ)


def _joined(before: Piece, after: Piece) -> bool:
    """Whether sound runs on from one piece into the next without a joint."""
    if not (before.is_real and after.is_real):
        return False
    assert before.recording is not None and after.recording is not None
    return before.recording.end == after.recording.start


def sound_runs(film: TimeMap) -> Iterator[tuple[Fraction, Fraction, Fraction | None]]:
    """Stretches of cut time ``(t0, t1, r0)`` of one continuous sound; ``r0`` None is silence."""
    start: Piece | None = None
    for i, piece in enumerate(film.pieces):
        start = piece if start is None else start
        following = film.pieces[i + 1] if i + 1 < len(film.pieces) else None
        if following is not None and _joined(piece, following):
            continue
        r0 = start.recording.start if start.is_real and start.recording is not None else None
        yield start.cut.start, piece.cut.end, r0
        start = None


def room_sound(film: TimeMap, recording: Recording) -> Iterator[Samples]:
    """The film's sound, float32 (n, 2) in blocks of at most a second, exactly as long as the film."""
    total = _first_sample(film.length)
    with ExitStack() as stack:
        room = _Room(recording, stack)
        for t0, t1, r0 in sound_runs(film):
            first, last = _first_sample(t0), min(total, _first_sample(t1))
            for at in range(first, last, _BLOCK):
                n = min(_BLOCK, last - at)
                if r0 is None:
                    yield np.zeros((n, 2), np.float32)
                    continue
                block = room.read(r0 + Fraction(at, RATE_HZ) - t0, n)
                yield block * _fade(at - first, n, last - first)[:, None]
        rest = total - (_first_sample(film.pieces[-1].cut.end) if film.pieces else 0)
        if rest > 0:
            yield np.zeros((rest, 2), np.float32)


def _fade(at: int, n: int, length: int) -> Samples:
    """Gain of samples ``at`` to ``at + n`` of a run of ``length``: up at its start, down at its end."""
    over = max(1, round_half_up(FADE_S * RATE_HZ))
    index = np.arange(at, at + n, dtype=np.float32)
    gain = np.minimum((index + 1) / over, (length - index) / over)
    return np.clip(gain, 0, 1).astype(np.float32)
