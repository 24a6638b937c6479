"""The shape of a wave's tops: cut flat or round, told in a way that outlives lossy coding.

Between two zero crossings a wave makes one top. A sine spends arccos(0.92) / arccos(0.5) = 38 % of
the time that it is above half its height above 92 % of it, and no voice's tops are broader; the rest
of a sine cut off by only 1 dB spends 55 %. Lossy coding bends the edges of a cut top and ripples it,
and leaves it as broad as it was; a limiter makes tops equally high and leaves them round.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: A top is cut where this share of the time above half its height is spent above ``_NEAR_TOP`` of it.
_BROAD, _NEAR_TOP = 0.5, 0.92
#: Samples above half the height without which a shape cannot be told.
_SAMPLES = 8
#: Heights are counted in steps of 0.1 dB from -40 dBFS up.
_LOWEST_DB, _STEP_DB, _STEPS = -40.0, 0.1, 480
#: The cut tops lie from 1 dB below to 0.6 dB above their level; few tops lie higher.
_BELOW, _ABOVE, _HIGHER = 10, 6, 0.2
#: So many cut tops, and this share of all tops near the level. In trials clean and limited voices
#: came to 15 % at most, voices cut by 4 dB to 39 % or more, coded or not. A clipper lets nothing
#: through: tops above the level are the work of coding, which lifts them where nearly all are cut;
#: so the share is asked to be greater by this part of the higher ones' share.
_COUNT, _SHARE, _SHARE_FOR_HIGHER = 10, 0.2, 0.8
#: A top's longest run between zero crossings, seconds: longer ones are no sound.
_LONGEST_S = 0.025


@dataclass
class TopCounts:
    """How many tops were seen at each height, all of them and those cut."""

    every: NDArray[np.int64] = field(default_factory=lambda: np.zeros(_STEPS, np.int64))
    cut: NDArray[np.int64] = field(default_factory=lambda: np.zeros(_STEPS, np.int64))

    def level(self) -> float | None:
        """The height at which a clipper cut the wave, full scale 1; None where none did."""
        every = np.concatenate([[0], np.cumsum(self.every)])
        cut = np.concatenate([[0], np.cumsum(self.cut)])
        at = np.arange(_BELOW, _STEPS - _ABOVE)
        near = every[at + _ABOVE] - every[at - _BELOW]
        broad = cut[at + _ABOVE] - cut[at - _BELOW]
        higher = every[-1] - every[at + _ABOVE]
        enough = np.maximum(_COUNT, _SHARE * near + _SHARE_FOR_HIGHER * higher)
        fits = (broad >= enough) & (higher <= _HIGHER * near)
        if not fits.any():
            return None
        best = int(at[int(np.argmax(np.where(fits, broad, 0)))])
        first, stop = best - _BELOW, best + _ABOVE
        middle = int(np.searchsorted(cut[first : stop + 1], (cut[first] + cut[stop]) / 2))
        return float(10 ** ((_LOWEST_DB + _STEP_DB * (first + middle - 0.5)) / 20))


class TopFinder:
    """One channel fed in blocks; each gives the cut tops that ended in it."""

    def __init__(self, rate_hz: int, counts: TopCounts) -> None:
        self._counts = counts
        self._longest = int(_LONGEST_S * rate_hz)
        self._held = np.zeros(0, np.float32)
        self._at = 0
        self._at_border = False

    def feed(self, block: NDArray[np.float32]) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
        """Sample number and height of every cut top between zero crossings known by now."""
        wave = np.concatenate([self._held, block])
        borders = np.flatnonzero(np.signbit(wave[1:]) != np.signbit(wave[:-1])) + 1
        if self._at_border:
            borders = np.insert(borders, 0, 0)
        if len(borders) < 2:
            keep = max(0, len(wave) - self._longest)
            self._held, self._at = wave[keep:], self._at + keep
            self._at_border = self._at_border and keep == 0
            return np.zeros(0, np.int64), np.zeros(0, np.float32)
        size = np.abs(wave[borders[0] : borders[-1]])
        starts = borders[:-1] - borders[0]
        found = self._measured(size, starts, self._at + borders[0])
        self._held, self._at = wave[borders[-1] :], self._at + int(borders[-1])
        self._at_border = True
        return found

    def _measured(
        self, size: NDArray[Any], starts: NDArray[Any], at: int
    ) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
        heights = np.maximum.reduceat(size, starts)
        lengths = np.diff(np.append(starts, len(size)))
        tall = np.repeat(heights, lengths)
        half = np.add.reduceat((size > 0.5 * tall).astype(np.int32), starts)
        top = np.add.reduceat((size > _NEAR_TOP * tall).astype(np.int32), starts)
        told = (half >= _SAMPLES) & (lengths <= self._longest) & (heights > 0.01)
        cut = told & (top >= _BROAD * half)
        self._count(heights[told], heights[cut])
        return (at + starts[cut]).astype(np.int64), heights[cut]

    def _count(self, every: NDArray[Any], cut: NDArray[Any]) -> None:
        for heights, counts in ((every, self._counts.every), (cut, self._counts.cut)):
            step = np.floor((20 * np.log10(heights) - _LOWEST_DB) / _STEP_DB).astype(np.int64)
            counts += np.bincount(np.clip(step, 0, _STEPS - 1), minlength=_STEPS)
