"""Where one view melts into another: pictures in, numbers out.

In a dissolve every picture is a mixture of one before and one after it, in the same proportion all
over the field. ``BlendWatch`` fits that mixture at three time scales and keeps, for every place
where it fits and the outer pictures differ, one ``BlendLook`` with the comparison of the views on
either side. Fog, refocus and a lamp that fades fit too, but their view comes back.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from chapters.bestmatch import best_match, best_plain, best_scaled, most_landmarks
from chapters.likeness import Plane, View, blend, block_match
from chapters.looks import (
    LOOK_S,
    Entry,
    spread,
)

#: Half lengths of the stretches tried, in seconds.
HALVES_S = (Fraction(1, 5), Fraction(2, 5), Fraction(4, 5))
#: So long after the outer pictures the views on either side are compared, in seconds.
SETTLED_S = Fraction(1)
#: The views on either side are taken this far outside the ends of a blend, at least, in seconds.
CLEAR_S = Fraction(1, 6)
#: Pictures must be kept so long for the watch to work, in seconds.
KEEP_S = 2 * (HALVES_S[-1] + SETTLED_S) + Fraction(1, 5)

_ALIKE_MOST = 0.6
_MISFIT_MOST = 0.7
_MIDDLE = 0.25


@dataclass(frozen=True, slots=True)
class BlendLook:
    """One place where a picture is a mixture of an earlier and a later one.

    ``at`` its time and ``half`` the distance of the two others in seconds; ``misfit``, ``alike``
    and ``levels`` as in likeness.Blend. ``begins`` is the time of the last frame of the old view and ``ends`` that
    of the first frame of the new one, as far as the mixture tells. ``back``, ``back_plain``, ``landmarks`` and ``scaled``
    compare the views around, ``kept`` is the share of blocks found again, ``returned_s`` is after
    how many seconds the old one was seen again (see looks.Look); NaN back where one of them is blank.

    From ``begins`` to ``ends``: ``bent`` is how far the share of the later view is from rising in a
    straight line (root mean square), ``leap`` the most it rises from frame to frame, and ``solid`` how
    much of the strength that a mixture of unlike views loses is still there: 0 all lost, as in a
    dissolve, whatever moves in either view; 1 none, as where a view moves or is covered; below 0
    even more lost, as in fog.
    """

    at: Fraction
    half: Fraction
    alike: float
    misfit: float
    levels: float
    begins: Fraction
    ends: Fraction
    back: float
    back_plain: float
    landmarks: int
    scaled: float
    kept: float
    bent: float
    leap: float
    solid: float
    returned_s: Fraction | None = None


@dataclass(frozen=True, slots=True)
class _Found:
    at: Fraction
    half: Fraction
    alike: float
    misfit: float
    levels: float

    @property
    def weight(self) -> float:
        """How plain the mixture is: a part of a dissolve fits as well as the whole, but tells less."""
        return self.levels * (_MISFIT_MOST - self.misfit)


class BlendWatch:
    """Feed it the kept pictures after every frame; it tries every other one."""

    def __init__(self) -> None:
        self._best: _Found | None = None
        self._last_seen = Fraction(0)
        self._done: list[tuple[BlendLook, View]] = []

    def feed(self, ring: Sequence[Entry]) -> None:
        """``ring`` holds the entries of at least the last ``KEEP_S`` seconds, the new one last."""
        now = ring[-1].time
        if ring[-1].index % 2 == 0:
            times = [e.seconds for e in ring]
            for half in HALVES_S:
                self._try(ring, times, half)
        best = self._best
        if best and now >= best.at + best.half + SETTLED_S and self._is_over(best, now):
            self._done.append(_look(best, ring))
            self._best = None

    def _is_over(self, best: _Found, now: Fraction) -> bool:
        """Whether nothing better comes, or no more may be waited for: the ring forgets its start."""
        kept_until = best.at - best.half - LOOK_S / 2 + KEEP_S - Fraction(1, 4)
        return now > self._last_seen + best.half or now >= kept_until

    def finish(self, ring: Sequence[Entry]) -> None:
        """Look at what is left when no more pictures come."""
        if self._best and ring:
            self._done.append(_look(self._best, ring))
            self._best = None

    def take(self) -> list[tuple[BlendLook, View]]:
        """The looks since the last call, each with the last picture of the view before it."""
        done, self._done = self._done, []
        return done

    def _try(self, ring: Sequence[Entry], times: list[float], half: Fraction) -> None:
        now, reach = times[-1], float(half)
        middle, first = _nearest(times, now - reach), _nearest(times, now - 2 * reach)
        off = max(abs(times[middle] - now + reach), abs(times[first] - now + 2 * reach))
        if off > reach / 3:
            return
        fit = blend(ring[first].view, ring[middle].view, ring[-1].view)
        if fit is None or fit.alike > _ALIKE_MOST or fit.misfit > _MISFIT_MOST:
            return
        self._last_seen = ring[-1].time
        found = _Found(ring[middle].time, half, fit.alike, fit.misfit, fit.levels)
        if self._best is None or found.weight > self._best.weight:
            self._best = found


def _nearest(times: list[float], at: float) -> int:
    place = bisect_left(times, at)
    if place == 0:
        return 0
    if place == len(times):
        return place - 1
    return place if times[place] - at < at - times[place - 1] else place - 1


def _look(found: _Found, ring: Sequence[Entry]) -> tuple[BlendLook, View]:
    begins, ends = _extent(found, ring)
    margin = (ends - begins) / 2 + CLEAR_S  # some of the other view may still shine through
    first, last = begins - margin, ends + margin
    before = [e for e in ring if first - LOOK_S / 2 <= e.time <= first] or [ring[0]]
    after = [e for e in ring if last <= e.time <= last + LOOK_S / 2] or [ring[-1]]
    olds, news = spread(before, 3), spread(after, 3)
    back = best_match(olds, news)
    marked = most_landmarks((olds[0], olds[-1]), news[::-1]) if back < 0.8 else 0
    bent, leap, solid = _course([e.view.coarse for e in ring if begins <= e.time <= ends])
    look = BlendLook(
        at=found.at,
        half=found.half,
        alike=found.alike,
        misfit=found.misfit,
        levels=found.levels,
        begins=begins,
        ends=ends,
        back=back,
        back_plain=best_plain(olds, news),
        landmarks=marked,
        scaled=best_scaled(olds, news) if back < 0.8 else float("nan"),
        kept=max(_kept(olds[-1], news[0]), _kept(olds[0], news[-1])),
        bent=bent,
        leap=leap,
        solid=solid,
    )
    return look, olds[-1]


def _course(pictures: Sequence[Plane]) -> tuple[float, float, float]:
    """``bent``, ``leap`` and ``solid`` of the pictures from the last old to the first new one."""
    first, last = pictures[0], pictures[-1]
    apart = last - first
    size = float((apart * apart).sum()) + 1e-6
    shares = np.array([float(((p - first) * apart).sum()) / size for p in pictures])
    bent = float(np.sqrt(np.mean((shares - np.linspace(0, 1, len(shares))) ** 2)))
    leap = float(np.abs(np.diff(shares)).max(initial=0.0))
    strong = [float((p * p).sum()) for p in (first, last)]
    solids = []
    for share, picture in zip(shares.tolist(), pictures, strict=True):
        if _MIDDLE < share < 1 - _MIDDLE:
            pieces = (1 - share) * strong[0] + share * strong[1]
            lost = share * (1 - share) * size
            solids.append((float((picture * picture).sum()) - pieces) / lost + 1)
    return bent, leap, float(np.median(solids)) if solids else 1.0


def _kept(old: View, new: View) -> float:
    """Share of the blocks that are found again; 0 where none can be compared."""
    kept = block_match(old, new).kept
    return 0.0 if math.isnan(kept) else kept


def _extent(found: _Found, ring: Sequence[Entry]) -> tuple[Fraction, Fraction]:
    """Last frame before the share of the later view rises, first frame where it has risen."""
    times = [e.seconds for e in ring]
    first = ring[_nearest(times, float(found.at - found.half))].view
    last = ring[_nearest(times, float(found.at + found.half))].view
    reach = found.half + LOOK_S / 2
    near = [e for e in ring if abs(e.time - found.at) <= reach]
    shares = _shares([e.view for e in near], first, last)
    middle = _nearest([e.seconds for e in near], float(found.at))
    low, high = float(shares[: middle + 1].min()), float(shares[middle:].max())
    rise = 0.1 * (high - low)
    begin = np.flatnonzero(shares[: middle + 1] <= low + rise)
    end = np.flatnonzero(shares[middle:] >= high - rise)
    return near[int(begin[-1])].time, near[middle + int(end[0])].time


def _shares(
    views: Sequence[View], first: View, last: View
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    apart = last.coarse - first.coarse
    size = float((apart * apart).sum()) + 1e-6
    return np.array([float(((v.coarse - first.coarse) * apart).sum()) / size for v in views])
