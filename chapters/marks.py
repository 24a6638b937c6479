"""The slow signals: how the picture stands every half second, for what is dull and for proposals.

Pictures in, numbers out; one row and one small outline are kept for every half second.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

from chapters.likeness import View, block_step
from chapters.looks import Entry

Numbers = NDArray[np.float32]

#: Distance of the marks in seconds.
MARK_S = Fraction(1, 2)

_OUTLINE = (32, 18)


@dataclass(frozen=True, slots=True)
class Marks:
    """Slow signals, one row every half second; ``outline`` int8 (n, 18, 32) is the structure, small.

    ``level`` 0..255 mean, ``detail`` share of structured blocks, ``fine`` levels of fine detail,
    ``moved`` share of blocks that differ from the mark before, ``stir`` median share of blocks that
    moved from frame to frame since then, ``tint`` (n, 2) mean Cb and Cr, 0 without colour, NaN where
    the colour is not known.
    """

    times: tuple[Fraction, ...]
    level: Numbers
    detail: Numbers
    fine: Numbers
    moved: Numbers
    stir: Numbers
    tint: Numbers
    outline: NDArray[np.int8]


class MarkReader:
    """Feed it every picture in order; ``feed`` says whether a mark was set."""

    def __init__(self) -> None:
        self._times: list[Fraction] = []
        self._rows: list[tuple[float, ...]] = []
        self._outlines: list[NDArray[np.int8]] = []
        self._last: View | None = None
        self._stirs: list[float] = []

    def feed(self, entry: Entry) -> bool:
        """Take one picture; every half second set a mark."""
        self._stirs.append(float(np.mean(entry.unlike > 0.05)))
        if self._times and entry.time - self._times[-1] < MARK_S:
            return False
        seen = entry.view
        moved = 0.0
        if self._last is not None:
            unlike, weight = block_step(self._last, seen)
            moved = float(np.mean(unlike * weight > 0.1))
        self._times.append(entry.time)
        self._rows.append(
            (seen.level, seen.detail, seen.fine, moved, float(np.median(self._stirs)), *entry.tint)
        )
        self._outlines.append(_outline(seen))
        self._last, self._stirs = seen, []
        return True

    def finish(self) -> Marks:
        """All marks set."""
        columns = np.asarray(self._rows, dtype=np.float32).reshape(-1, 7)
        empty = np.zeros((0, *_OUTLINE[::-1]), np.int8)
        return Marks(
            times=tuple(self._times),
            level=columns[:, 0],
            detail=columns[:, 1],
            fine=columns[:, 2],
            moved=columns[:, 3],
            stir=columns[:, 4],
            tint=columns[:, 5:7],
            outline=np.stack(self._outlines) if self._outlines else empty,
        )


def _outline(seen: View) -> NDArray[np.int8]:
    small = cv2.resize(seen.structure, _OUTLINE, interpolation=cv2.INTER_AREA)
    return np.clip(np.round(small * 64), -127, 127).astype(np.int8)
