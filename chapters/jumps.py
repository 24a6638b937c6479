"""Numbers -> jumps in time within one view: how far a step lies beyond movement and light.

Four ways to tell: blocks that are torn, found again over the step much worse than beside it; a
burst of what is new and a stir of what changed, both all in one frame; and a stride, what went
farther in one frame than anything near by. Numbers in, numbers out; what they are limited by stands
in ``cutrules``.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction

from chapters.cutrules import CutRules
from chapters.looks import LOOK_S, Look
from chapters.signals import Signals

#: More separate steps half as large than this in two seconds, this one among them, are movement.
JERKS = 4
#: A step is alone where none near by is larger than this part of it.
LONE_PART = 0.2
#: More stirs half as large, or strides, than this in two seconds, this one among them, are movement.
STIRS = 3
#: Where pictures are farther apart than this no jump within one view can be told, in seconds.
SPARSE_S = Fraction(1, 4)
#: What is new in one place again within this time ticks there, in seconds.
TICKS_S = Fraction(15)


def jump(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """How far the step lies beyond the limits of movement within one view; None within them."""
    small = look.burst is not None and look.burst.share < rules.ticks_share_most
    if (small and _ticks(look, signals)) or _flashes(look, signals, rules):
        return None
    ways = (_torn, _burst, _stir, _stride)
    margins = [way(look, signals, rules) for way in ways]
    return max((m for m in margins if m is not None), default=None)


def _flashes(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether a step near by is just like this one, with the light the other way: a flash's ends."""
    here = look.stir
    if here is None or _redrawn(look, rules) or abs(look.level_step) <= rules.unlit_levels:
        return False
    return any(
        other.stir is not None
        and -2 < other.level_step / look.level_step < -0.5
        and abs(other.level_step) > rules.unlit_levels
        and abs(other.levels - look.levels) < rules.flash_levels_apart * look.levels
        and abs(other.stir.structure - here.structure) < rules.flash_structure_apart
        and not _redrawn(other, rules)
        for other in _near(look, signals)
    )


def _redrawn(look: Look, rules: CutRules) -> bool:
    """Whether so much of the structure is new that no faint light makes it."""
    return look.burst is not None and look.burst.structure > rules.unlit_structure_most


def number(match: float) -> float:
    """A match; 0 where nothing could be compared."""
    return 0.0 if math.isnan(match) else match


