"""What changed from one picture to the next more than near by, place by place: a stir.

Unlike newness (see bursts) a stir takes a shift by less than a working pixel too: a hand, a tool, a
strand that stands a little elsewhere. Such a change says little by its size; it is told by lying in
one frame only, by leaving most of the view as it was, and by being no light.

Pictures in, numbers out; a map has one value, in levels, for each of the 9 x 16 blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chapters.likeness import Plane, View, block_mean

#: A block's stir counts from so many levels on, and beyond so many times what changes near by.
LEAST_LEVELS = 0.3
NEAR_TIMES = 2.0
#: A stir is looked at from so much on, mean levels over the view.
STIR_LEAST = 0.15
#: From this level on a smoothed picture is burnt out (white is 235).
BURNT_LEVEL = 228
#: A block is looked at for light where so much of it is not burnt out.
_CLEAR_SHARE = 0.3
#: What changes near by is never taken for less than this, in levels.
_STILL_LEVELS = 0.05


@dataclass(frozen=True, slots=True)
class Stir:
    """What changed at once: ``levels`` mean excess over the view, ``share`` of the blocks that have any.

    ``structure`` how much the blocks' light-free structure changed, beyond what it does on either
    side; ``whole`` all change over the most near by, ``own`` the same of the blocks alone;
    ``redrawn`` how much of the blocks' change no light explains; ``held`` how much of it is left
    after the pictures near by, 0 none.
    """

    levels: float
    share: float
    structure: float
    whole: float
    own: float
    redrawn: float
    held: float


def moved(a: View, b: View) -> Plane:
    """Mean size of the change of grey per block, in levels."""
    return block_mean(np.abs(b.grey - a.grey))


def beyond(new: Plane, near: Sequence[Plane], least_levels: float) -> Plane:
    """What of ``new`` lies beyond the pictures near by: levels per block, 0 where nothing does."""
    usual = np.maximum.reduce([np.zeros_like(new), *near])
    return np.asarray(np.maximum(0, new - NEAR_TIMES * usual - least_levels), np.float32)


def excess(new: Plane, near: Sequence[Plane]) -> Plane:
    """What of a change lies beyond the pictures near by, see ``beyond``."""
    return beyond(new, near, LEAST_LEVELS)


def stir_of(new: Plane, near: Sequence[Plane], views: Sequence[View]) -> Stir | None:
    """The stir of one picture, or None: ``new`` its map, ``near`` those of the pictures near by.

    ``views`` are the second picture before it, the one before it, itself, the one after it and one
    near by that comes last.
    """
    over = excess(new, near)
    levels = float(over.mean())
    if levels < STIR_LEAST:
        return None
    blocks = over > 0
    earlier, last, seen, following, later = views
    beside = np.maximum(_structure(earlier, last), _structure(seen, following))
    size = float(new[blocks].mean())
    return Stir(
        levels=levels,
        share=float(blocks.mean()),
        structure=float((_structure(last, seen) - beside)[blocks].mean()),
        whole=float(new.mean()) / (max(float(n.mean()) for n in near) + _STILL_LEVELS),
        own=size / (max(float(n[blocks].mean()) for n in near) + _STILL_LEVELS),
        redrawn=redrawn(last.grey, seen.grey, blocks),
        held=float(moved(last, later)[blocks].mean()) / size,
    )


def _structure(a: View, b: View) -> Plane:
    return block_mean(np.abs(b.structure - a.structure))


def redrawn(a: Plane, b: Plane, blocks: NDArray[np.bool_]) -> float:
    """How much of the change no light explains, 0..1: the median of the named 9 x 16 blocks.

    A lamp, a gain, a soft light leave a block a straight line of what it was. What of the two
    pictures lies beside their best lines, over the change, is another picture. Burnt-out pixels do
    not count, nor does a block that has few others.
    """
    counts = ((a < BURNT_LEVEL) & (b < BURNT_LEVEL)).astype(np.float32)
    share = block_mean(counts)
    weight = np.maximum(share, 1e-3)
    mean_a, mean_b = block_mean(a * counts) / weight, block_mean(b * counts) / weight
    aa = np.maximum(block_mean(a * a * counts) / weight - mean_a**2, 0.01)
    bb = np.maximum(block_mean(b * b * counts) / weight - mean_b**2, 0.01)
    ab = block_mean(a * b * counts) / weight - mean_a * mean_b
    change = np.maximum(aa + bb - 2 * ab + (mean_a - mean_b) ** 2, 0.01)
    beside = (aa + bb) / 2 * np.clip(1 - ab * ab / (aa * bb), 0, 1)
    part = np.sqrt(np.minimum(beside / change, 1))[blocks & (share > _CLEAR_SHARE)]
    return float(np.median(part)) if part.size else 0.0
