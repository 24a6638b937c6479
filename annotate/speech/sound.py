"""The sound a speech tool listens to: 16 kHz mono int16, read here and there, and its level."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

#: Every tool of this package works at this rate.
RATE_HZ = 16_000
#: One frame of level, of the recogniser and of word times.
FRAME_S = 0.01
FRAME = 160
#: The level given to digital silence, dB below full scale.
SILENCE_DB = -100.0
#: How much is held in memory at once while a whole take is read.
_BLOCK = 60 * RATE_HZ

Pcm = NDArray[np.int16]


class Sound(Protocol):
    """Sound at 16 kHz, mono, int16; ``count`` samples; ``read`` clips to what there is."""

    @property
    def count(self) -> int:
        """How many samples there are."""

    def read(self, start: int, stop: int) -> Pcm:
        """Samples ``start`` to ``stop``, shape (n,)."""


class ArraySound:
    """Samples held in memory as a Sound. Raises ValueError for anything but int16 of shape (n,)."""

    def __init__(self, pcm: Pcm) -> None:
        if pcm.dtype != np.int16 or pcm.ndim != 1:
            raise ValueError(f"16 kHz mono int16 samples are needed, not {pcm.dtype} {pcm.shape}")
        self._pcm = pcm

    @property
    def count(self) -> int:
        """How many samples there are."""
        return len(self._pcm)

    def read(self, start: int, stop: int) -> Pcm:
        """Samples ``start`` to ``stop``, clipped to what there is."""
        return self._pcm[max(0, start) : max(0, stop)]


def between(sound: Sound, start_s: float, end_s: float) -> Pcm:
    """The samples from ``start_s`` to ``end_s``."""
    return sound.read(round(start_s * RATE_HZ), round(end_s * RATE_HZ))


def frame_levels(sound: Sound) -> NDArray[np.float32]:
    """Mean square level of every whole 10 ms frame, dB full scale, read in blocks; shape (frames,)."""
    out = np.full(sound.count // FRAME, SILENCE_DB, np.float32)
    for start in range(0, len(out) * FRAME, _BLOCK):
        stop = min(start + _BLOCK, len(out) * FRAME)
        frames = sound.read(start, stop).astype(np.float32).reshape(-1, FRAME) / 32768
        frames -= frames.mean(axis=1, keepdims=True)
        power = np.einsum("ij,ij->i", frames, frames) / FRAME
        loud = 10 * np.log10(np.maximum(power, 1e-10))
        out[start // FRAME : stop // FRAME] = np.maximum(loud, SILENCE_DB)
    return out