def _torn(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """How far torn blocks lie beyond the limits of movement; None within them."""
    if _scaled(look, rules):
        return None
    if _sparse(look, signals) or _jerky(look, signals) or _glaring(look, rules):
        return None
    if look.burst is None and look.torn > rules.torn_burst_most:
        return None  # so much of the view, but not all at once: a cover that sweeps over it
    if look.burst is not None and look.burst.structure < rules.burst_structure_least:
        return None  # what is new has the structure of before: a light
    if _lit(look, rules) or _unlit(look, signals, rules):
        return None
    if math.isnan(look.before) or math.isnan(look.after):
        return None
    if look.torn < rules.torn_least or look.torn_levels < rules.jump_levels_least:
        return None
    gap = min(_gap(look, signals, rules), rules.gap_most)
    stands_out = look.step / (max(look.step_before, look.step_after) + 0.01)
    if look.held < rules.held_least or look.torn_alone < rules.torn_alone_least:
        return None
    if stands_out < rules.alone_least * gap:
        return None
    alone = stands_out / rules.alone_least / gap**0.5
    product = (
        (look.torn / rules.torn_usual)
        * min(look.held / rules.held_least, 2.0)
        * min(alone, rules.alone_most)
        * min(max(look.torn_levels / rules.torn_levels_usual, 0.5), 2.0)
    )
    return math.log(product / rules.jump_least, 4) if product > rules.jump_least else None


def _scaled(look: Look, rules: CutRules) -> bool:
    """Whether only the magnification changed: a step that is alone must leave the view plainly the same."""
    least = rules.scaled_plain if _lone(look) and look.gap_ratio < 2 else -1.0
    return look.scaled > max(number(look.back) + rules.scaled_gain, least)


def _lone(look: Look) -> bool:
    """Whether the step is many times as large as those near by."""
    return max(look.step_before, look.step_after) < LONE_PART * look.step


def _light(look: Look, rules: CutRules) -> bool:
    """Whether the picture changes as a light changes it: its levels far more than its structure.

    Or its level as a whole: much, or less beside other steps.
    """
    seen = look.burst
    if seen is not None and seen.levels > rules.burst_lit_most * seen.structure:
        return True
    burnt = seen is None or seen.burnt > rules.glare_burnt_most
    plain = _lone(look) and not burnt
    return abs(look.level_step) > (rules.lone_light_most if plain else rules.burst_light_most)


def _glaring(look: Look, rules: CutRules) -> bool:
    """Whether what is new is so bright or dark that only a light or a cover does it in one view."""
    seen = look.burst
    return seen is not None and seen.levels > rules.burst_levels_most * seen.share


def _burst(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """The same by what was new at once: evidence added up as a logistic regression does.

    The more was new, the more plainly, the more of it structure and not light, and the more it
    stands alone, the more likely is a jump; the longer the time between the pictures, the less.
    """
    seen = look.burst
    if seen is None or _scaled(look, rules):
        return None
    if _sparse(look, signals) or _unlit(look, signals, rules):
        return None
    if math.isnan(look.before) or math.isnan(look.after):
        return None
    if seen.held < rules.held_least or seen.structure < rules.burst_structure_least:
        return None
    if _light(look, rules) or (_glaring(look, rules) and seen.burnt > rules.glare_burnt_most):
        return None
    gap = _gap(look, signals, rules)
    parts = (seen.levels, seen.levels / seen.share, seen.structure, seen.whole, seen.alone)
    logs = (
        math.log(max(min(part, most), 1e-6))
        for part, most in zip((*parts, gap), rules.burst_most, strict=True)
    )
    evidence = sum(w * x for w, x in zip(rules.burst_weights, logs, strict=True))
    margin = (evidence - rules.burst_least) / 2
    return margin if margin > 0 else None


def _stir(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """The same by what changed at once, however little it moved.

    The larger and plainer the change, the more of it structure and no light, and the more the view
    as a whole changes beside what it does near by, the more likely is a jump.
    """
    seen = look.stir
    if seen is None or _scaled(look, rules) or _sparse(look, signals):
        return None
    if _unlit(look, signals, rules) or math.isnan(look.before) or math.isnan(look.after):
        return None
    if seen.held < rules.held_least or _light(look, rules):
        return None
    if seen.levels > rules.burst_levels_most * seen.share or _unheld(look, rules):
        return None
    if _stirring(look, signals):
        return None
    parts = (
        seen.levels,
        seen.levels / seen.share,
        seen.structure + 0.05,
        seen.whole,
        seen.own,
        _gap(look, signals, rules),
    )
    evidence = _weighed(parts, rules.stir_weights, rules.stir_range)
    margin = (evidence + rules.stir_redrawn * seen.redrawn - rules.stir_least) / 2
    return margin if margin > 0 else None


def _stride(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """The same by how far things went at once.

    The more of the view went farther than it goes near by, the farther, and the more plainly it is
    found again there, the more likely is a jump; what only looks otherwise has gone nowhere. One
    after another they are movement in jerks.
    """
    if _scaled(look, rules) or _sparse(look, signals) or _unheld(look, rules):
        return None
    if math.isnan(look.before) or math.isnan(look.after) or _light(look, rules):
        return None
    margin = _went(look, signals, rules)
    strides = sum(_went(other, signals, rules) > 0 for other in _near(look, signals))
    return margin if margin > 0 and strides <= STIRS else None


def _went(look: Look, signals: Signals, rules: CutRules) -> float:
    """How far a stride lies beyond its limit; below 0 within it, or where there is none."""
    seen, went = look.stir, look.stride
    if seen is None or went is None or seen.share < rules.stride_share_least:
        return -1.0
    if seen.levels > rules.burst_levels_most * seen.share:
        return -1.0
    parts = (
        went.farther,
        went.own_px,
        went.unlike,
        went.lost,
        seen.levels,
        seen.whole,
        seen.own,
        _gap(look, signals, rules),
    )
    return (_weighed(parts, rules.stride_weights, rules.stride_range) - rules.stride_least) / 2


def _near(look: Look, signals: Signals) -> Sequence[Look]:
    """The looks of a second before and after, this one among them."""
    low = bisect_left(signals.looks, look.at - LOOK_S, key=lambda other: other.at)
    high = bisect_right(signals.looks, look.at + LOOK_S, key=lambda other: other.at)
    return signals.looks[low:high]


def _weighed(
    parts: Sequence[float], weights: Sequence[float], limits: Sequence[tuple[float, float]]
) -> float:
    """The evidence of several measures: their logarithms, each kept within limits, added up."""
    return sum(
        weight * math.log(min(max(part, least), most))
        for part, weight, (least, most) in zip(parts, weights, limits, strict=True)
    )


def _stirring(look: Look, signals: Signals) -> bool:
    """Whether stirs half as large come again and again: movement in jerks, key pictures."""
    if look.stir is None:
        return False
    near = [other.stir for other in _near(look, signals) if other.stir is not None]
    return sum(stir.levels > look.stir.levels / 2 for stir in near) > STIRS


def _unheld(look: Look, rules: CutRules) -> bool:
    """Whether a later picture takes back what was new, as far as anything was."""
    return look.burst is not None and look.burst.held < rules.held_least


def _ticks(look: Look, signals: Signals) -> bool:
    """Whether another burst near by is in mostly the same blocks: a counter, something that ticks."""
    return look.burst is not None and any(
        other.burst is not None
        and other.index != look.index
        and abs(other.at - look.at) <= TICKS_S
        and 2 * int((other.burst.blocks & look.burst.blocks).sum()) > int(look.burst.blocks.sum())
        and other.burst.share < 2 * look.burst.share
        for other in signals.looks
    )


def _lit(look: Look, rules: CutRules) -> bool:
    """Whether the light changed: the whole picture's level, or levels where nothing tore."""
    whole = look.torn >= rules.torn_most and look.torn_levels > abs(look.level_step) / 2
    elsewhere = look.levels - 3 * look.torn * look.torn_levels
    return elsewhere > rules.jump_elsewhere_most or (
        abs(look.level_step) > rules.jump_light_most and not whole
    )


def _sparse(look: Look, signals: Signals) -> bool:
    """Whether pictures come so seldom that movement and a jump in time look the same."""
    return _apart_s(look, signals) > SPARSE_S and look.gap_ratio < 3


def _gap(look: Look, signals: Signals, rules: CutRules) -> float:
    """The time between the two pictures of a step over the usual one, or that of a usual rate; 1 or more."""
    return max(1.0, look.gap_ratio, _apart_s(look, signals) * rules.usual_fps)


def _apart_s(look: Look, signals: Signals) -> float:
    """Seconds between the two pictures of a step: the longer, the more may have moved."""
    return float(look.at - signals.times[max(0, look.index - 1)])


def _jerky(look: Look, signals: Signals) -> bool:
    """Whether such steps come again and again: movement in jerks, or a picture that judders."""
    low = bisect_left(signals.times, look.at - LOOK_S)
    high = bisect_right(signals.times, look.at + LOOK_S)
    large = signals.step[low:high] > look.step / 2
    return int((large[1:] & ~large[:-1]).sum()) > JERKS


def _unlit(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether another step undoes this one and its change of light: the two ends of a flash."""
    if look.undone_s is None:
        return False
    if _redrawn(look, rules) and abs(look.level_step) < rules.burst_light_most:
        return False
    return bool(other_ends(look, signals, rules))


def other_ends(look: Look, signals: Signals, rules: CutRules) -> list[Look]:
    """The steps that undo this one and its change of light, as the other end of a flash does."""
    if look.undone_s is None:
        return []
    times = (look.at - look.undone_s, look.at + look.undone_s)
    return [
        other
        for other in signals.looks
        if other.at in times
        and look.level_step * other.level_step < 0
        and rules.unlit_levels < min(abs(look.level_step), abs(other.level_step))
    ]
