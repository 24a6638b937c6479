"""What is new in a picture, and where many places are new at once: the mark of a jump in time.

A pixel is new as far as it lies above the brightest or below the darkest of the nine pixels around
its place in the picture before, so that a shift by a working pixel, a tremor of the hand, makes
nothing new. A jump in time makes places new at once, for one frame only; what moves makes the same
places new from frame to frame, and what sweeps over the view makes others new in each.

Pictures in, numbers out; a map has one value, in levels, for each of the 9 x 16 blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from chapters.likeness import Grey, Plane, View, block_mean
from chapters.looks import (
    BLANK_DETAIL,
    LASTS_LEAST,
    LOOK_S,
    QUIET_S,
    Burst,
    Entry,
    Flags,
    spread,
)
from chapters.stirs import BURNT_LEVEL, beyond

#: A block's excess counts from so many levels on.
LEAST_LEVELS = 0.15
#: A burst is looked at from so much excess on (mean levels over the view) and where it stands alone.
BURST_LEAST = 0.2
ALONE_LEAST = 2.5
#: Excess within this time on either side counts against its standing alone, in seconds.
ALONE_S = 0.3
#: So much newness of the burst's own blocks, as a part of the burst's, may be the other end of it.
_ECHO = 0.4
_STRUCTURE_SCALE = 40.0

_AROUND = np.ones((3, 3), np.uint8)


@dataclass(frozen=True, slots=True)
class Band:
    """A picture in 8 bits with the brightest and the darkest level around each pixel."""

    even: Grey
    high: Grey
    low: Grey


def band(seen: View) -> Band:
    """The picture's levels of grey, ready to be compared."""
    return _band(cv2.convertScaleAbs(seen.grey))


def _band(plane: Grey | cv2.typing.MatLike) -> Band:
    even = np.asarray(plane, np.uint8)
    return Band(
        even,
        np.asarray(cv2.dilate(even, _AROUND), np.uint8),
        np.asarray(cv2.erode(even, _AROUND), np.uint8),
    )


def newness(a: Band, b: Band) -> Plane:
    """How much either picture has that stood nowhere near in the other: mean levels per block."""
    came = cv2.max(cv2.subtract(b.even, a.high), cv2.subtract(a.low, b.even))
    went = cv2.max(cv2.subtract(a.even, b.high), cv2.subtract(b.low, a.even))
    return block_mean(np.asarray(cv2.max(came, went), np.float32))


def excess(new: Plane, near: Sequence[Plane]) -> Plane:
    """What of newness lies beyond the pictures near by, see ``stirs.beyond``."""
    return beyond(new, near, LEAST_LEVELS)


@dataclass(frozen=True, slots=True)
class Before:
    """The picture before a burst and the blocks that were new: to be looked for again later."""

    band: Band
    blocks: Flags
    size: float

    def left(self, seen: View) -> float:
        """How much of what was new is still so in ``seen``: 0 nothing, 1 all."""
        return float(newness(self.band, band(seen))[self.blocks].mean()) / self.size

    def lasts(self, entries: Sequence[Entry]) -> bool:
        """Whether most of what was new is there in all of the pictures: a few of them are asked."""
        return all(self.left(seen) > LASTS_LEAST for seen in spread(entries, 6))


def burst_of(entry: Entry, before: Sequence[Entry], after: Sequence[Entry]) -> Burst | None:
    """The burst that ``entry`` begins with, or None; ``after`` begins with the entry itself."""
    entries = [*(e for e in before if e.index > 0), *after]
    here = len(entries) - len(after)
    mine = _excess_at(entries, here)
    levels = float(mine.mean())
    if levels < BURST_LEAST:
        return None
    others = [
        float(_excess_at(entries, n).mean())
        for n, e in enumerate(entries)
        if n != here and (abs(e.seconds - entry.seconds) <= ALONE_S or abs(n - here) <= 2)
    ]
    alone = levels / (max(others, default=0.0) + 0.01)
    if alone < ALONE_LEAST:
        return None
    blocks = mine > 0
    whole = [float(e.fresh.mean()) for e in _near(entries, here)]
    return Burst(
        levels=levels,
        share=float(blocks.mean()),
        alone=alone,
        whole=float(entry.fresh.mean()) / (max(whole, default=0.0) + 0.02),
        structure=_structure(before[-1].view, entry.view, before, after, blocks),
        burnt=_burnt(band(before[-1].view), band(entry.view)),
        held=_held(before_of(entry, before, blocks), entry, before, after),
        blocks=blocks,
    )


def _burnt(a: Band, b: Band) -> float:
    """Share of the view that is burnt out in one of the two and not in the other."""
    clipped = [seen.even >= BURNT_LEVEL for seen in (a, b)]
    return abs(float(clipped[0].mean()) - float(clipped[1].mean()))


def before_of(entry: Entry, before: Sequence[Entry], blocks: Flags) -> Before:
    """The view before the burst, to be looked for again."""
    return Before(band(before[-1].view), blocks, max(float(entry.fresh[blocks].mean()), 0.01))


def _near(entries: Sequence[Entry], here: int) -> list[Entry]:
    """The entries within ``QUIET_S``, at least two on either side."""
    at = entries[here].seconds
    return [
        e
        for n, e in enumerate(entries)
        if n != here and (abs(e.seconds - at) <= float(QUIET_S) or abs(n - here) <= 2)
    ]


def _excess_at(entries: Sequence[Entry], here: int) -> Plane:
    return excess(entries[here].fresh, [e.fresh for e in _near(entries, here)])


def _structure(
    last: View, seen: View, before: Sequence[Entry], after: Sequence[Entry], blocks: Flags
) -> float:
    """How much of the light-free structure is new in the blocks, beyond what is on either side."""

    def new(a: View, b: View) -> float:
        bands = [_band(np.clip(128 + _STRUCTURE_SCALE * v.structure, 0, 255)) for v in (a, b)]
        return float(newness(*bands)[blocks].mean()) / _STRUCTURE_SCALE

    beside = [new(before[-2].view, last)] if len(before) > 1 else []
    beside += [new(seen, after[1].view)] if len(after) > 1 else []
    return new(last, seen) - max(beside, default=0.0)


def _held(kept: Before, entry: Entry, before: Sequence[Entry], after: Sequence[Entry]) -> float:
    """The least that is left of a burst after another burst of its blocks, or a blank, in a second.

    It counts where all was left until then: what moves back to where it was undoes no jump.
    """
    later = [e for e in after[1:] if e.seconds <= entry.seconds + float(LOOK_S)]
    earlier = [e for e in before if e.seconds >= entry.seconds - float(LOOK_S)]
    least = 1.0
    for n, e in enumerate(later):
        if _echo(kept, e, later[n - 1] if n else None) and kept.lasts(later[:n]):
            least = min(least, kept.left(e.view))
    now = Before(band(entry.view), kept.blocks, kept.size)
    for n, (e, following) in enumerate(pairwise(earlier)):
        if _echo(kept, following, e) and now.lasts(earlier[n + 1 :]):
            least = min(least, now.left(e.view))
    return least


def _echo(kept: Before, entry: Entry, last: Entry | None) -> bool:
    blank = last is not None and last.view.detail < BLANK_DETAIL <= entry.view.detail
    return blank or float(entry.fresh[kept.blocks].mean()) > _ECHO * kept.size
