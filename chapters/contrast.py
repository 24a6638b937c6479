"""How the contrast of the picture rises and falls: fades, and fog that comes and goes.

Numbers in, numbers out; places are frame numbers in the signals.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction

import numpy as np

from chapters.looks import LOOK_S
from chapters.marks import Numbers
from chapters.signals import Signals

#: Fog comes and goes within this time on either side, in seconds.
FOG_S = Fraction(3)
#: Black pictures of one stretch differ by no more than this, in levels.
BLACK_LEVELS = 2.0
#: A step larger than this is a cut or a cover.
ABRUPT = 0.3


def ramp(signals: Signals, first: int, stop: int) -> tuple[int, int]:
    """Last frame at full contrast before a blank stretch and the first at full contrast after it.

    ``first`` is the first blank frame, ``stop`` the first after the stretch.
    """
    times, contrast = signals.times, signals.contrast
    lowest = bisect_left(times, times[first] - 2 * LOOK_S)
    highest = bisect_right(times, times[stop] + 2 * LOOK_S)
    begins = first - 1 - _climb(contrast[lowest:first][::-1])
    climbs = _leaves_black(signals, first, stop)
    return max(begins, 0), max(climbs + _climb(contrast[climbs:highest]), stop)


def _leaves_black(signals: Signals, first: int, stop: int) -> int:
    """The first picture of a blank stretch that is brighter than its darkest; ``stop`` where all are as dark.

    A view of little contrast is blank still when it has long begun to come up.
    """
    levels = signals.level[first:stop]
    return first + int(np.flatnonzero(levels <= levels.min() + BLACK_LEVELS)[-1]) + 1


def _climb(contrast: Numbers) -> int:
    """Frames until a picture that comes up from black has its full contrast; 0: it is there at once.

    A climb has no large step in it: a cut or a lamp that is turned up within the time is none.
    """
    full = float(contrast.max(initial=0.0))
    if len(contrast) < 3 or contrast[1] > 0.35 * full:
        return 0
    top = int(np.flatnonzero(contrast >= 0.9 * full)[0])
    if contrast[(top + 3) // 4] < 1.2 * contrast[0]:
        return 0  # there at once; something else came later
    steps = np.diff(contrast[: top + 1])
    while len(steps) and float(np.abs(steps).max()) > 0.3 * full:
        cut = int(np.abs(steps).argmax())
        full = float(contrast[: cut + 1].max())
        if cut < 2 or contrast[1] > 0.35 * full:
            return 0
        top = int(np.flatnonzero(contrast[: cut + 1] >= 0.9 * full)[0])
        steps = np.diff(contrast[: top + 1])
    return top


def dips(signals: Signals, here: int, part: float) -> bool:
    """Whether the contrast is below ``part`` of what it is soon before and soon after, up to a cut."""
    least = min(_highest(signals, here, way) for way in (-1, 1))
    return float(signals.contrast[here]) < part * least


def _highest(signals: Signals, here: int, way: int) -> float:
    """The highest contrast on one side within ``FOG_S``, up to the next abrupt change."""
    highest, n = float(signals.contrast[here]), here
    while 0 <= n + way < len(signals.times):
        step = float(signals.step[n + 1 if way > 0 else n])
        n += way
        if step > ABRUPT or abs(signals.times[n] - signals.times[here]) > FOG_S:
            break
        highest = max(highest, float(signals.contrast[n]))
    return highest
