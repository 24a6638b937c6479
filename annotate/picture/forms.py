"""The forms that tell the kinds of time apart without their colour, as coverage masks 0..255.

Fast: a slanted hatch, denser with speed. Not shown: a dotted outline. Away: two posts with a gap.
All are drawn four times as fine and averaged, so that edges are smooth at every size.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from annotate.picture.colours import U8

_FINE = 4
#: Hatch densities: stripes on a bar three times as wide as high, from the least speed to the most.
STRIPES = (4, 5, 6, 7, 8, 9, 10)


def stripes_for(speed: Fraction) -> int:
    """How many stripes the hatch has at a speed: 0 up to 1x, more by one each doubling half-way."""
    if speed <= 1:
        return 0
    step = int(1.5 * math.log2(float(speed)))
    return STRIPES[min(step, len(STRIPES) - 1)]


def _grid(width_px: int, height_px: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    across = (np.arange(width_px * _FINE) + 0.5) / _FINE
    down = (np.arange(height_px * _FINE) + 0.5) / _FINE
    return across[None, :], down[:, None]


def _averaged(on: npt.NDArray[np.bool_]) -> U8:
    rows, columns = on.shape
    blocks = on.reshape(rows // _FINE, _FINE, columns // _FINE, _FINE).mean(axis=(1, 3))
    out: U8 = np.rint(blocks * 255).astype(np.uint8)
    return out


def hatch(width_px: int, height_px: int, stripes: int) -> U8:
    """Slanted stripes that fill the bar; the stripe takes 45 % of the pitch."""
    across, down = _grid(width_px, height_px)
    pitch = width_px / max(stripes, 1)
    slant = (across + down * 0.6) / pitch
    return _averaged(np.mod(slant, 1.0) < 0.45)


def dotted_outline(width_px: int, height_px: int) -> U8:
    """A dotted rectangle with nothing inside."""
    across, down = _grid(width_px, height_px)
    thick = max(1.0, height_px / 9)
    edge = (
        (across < thick) | (across > width_px - thick) | (down < thick) | (down > height_px - thick)
    )
    pitch = max(2.2 * thick, 4.0)
    along = np.where((down < thick) | (down > height_px - thick), across, down)
    return _averaged(edge & (np.mod(along, pitch) < 0.58 * pitch))


def two_posts(width_px: int, height_px: int) -> U8:
    """Two upright posts with a gap between them: time that no picture exists of."""
    across, down = _grid(width_px, height_px)
    post = max(1.5, min(width_px * 0.17, height_px * 0.45))  # small, however long the bar
    return _averaged(((across < post) | (across > width_px - post)) & (down >= 0))
