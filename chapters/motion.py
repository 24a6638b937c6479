"""Does anything move in the view? Two pictures some seconds apart, held against each other.

The lamp, a breath of the whole view (a small shift, turn or change of size) and the sensor's noise
are taken out first; what is left counts as movement where it stands clear of the noise and of the
edges. So a thin instrument at the edge of the view counts, and a flicker does not.

Pictures are compared with one a little over two seconds earlier: a slow hand is far enough away by then.
Recordings are looked through without their codec's loop filter, whose absence adds up from one key
picture to the next and looks like movement; so key pictures are compared with one another besides.
Both errors only ever add movement: where either comparison sees none, there is none.

Pictures in, numbers out.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

from chapters.likeness import View

Plane = NDArray[np.float32]
Numbers = NDArray[np.float32]

#: Anchors, the pictures that are compared, lie at least so far apart, in seconds,
ANCHOR_S = Fraction(1, 2)
#: and each is compared with the latest one that is at least so much earlier: no round number of
#: seconds, for what comes and goes once a second would look at rest.
REACH_S = Fraction(11, 5)

#: What is left counts from so many levels on, or so many times its own spread, whichever is more;
_LEAST_LEVELS, _LEAST_SPREADS = 2.5, 5.0
#: at an edge it counts from more: by this part of the edge's slope in levels a pixel.
_EDGE_PART = 0.35
#: So many levels count in a cell, whatever goes on elsewhere.
_PLAIN_LEVELS = 5.0
#: Darker than this, in levels, is outside the round field, or unlit.
_UNLIT = 30.0
_ROUNDS = 3
_RIM_PX = 2
_CELLS = (16, 9)


@dataclass(frozen=True, slots=True)
class Motions:
    """One row for each comparison: what moved from ``since`` to ``times``; in order of ``times``.

    ``area`` share of the picture that moved, 0..1; ``spread`` of what is left, in levels (high
    where the whole picture changed); ``shift`` of the view as a whole, in working pixels; ``cells``
    uint8 (n, 9, 16) share of each cell that changed plainly, 255 all of it, however much the rest
    did; ``sure`` where key pictures were compared.
    """

    times: tuple[Fraction, ...]
    since: tuple[Fraction, ...]
    area: Numbers
    spread: Numbers
    shift: Numbers
    cells: NDArray[np.uint8]
    sure: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Moved:
    """Two pictures held against each other: one row of ``Motions``."""

    area: float
    spread: float
    shift: float
    cells: NDArray[np.uint8]


class MotionReader:
    """Feed it every picture in order."""

    def __init__(self) -> None:
        self._anchors: deque[tuple[Fraction, Plane]] = deque()
        self._keys: deque[tuple[Fraction, Plane]] = deque()
        self._rows: list[tuple[Fraction, Fraction, Moved, bool]] = []

    def feed(self, time: Fraction, seen: View, key: bool = False) -> None:
        """Take one picture; hold an anchor against an earlier one, a key picture against its like."""
        since = None
        if not self._anchors or time - self._anchors[-1][0] >= ANCHOR_S:
            since = self._against(self._anchors, time, seen.grey, key)
        if key and (not self._keys or time - self._keys[-1][0] >= ANCHOR_S):
            self._against(self._keys, time, seen.grey, key, since)

    def _against(
        self,
        ring: deque[tuple[Fraction, Plane]],
        time: Fraction,
        grey: Plane,
        sure: bool,
        known: Fraction | None = None,
    ) -> Fraction | None:
        """Add a row, unless it is the one since ``known``; since when the row is."""
        while len(ring) > 1 and time - ring[1][0] >= REACH_S:
            ring.popleft()
        ring.append((time, grey))
        if len(ring) < 2 or ring[0][0] == known:
            return None
        self._rows.append((time, ring[0][0], compare(ring[0][1], grey), sure))
        return ring[0][0]

    def finish(self) -> Motions:
        """All rows."""
        moved = [row[2] for row in self._rows]
        none = np.zeros((0, *_CELLS[::-1]), np.uint8)
        return Motions(
            times=tuple(row[0] for row in self._rows),
            since=tuple(row[1] for row in self._rows),
            area=np.array([m.area for m in moved], np.float32),
            spread=np.array([m.spread for m in moved], np.float32),
            shift=np.array([m.shift for m in moved], np.float32),
            cells=np.stack([m.cells for m in moved]) if moved else none,
            sure=np.array([row[3] for row in self._rows], bool),
        )


@dataclass(frozen=True, slots=True)
class Moves:
    """How much of the view changes, second by second from ``start`` on: shares 0..1."""

    start: Fraction = Fraction(0)
    amount: tuple[float, ...] = ()


def moves_of(motions: Motions) -> Moves:
    """The amounts behind ``motions``; none where nothing was compared."""
    start, maps = by_second(motions)
    return Moves(start, tuple(round(float(m), 4) for m in maps.mean(axis=1)))


def by_second(motions: Motions) -> tuple[Fraction, NDArray[np.float64]]:
    """When the first row begins, and the mean map of every whole second from there, (n, 144), 0..1."""
    if not motions.times:
        return Fraction(0), np.zeros((0, 144))
    start, count = motions.since[0], int(motions.times[-1] - motions.since[0])
    sums, rows = np.zeros((count, 144)), np.zeros(count)
    for since, time, cells in zip(motions.since, motions.times, motions.cells, strict=True):
        first, last = int(since - start), int(time - start)
        sums[first : last + 1] += cells.reshape(-1) / 255
        rows[first : last + 1] += 1
    return start, sums / np.maximum(rows, 1)[:, None]


def compare(earlier: Plane, later: Plane) -> Moved:
    """What moved between two smoothed pictures (levels 0..255, one shape)."""
    left, moved_by = _left_over(earlier, later)
    soft = cv2.GaussianBlur(left, (0, 0), 1.0)
    lit = earlier > _UNLIT
    basis = soft[lit] if np.count_nonzero(lit) > lit.size / 64 else soft
    spread = 1.4826 * float(np.median(np.abs(basis)))
    clear = np.abs(soft) - _EDGE_PART * _slope(earlier)
    clear[:_RIM_PX], clear[-_RIM_PX:] = 0, 0
    clear[:, :_RIM_PX], clear[:, -_RIM_PX:] = 0, 0
    counts = clear > max(_LEAST_LEVELS, _LEAST_SPREADS * spread)
    plainly = 255 * (clear > _PLAIN_LEVELS).astype(np.float32)
    cells = cv2.resize(plainly, _CELLS, interpolation=cv2.INTER_AREA)
    return Moved(float(counts.mean()), spread, moved_by, np.rint(cells).astype(np.uint8))


def _slope(picture: Plane) -> Plane:
    """The steepest slope near each pixel, levels a pixel."""
    x, y = _gradients(picture)
    return np.asarray(cv2.dilate(cv2.magnitude(x, y), np.ones((3, 3), np.uint8)), np.float32)


def _gradients(picture: Plane) -> tuple[Plane, Plane]:
    x = cv2.Sobel(picture, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    y = cv2.Sobel(picture, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(x, np.float32), np.asarray(y, np.float32)


def _left_over(earlier: Plane, later: Plane) -> tuple[Plane, float]:
    """``later`` less ``earlier`` under its lamp and at its place, and by how much the view moved.

    The lamp is a parabola over the levels, the place a shift, a turn and a change of size; both are
    fitted at once by least squares over the slopes (Lucas and Kanade, 1981), iterated, what does
    not fit weighted down (the weights of Cauchy's distribution).
    """
    rows, columns = earlier.shape
    terms = _terms(earlier)
    weights = np.ones(terms.shape[0], np.float32)
    whole = np.eye(3)
    left = later - earlier
    for turn in range(_ROUNDS + 1):
        back = later
        if turn:
            back = np.asarray(
                cv2.warpAffine(
                    later,
                    whole[:2],
                    (columns, rows),
                    flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                    borderMode=cv2.BORDER_REPLICATE,
                ),
                np.float32,
            )
        apart = (back - earlier)[::2, ::2].reshape(-1)
        fit = _fitted(terms, apart, weights)
        even = earlier / 128 - 1
        left = back - earlier - (fit[0] + fit[1] * even + fit[2] * even * even)
        if turn < _ROUNDS:
            whole = whole @ _step_back(fit, earlier.shape)
            near = np.abs(left[::2, ::2].reshape(-1))
            scale = 3 * (1.4826 * float(np.median(near)) + 0.3)
            weights = (1 / (1 + (near / scale) ** 2)).astype(np.float32)
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2, 1.0])
    return left, float(np.hypot(*(whole @ middle - middle)[:2]))


def _terms(picture: Plane) -> Plane:
    """Every other pixel of every other row: 1, level, its square, and the four ways to move."""
    rows, columns = picture.shape
    slope_x, slope_y = _gradients(picture)
    y, x = np.mgrid[0:rows:2, 0:columns:2].astype(np.float32)
    x, y = x - (columns - 1) / 2, y - (rows - 1) / 2
    gx, gy = slope_x[::2, ::2], slope_y[::2, ::2]
    even = picture[::2, ::2] / 128 - 1
    each = (np.ones_like(gx), even, even * even, gx, gy, x * gx + y * gy, x * gy - y * gx)
    return np.stack([term.reshape(-1) for term in each], axis=1).astype(np.float32)


def _fitted(terms: Plane, apart: Plane, weights: Plane) -> NDArray[np.float64]:
    """Weighted least squares; a term that the picture has nothing of (no slope) gets nothing."""
    size = np.sqrt((terms * terms).sum(axis=0)) + 1e-6
    even = (terms / size).astype(np.float64)
    weighted = even * weights[:, None]
    held = weighted.T @ even + 1e-7 * np.eye(len(size))
    return np.asarray(np.linalg.solve(held, weighted.T @ apart.astype(np.float64)) / size)


def _step_back(fit: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.float64]:
    """The inverse of the movement fitted about the picture's middle, 3 x 3."""
    rows, columns = shape
    x, y = (columns - 1) / 2, (rows - 1) / 2
    grow, turn = float(np.clip(fit[5], -0.1, 0.1)), float(np.clip(fit[6], -0.1, 0.1))
    step = np.array([[1 + grow, -turn, fit[3]], [turn, 1 + grow, fit[4]], [0, 0, 1.0]])
    step[0, 2] -= grow * x - turn * y
    step[1, 2] -= turn * x + grow * y
    return np.asarray(np.linalg.inv(step))
