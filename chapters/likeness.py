"""Small grey pictures -> how alike they are, whatever the lamp does.

A picture is first made independent of the light: the local mean is taken away and the rest is
divided by the local contrast (divisive normalisation). What is left is structure: a lamp step, a
filter swung in or a weak flash leaves it as it was, and where a flash has washed the picture out
nothing is left, which is told apart from "something else is there".

Arrays are float32, shape (rows, columns), both below about 200; values in, values out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Plane = NDArray[np.float32]

#: The longer side of the working picture in pixels.
WORKING_PX = 160
#: Contrast, in 8-bit levels, below which structure counts as noise.
NOISE_LEVELS = 1.5
#: A block with less than this share of its possible structure is blank.
BLANK_BLOCK = 0.25

#: Enlargements at which a view is looked for again.
MAGNIFICATIONS = tuple(1.08**n for n in range(2, 11))

_LOCAL_PX = 21
_ROWS, _COLUMNS = 9, 16
_MATCH_ROWS, _MATCH_COLUMNS = 5, 8
_REACH_PX = 10
_COARSE_PX = 64


@dataclass(frozen=True, slots=True)
class View:
    """One picture made ready for comparison.

    ``grey`` smoothed levels 0..255; ``structure`` the light-free picture, about -3..3;
    ``blocks`` its energy per block, shape (9, 16), 0 blank to 1 full of structure; ``half`` the
    structure at half size; ``coarse`` the levels without their local mean, at 64 pixels; ``luma``
    the picture at working size; ``level`` mean level; ``fine`` mean fine detail in levels.
    """

    grey: Plane
    structure: Plane
    blocks: Plane
    half: Plane
    coarse: Plane
    luma: Grey
    level: float
    fine: float

    @property
    def detail(self) -> float:
        """Share of the blocks that hold structure, 0..1."""
        return float(np.count_nonzero(self.blocks > BLANK_BLOCK)) / self.blocks.size


def working_size(rows: int, columns: int) -> tuple[int, int]:
    """(columns, rows) of the working picture: the longer side is ``WORKING_PX``, none below 32."""
    scale = WORKING_PX / max(rows, columns)
    return max(32, round(columns * scale)), max(32, round(rows * scale))


def view(luma: Grey, size: tuple[int, int]) -> View:
    """Make a luma picture (rows, columns) ready for comparison at ``size`` (columns, rows)."""
    if (luma.shape[1], luma.shape[0]) != size:
        shrink = luma.shape[0] >= size[1] and luma.shape[1] >= size[0]
        way = cv2.INTER_AREA if shrink else cv2.INTER_LINEAR
        luma = np.asarray(cv2.resize(luma, size, interpolation=way), np.uint8)
    else:
        luma = luma.copy()
    raw = luma.astype(np.float32)
    grey = cv2.GaussianBlur(raw, (0, 0), 1.2)
    high = grey - cv2.blur(grey, (_LOCAL_PX, _LOCAL_PX))
    local = cv2.blur(high * high, (_LOCAL_PX, _LOCAL_PX))
    spread = np.sqrt(local + NOISE_LEVELS**2)
    structure = high / spread
    half = cv2.resize(structure, (size[0] // 2, size[1] // 2), interpolation=cv2.INTER_AREA)
    return View(
        grey=grey,  # type: ignore[arg-type]
        structure=structure,
        blocks=block_mean(structure * structure),
        half=half,
        coarse=_coarse(raw, size),
        luma=luma,
        level=float(raw.mean()),
        fine=float(np.abs(raw - grey).mean()),
    )


def _coarse(raw: Plane, size: tuple[int, int]) -> Plane:
    scale = _COARSE_PX / max(size)
    small = (max(8, round(size[0] * scale)), max(8, round(size[1] * scale)))
    soft = cv2.resize(cv2.GaussianBlur(raw, (0, 0), 2.5), small, interpolation=cv2.INTER_AREA)
    return np.asarray(soft - cv2.blur(soft, (15, 15)), np.float32)


def block_mean(plane: Plane) -> Plane:
    """Mean of each of the 9 x 16 blocks."""
    return cv2.resize(plane, (_COLUMNS, _ROWS), interpolation=cv2.INTER_AREA)  # type: ignore[return-value]


def block_step(a: View, b: View) -> tuple[Plane, Plane]:
    """Per block: 1 - normalised correlation at rest (0 same, 1 unlike), and how far it counts, 0..1.

    A block that is blank in either picture counts nothing.
    """
    weight = np.sqrt(a.blocks * b.blocks)
    counts = (a.blocks > BLANK_BLOCK) & (b.blocks > BLANK_BLOCK)
    weight = np.where(counts, weight, 0).astype(np.float32)
    mean = block_mean(a.structure * b.structure)
    unlike = np.where(counts, 1 - mean / np.maximum(weight, 1e-6), 0).astype(np.float32)
    return np.clip(unlike, 0, 2), weight


def whole_match(a: View, b: View, reach: float = 0.12) -> float:
    """Best normalised correlation of the two structures over whole-picture shifts, -1..1.

    ``reach`` is the largest shift as a share of the picture's width. Where too little structure is
    left in either picture to say anything the answer is NaN.
    """
    if min(a.detail, b.detail) < 0.08:
        return float("nan")
    return max(_shifted(a.half, b.half, reach), _shifted(b.half, a.half, reach))


def plain_match(a: View, b: View, reach: float = 0.1) -> float:
    """The same over the coarse levels, where strong structure counts and noise does not, -1..1.

    NaN where either picture has next to no contrast.
    """
    if min(float(np.abs(a.coarse).mean()), float(np.abs(b.coarse).mean())) < 0.5:
        return float("nan")
    return max(_shifted(a.coarse, b.coarse, reach), _shifted(b.coarse, a.coarse, reach))


def scaled_match(a: View, b: View) -> float:
    """Best whole match when the middle of either picture is enlarged, -1..1; NaN as there.

    Unlike views give up to about 0.35; one view at another magnification gives 0.45 and more.
    """
    best = float("nan")
    for scale in MAGNIFICATIONS:
        for near, far in ((_enlarged(a, scale), b), (_enlarged(b, scale), a)):
            match = whole_match(near, far)
            if math.isnan(best) or match > best:
                best = match
    return best


def _enlarged(seen: View, scale: float) -> View:
    rows, columns = seen.luma.shape
    matrix = cv2.getRotationMatrix2D(((columns - 1) / 2, (rows - 1) / 2), 0, scale)
    luma = np.asarray(cv2.warpAffine(seen.luma, matrix, (columns, rows)), np.uint8)
    return view(luma, (columns, rows))


def _shifted(template: Plane, area: Plane, reach: float) -> float:
    rows, columns = template.shape
    dy, dx = max(2, round(rows * reach)), max(2, round(columns * reach))
    inner = template[dy : rows - dy, dx : columns - dx]
    return float(cv2.matchTemplate(area, inner, cv2.TM_CCOEFF_NORMED).max())


@dataclass(frozen=True, slots=True)
class Landmarks:
    """Corners and blobs of one picture that can be found again at another place, turn and size."""

    places: Plane
    marks: Plane


def landmarks(seen: View) -> Landmarks:
    """SIFT key points (Lowe, IJCV 2004) of the light-free picture at twice the working size."""
    raw = seen.luma.astype(np.float32)
    high = raw - cv2.blur(raw, (_LOCAL_PX, _LOCAL_PX))
    spread = np.sqrt(cv2.blur(high * high, (_LOCAL_PX, _LOCAL_PX)) + NOISE_LEVELS**2)
    even = np.clip(128 + 50 * high / spread, 0, 255).astype(np.uint8)
    large = cv2.resize(even, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    finder = cv2.SIFT_create(nfeatures=300, contrastThreshold=0.02)  # type: ignore[attr-defined]
    points, marks = finder.detectAndCompute(large, None)
    if marks is None or len(points) < 4:
        return Landmarks(np.zeros((0, 2), np.float32), np.zeros((0, 128), np.float32))
    return Landmarks(np.array([p.pt for p in points], np.float32), marks)


def common_landmarks(a: Landmarks, b: Landmarks) -> int:
    """How many distinct landmarks of ``a`` stand in ``b`` under one shift, turn and scale (0.4..2.5).

    Unlike views give about 2 and at most 4; one view at another magnification gives 5 and more.
    """
    if min(len(a.places), len(b.places)) < 4:
        return 0
    pairs = cv2.BFMatcher().knnMatch(a.marks, b.marks, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    if len(good) < 4:
        return 0
    here = a.places[[m.queryIdx for m in good]]
    there = b.places[[m.trainIdx for m in good]]
    turn, inside = cv2.estimateAffinePartial2D(here, there, ransacReprojThreshold=6)
    if turn is None or not 0.4 < float(np.hypot(turn[0, 0], turn[1, 0])) < 2.5:
        return 0
    kept = there[inside.ravel() > 0]
    return len({(round(float(x) / 8), round(float(y) / 8)) for x, y in kept})


@dataclass(frozen=True, slots=True)
class BlockMatch:
    """How the blocks of one picture are found again in another, each shifted as it likes best.

    ``match`` weighted mean of the best correlations, -1..1 (NaN: nothing to compare);
    ``kept`` share of the blocks that hold structure in both found again; ``shift_px`` median length
    of their shifts in working pixels; ``scores`` the best correlation of each of the 5 x 8 blocks,
    NaN where a block could not be compared.
    """

    match: float
    kept: float
    shift_px: float
    scores: Plane


_NOTHING = float("nan")
#: The match of a pair that is not there.
UNKNOWN_MATCH = BlockMatch(
    match=_NOTHING,
    kept=_NOTHING,
    shift_px=_NOTHING,
    scores=np.full((_MATCH_ROWS, _MATCH_COLUMNS), np.nan, np.float32),
)


def block_match(a: View, b: View) -> BlockMatch:
    """Find each of 5 x 8 blocks of ``a`` again in ``b`` within 10 working pixels."""
    rows, columns = a.structure.shape
    height, width = rows // _MATCH_ROWS, columns // _MATCH_COLUMNS
    energy = np.sqrt(_match_energy(a) * _match_energy(b))
    counts = np.minimum(_match_energy(a), _match_energy(b)) >= BLANK_BLOCK
    scores = np.full((_MATCH_ROWS, _MATCH_COLUMNS), np.nan, np.float32)
    shifts: list[float] = []
    for i, j in np.argwhere(counts).tolist():
        top, left = i * height, j * width
        template = a.structure[top : top + height, left : left + width]
        y0, x0 = max(0, top - _REACH_PX), max(0, left - _REACH_PX)
        area = b.structure[y0 : top + height + _REACH_PX, x0 : left + width + _REACH_PX]
        score = cv2.matchTemplate(area, template, cv2.TM_CCOEFF_NORMED)
        _, scores[i, j], _, (x, y) = cv2.minMaxLoc(score)
        shifts.append(float(np.hypot(x0 + x - left, y0 + y - top)))
    if len(shifts) < 0.08 * scores.size:
        return BlockMatch(_NOTHING, _NOTHING, _NOTHING, scores)
    return BlockMatch(
        match=float(np.average(scores[counts], weights=energy[counts])),
        kept=float(np.mean(scores[counts] > 0.7)),
        shift_px=float(np.median(shifts)),
        scores=scores,
    )


def _match_energy(seen: View) -> Plane:
    shape = (_MATCH_COLUMNS, _MATCH_ROWS)
    return np.asarray(cv2.resize(seen.blocks, shape, interpolation=cv2.INTER_AREA), np.float32)


def change(a: View, b: View) -> float:
    """Mean size of the change of grey, its mean taken away, in levels."""
    apart = b.grey - a.grey
    return float(np.abs(apart - apart.mean()).mean())


def block_change(a: View, b: View, blocks: NDArray[np.bool_]) -> float:
    """The same block by block in those named of a grid, its mean taken away in each."""
    apart = b.grey - a.grey
    rows, columns = apart.shape[0] // blocks.shape[0], apart.shape[1] // blocks.shape[1]
    sizes: list[float] = []
    for i, j in np.argwhere(blocks).tolist():
        part = apart[i * rows : (i + 1) * rows, j * columns : (j + 1) * columns]
        sizes.append(float(np.abs(part - part.mean()).mean()))
    return float(np.mean(sizes))


@dataclass(frozen=True, slots=True)
class Blend:
    """How well a picture is a mixture of an earlier and a later one.

    ``misfit`` what the mixture leaves unexplained, as a part of what a picture made of pieces of
    both would leave: near 0 in a dissolve, about 1 where something sweeps over the view, more where
    the view just moves, infinite where the share of the later one is not between 0.2 and 0.8.
    ``levels`` how far apart the two are, as a root mean square.
    """

    misfit: float
    levels: float


def blend(earlier: View, between: View, later: View) -> Blend | None:
    """Fit ``between`` = (1 - s) ``earlier`` + s ``later``; None where the two hardly differ."""
    first, last = earlier.coarse, later.coarse
    apart = last - first
    size = float((apart * apart).sum())
    if size < 2 * apart.size:
        return None
    levels = float(np.sqrt(size / apart.size))
    gone = between.coarse - first
    share = float((gone * apart).sum()) / size
    if not 0.2 < share < 0.8:
        return Blend(float("inf"), levels)
    left = gone - share * apart
    misfit = float((left * left).sum()) / (share * (1 - share) * size)
    return Blend(misfit, levels)
