"""Numbers -> lights: the steps of the picture that a light makes when it comes or goes.

A light leaves the structure as it was, is taken back by another step just like it, or burns out so
much of the view that nothing can be known again.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from fractions import Fraction

import numpy as np

from chapters.cutrules import CutRules
from chapters.looks import Look
from chapters.signals import Signals

#: A light lasts no longer than this, in seconds.
FLASH_S = Fraction(30)
#: Mean levels, and contrasts, that differ by less are alike.
LIKE_LEVELS = 8.0
LIKE_CONTRAST = 0.2
#: Where four pictures lie farther apart than this, in seconds, others near by were left out.
THINNED_S = Fraction(1, 2)


def lit_up(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether a light changed what looks like another view."""
    return _burnt(look, rules) or _lit(look, signals, rules)


def whited(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether either side is all but white: a light, of which hardly anything can be seen."""
    sides = slice(max(0, look.index - 1), look.index + 1)
    white = signals.level[sides] > rules.white_level
    return bool((white & (signals.contrast[sides] < rules.white_contrast_most)).any())


def comes_and_goes(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether a step within one view is one of the two ends of a bright light, or of a coloured one."""
    bright = rules.bright_levels_least
    twins = _twins(look, signals, rules)
    return any(_coloured(look, other, rules) for other in twins) or any(
        min(look.burst.levels, other.burst.levels) > bright
        and (_ends(look, other, rules) or _mirrored(look, other, rules))
        for other in twins
        if look.burst is not None and other.burst is not None
    )


def lights_faint(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether a light comes or goes over a view of hardly any contrast, which is there before and after it.

    It changes the levels by many times the contrast of either side, and takes away with it what the
    faint view could be known by; another view that is as faint changes them by less.
    """
    sides = signals.contrast[max(0, look.index - 1)], signals.contrast[look.index]
    if min(sides) > rules.faint_contrast_most:
        return False
    if look.levels < rules.faint_lit_least * max(sides):
        return False
    if sides[0] < sides[1]:
        here, stop = look.index - 1, bisect_right(signals.times, look.at + FLASH_S)
        beyond = slice(look.index + 1, stop)
    else:
        here, first = look.index, bisect_left(signals.times, look.at - FLASH_S)
        beyond = slice(first, look.index - 1)
    contrast, level = signals.contrast, signals.level
    unlike = max(rules.faint_apart_most * contrast[here], LIKE_CONTRAST)
    alike = np.abs(contrast[beyond] - contrast[here]) < unlike
    return bool((alike & (np.abs(level[beyond] - level[here]) < LIKE_LEVELS)).any())


def _burnt(look: Look, rules: CutRules) -> bool:
    """Whether much of the view was burnt out at once and the view came back: lit, not swapped."""
    burst = look.burst
    return look.returned_s is not None and burst is not None and burst.burnt > rules.burnt_most


def _lit(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether hardly any of the structure is new, or another step takes back a light just like it.

    A light that another step takes back is no cut either where nothing was new all at once.
    """
    if _thinned(look, signals):
        return False
    if look.burst is None:
        return bool(other_ends(look, signals, rules))
    if look.burst.structure < rules.cut_structure_least:
        return True
    return any(_ends(look, other, rules) for other in _twins(look, signals, rules))


def _twins(look: Look, signals: Signals, rules: CutRules) -> list[Look]:
    """The steps that this one undoes as they undo it, and those of a bright light just like it the other way."""
    undone = [other for other in undoing(look, signals) if other.undone_s == look.undone_s]
    near = signals.looks_between(look.at - FLASH_S, look.at + FLASH_S)
    return undone + [other for other in near if _mirrored(look, other, rules)]


def _mirrored(look: Look, other: Look, rules: CutRules) -> bool:
    """Whether two bright steps change the level, and make new, as much the one way as the other."""
    a, b = look.burst, other.burst
    if a is None or b is None or other is look:
        return False
    if abs(look.level_step) < rules.bright_levels_least:
        return False
    if abs(a.structure - b.structure) > rules.flash_structure_apart:
        return False
    apart = abs(look.level_step + other.level_step), abs(a.levels - b.levels)
    sizes = abs(look.level_step), a.levels
    return all(d < rules.same_apart_most * size for d, size in zip(apart, sizes, strict=True))


def _ends(look: Look, other: Look, rules: CutRules) -> bool:
    """Whether two steps are the ends of one flash: lit more than new, and as new as each other.

    Or hardly new and gone just as it came, in the whole level as in what was new; or most of the view
    is burnt out.
    """
    a, b = look.burst, other.burst
    if a is None or b is None:
        return False
    structure, levels = (a.structure + b.structure) / 2, (a.levels + b.levels) / 2
    back = abs(look.level_step + other.level_step), abs(a.levels - b.levels)
    sizes = abs(look.level_step), a.levels
    if structure < rules.same_structure_most and all(
        apart < rules.same_apart_most * size for apart, size in zip(back, sizes, strict=True)
    ):
        return True
    if (a.burnt + b.burnt) / 2 > rules.lit_burnt_most:
        return True
    lit = structure < rules.lit_structure_most and levels > rules.lit_levels_least * structure
    return lit and abs(a.structure - b.structure) < rules.ends_apart_most


def _coloured(look: Look, other: Look, rules: CutRules) -> bool:
    """Whether two steps change the mean colour as far the one way as the other: a coloured light."""
    far = min(math.hypot(*look.tint_step), math.hypot(*other.tint_step))
    apart = math.hypot(*(a + b for a, b in zip(look.tint_step, other.tint_step, strict=True)))
    return far > rules.tinted_least and apart < rules.tinted_apart_most * far


def _thinned(look: Look, signals: Signals) -> bool:
    """Whether pictures near by are left out: then what is usual there, and so what is new, is unknown."""
    last = min(look.index + 1, len(signals.times) - 1)
    return signals.times[last] - signals.times[max(0, look.index - 2)] > THINNED_S


def other_ends(look: Look, signals: Signals, rules: CutRules) -> list[Look]:
    """The steps that undo this one and its change of light, as the other end of a flash does."""
    return [
        other
        for other in undoing(look, signals)
        if look.level_step * other.level_step < 0
        and rules.unlit_levels < min(abs(look.level_step), abs(other.level_step))
    ]


def undoing(look: Look, signals: Signals) -> list[Look]:
    """The steps that undo this one, before it or after it."""
    if look.undone_s is None:
        return []
    ends = (look.at - look.undone_s, look.at + look.undone_s)
    return [other for end in ends for other in signals.looks_between(end, end)]
