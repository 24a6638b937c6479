"""Where one view melts into another: pictures in, numbers out.

In a dissolve every picture is a mixture of one before and one after it, in the same proportion all
over the field, and the strength of the pictures sags (see sags). ``BlendWatch`` keeps one
``BlendLook`` for every such sag, with the comparison of the views on either side. Fog, refocus and a
lamp that fades sag too, but their view comes back.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from chapters.bestmatch import best_match, best_plain, best_scaled, most_landmarks
from chapters.likeness import Plane, View, blend, block_match, block_mean
from chapters.looks import LOOK_S, Entry, spread
from chapters.sags import LENGTHS_S, Sag, SagWatch, settled

#: The views on either side are taken this far outside the ends of a blend, at least, in seconds,
CLEAR_S = Fraction(1, 6)
#: and farther by this part of its length: some of the other view may still shine through.
CLEAR_PART = Fraction(1, 4)
_LONGEST_S = Fraction(LENGTHS_S[-1]).limit_denominator(100)
#: Pictures must be kept so long for the watch to work, in seconds.
KEEP_S = _LONGEST_S * (1 + 2 * CLEAR_PART) + 2 * CLEAR_S + LOOK_S + Fraction(1, 2)

#: Levels of a light that tell nothing: a picture's level moves by as much without one.
_UNLIT_LEVELS = 10.0


@dataclass(frozen=True, slots=True)
class BlendLook:
    """One place where the strength of the pictures sags as in a dissolve.

    ``begins`` is the time of the last frame of the old view and ``ends`` that of the first frame of
    the new one, as far as the sag tells; ``sag`` is its misfit and ``solid`` what is left of the
    strength that a mixture loses (see sags.Sag). ``misfit`` is what a mixture of the outer pictures
    leaves of the one halfway (see likeness.Blend), ``levels`` how far apart the outer pictures are
    as a root mean square. ``back``, ``back_plain``, ``landmarks`` and ``scaled`` compare the views
    around, ``kept`` is the share of blocks found again, ``returned_s`` is after how many seconds the
    old one was seen again (see looks.Look); NaN back where one of them is blank.

    From ``begins`` to ``ends``: ``leap`` is the most that the share of the later view rises from
    frame to frame, ``middle`` how much it rises in the middle half, ``fine`` the fine detail halfway
    over that of the ends, and ``lit`` how far the mean level leaves that of a mixture, over how far
    apart the levels of the ends are.
    """

    begins: Fraction
    ends: Fraction
    sag: float
    solid: float
    misfit: float
    levels: float
    back: float
    back_plain: float
    landmarks: int
    scaled: float
    kept: float
    leap: float
    middle: float
    fine: float
    lit: float
    returned_s: Fraction | None = None


class BlendWatch:
    """Feed it the kept pictures after every frame; it looks for sags at every other one."""

    def __init__(self) -> None:
        self._sags = SagWatch()
        self._done: list[tuple[BlendLook, View]] = []

    def feed(self, ring: Sequence[Entry]) -> None:
        """``ring`` holds the entries of at least the last ``KEEP_S`` seconds, the new one last."""
        if ring[-1].index % 2 == 0:
            self._sags.feed(ring)
        after = _LONGEST_S * CLEAR_PART + CLEAR_S + LOOK_S / 2
        for sag in self._sags.over(ring[-1].time, after, _LONGEST_S + after + Fraction(1, 4)):
            self._done.append(_look(sag, ring))

    def finish(self, ring: Sequence[Entry]) -> None:
        """Look at what is left when no more pictures come."""
        if ring:
            self._done.extend(_look(sag, ring) for sag in self._sags.rest())

    def take(self) -> list[tuple[BlendLook, View]]:
        """The looks since the last call, each with the last picture of the view before it."""
        done, self._done = self._done, []
        return done


def _look(sag: Sag, ring: Sequence[Entry]) -> tuple[BlendLook, View]:
    sag = settled(sag, ring)
    margin = (sag.ends - sag.begins) * CLEAR_PART + CLEAR_S
    first, last = sag.begins - margin, sag.ends + margin
    before = [e for e in ring if first - LOOK_S / 2 <= e.time <= first] or [ring[0]]
    after = [e for e in ring if last <= e.time <= last + LOOK_S / 2] or [ring[-1]]
    olds, news = spread(before, 3), spread(after, 3)
    back = best_match(olds, news)
    marked = most_landmarks((olds[0], olds[-1]), news[::-1]) if back < 0.8 else 0
    inside = [e.view for e in ring if sag.begins <= e.time <= sag.ends]
    fit = blend(inside[0], inside[len(inside) // 2], inside[-1])
    shares = _shares([v.coarse for v in inside])
    look = BlendLook(
        begins=sag.begins,
        ends=sag.ends,
        sag=sag.misfit,
        solid=sag.solid,
        misfit=fit.misfit if fit else math.inf,
        levels=fit.levels if fit else 0.0,
        back=back,
        back_plain=best_plain(olds, news),
        landmarks=marked,
        scaled=best_scaled(olds, news) if back < 0.8 else float("nan"),
        kept=max(_kept(olds[-1], news[0]), _kept(olds[0], news[-1])),
        leap=float(np.abs(np.diff(shares)).max(initial=0.0)),
        middle=float(shares[-1 - len(inside) // 4] - shares[len(inside) // 4]),
        fine=_fine(inside),
        lit=_lit(inside),
    )
    return look, olds[-1]


def _shares(pictures: Sequence[Plane]) -> NDArray[np.float64]:
    """The share of the last picture in each, 0 in the first and 1 in the last."""
    first = pictures[0]
    apart = pictures[-1] - first
    size = float((apart * apart).sum()) + 1e-6
    return np.array([float(((p - first) * apart).sum()) / size for p in pictures])


def _fine(views: Sequence[View]) -> float:
    """Fine detail of the middle half over that of the ends."""
    quarter = len(views) // 4
    middle = float(np.median([v.fine for v in views[quarter : len(views) - quarter]]))
    return 2 * middle / (views[0].fine + views[-1].fine + 1e-6)


def _lit(views: Sequence[View]) -> float:
    """How far the mean level is from going straight, over how far apart the blocks' levels are."""
    levels = np.array([float(v.grey.mean()) for v in views])
    straight = np.linspace(levels[0], levels[-1], len(levels))
    apart = block_mean(views[-1].grey) - block_mean(views[0].grey)
    unlike = float(np.sqrt(np.square(apart).mean()))
    return float(np.abs(levels - straight).max()) / (unlike + _UNLIT_LEVELS)


def _kept(old: View, new: View) -> float:
    """Share of the blocks that are found again; 0 where none can be compared."""
    kept = block_match(old, new).kept
    return 0.0 if math.isnan(kept) else kept
