"""Numbers of a step -> what speaks for a jump in time within one view, one measure after another.

A jump is all in one frame: it stands alone among the pictures near by, at every width of time; it
leaves the view where it is; it draws places anew that no light explains; and what moved is found
farther on than it goes near by. None of these tells alone, and so all are measured here. What each
is worth stands in ``jumpweights``.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from chapters.looks import LOOK_S, Look
from chapters.signals import Signals

#: A step is held against the pictures so near by on both sides, in seconds.
WIDTHS_S = (Fraction(12, 100), Fraction(3, 10), Fraction(7, 10), Fraction(1))
#: At least so many pictures on either side count as near by.
_LEAST_NEAR = 2
#: Where pictures are farther apart than those of so many a second, more may have moved.
_USUAL_FPS = 25
#: Change of a still picture, in levels, and its step; nothing near by is taken for less.
_STILL_LEVELS, _STILL_STEP = 0.05, 0.003

Numbers = NDArray[np.float32]


def signs(look: Look, signals: Signals) -> dict[str, float]:
    """All measures of one step by their names; NaN where there is nothing to measure.

    From the look at it: ``back`` and ``level_step``, ``levels``, ``step``, ``step_after``,
    ``torn_levels`` (see looks.Look), ``gap`` how long before it the last picture was. From what was
    new, changed and moved at once: ``burst_…`` (see looks.Burst), ``stir_…`` (see stirs.Stir),
    ``stride_…`` (see strides.Stride; not where nothing stirred). From the other steps within a
    second: the largest ``near_step``, ``near_burst`` and ``near_stir``. From the pictures near by,
    at each width in hundredths of a second: ``change_over_…`` the change in levels over the largest
    near by, ``step_over_…`` the same of the step, ``change_near_…`` the mean change in levels near
    by, and ``thirds_…`` the mean of the three largest changes over its own.
    """
    nan = float("nan")
    burst, stir = look.burst, look.stir
    stride = look.stride if stir else None
    others = [other for other in near_looks(look, signals) if other is not look]
    return {
        "back": look.back,
        "level_step": abs(look.level_step),
        "levels": look.levels,
        "step": look.step,
        "step_after": look.step_after,
        "torn_levels": look.torn_levels,
        "gap": gap(look, signals),
        "burst_held": burst.held if burst else nan,
        "burst_levels": burst.levels if burst else nan,
        "burst_share": burst.share if burst else nan,
        "burst_whole": burst.whole if burst else nan,
        "stir_held": stir.held if stir else nan,
        "stir_levels": stir.levels if stir else nan,
        "stir_own": stir.own if stir else nan,
        "stir_redrawn": stir.redrawn if stir else nan,
        "stir_share": stir.share if stir else nan,
        "stir_whole": stir.whole if stir else nan,
        "stride_farther": stride.farther if stride else nan,
        "stride_lost": stride.lost if stride else nan,
        "stride_own_px": stride.own_px if stride else nan,
        "stride_unlike": stride.unlike if stride else nan,
        "near_step": max((o.step for o in others), default=0.0),
        "near_burst": max((o.burst.levels for o in others if o.burst), default=0.0),
        "near_stir": max((o.stir.levels for o in others if o.stir), default=0.0),
        **dict(_beside(look, signals)),
    }


def _beside(look: Look, signals: Signals) -> Iterator[tuple[str, float]]:
    """How the step stands among the pictures near by, at every width."""
    here = look.index
    change, step = float(signals.change[here]), float(signals.step[here])
    for width_s in WIDTHS_S:
        width = round(100 * width_s)
        first = min(here - _LEAST_NEAR, bisect_left(signals.times, look.at - width_s))
        last = max(here + _LEAST_NEAR, bisect_right(signals.times, look.at + width_s) - 1)
        changes = _around(signals.change, max(1, first), here, last)
        steps = _around(signals.step, max(1, first), here, last)
        yield f"change_over_{width}", change / (float(changes.max()) + _STILL_LEVELS)
        yield f"step_over_{width}", step / (float(steps.max()) + _STILL_STEP)
        yield f"change_near_{width}", float(changes.mean())
        yield f"thirds_{width}", float(np.sort(changes)[-3:].mean()) / (change + 0.01)


def _around(values: Numbers, first: int, here: int, last: int) -> Numbers:
    """The values from ``first`` to ``last`` but the one ``here``; one 0 where there are none."""
    near = np.concatenate([values[first:here], values[here + 1 : last + 1]])
    return near if near.size else np.zeros(1, np.float32)


def near_looks(look: Look, signals: Signals) -> Sequence[Look]:
    """The looks of a second before and after, this one among them."""
    return signals.looks_between(look.at - LOOK_S, look.at + LOOK_S)


def gap(look: Look, signals: Signals) -> float:
    """The time between the two pictures of a step over the usual one, or that of a usual rate; 1 or more."""
    return max(1.0, look.gap_ratio, apart_s(look, signals) * _USUAL_FPS)


def apart_s(look: Look, signals: Signals) -> float:
    """Seconds between the two pictures of a step: the longer, the more may have moved."""
    return float(look.at - signals.times[max(0, look.index - 1)])
