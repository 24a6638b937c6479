"""Numbers -> jumps in time within one view: how far a step lies beyond movement and light.

What a light, a magnification, something that ticks or pictures that come too seldom can make is no
jump. For what is left the evidence is added up as a logistic regression does: what speaks for a jump
is measured in ``jumpsigns``, what it is worth stands in ``jumpweights``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

import numpy as np

from chapters.cutrules import CutRules
from chapters.jumpsigns import apart_s, near_looks, signs
from chapters.jumpweights import CONSTANT, WEIGHTS
from chapters.lights import other_ends
from chapters.looks import QUIET_S, Look
from chapters.signals import Signals

#: A step is alone where none near by is larger than this part of it.
LONE_PART = 0.2
#: Where pictures are farther apart than this no jump within one view can be told, in seconds.
SPARSE_S = Fraction(1, 4)
#: What is new in one place again within this time ticks there, in seconds.
TICKS_S = Fraction(15)
#: Key pictures are so many frames apart; one steps by such a part of another's step, and is so many
#: times as large as the steps beside it.
BEAT_FRAMES = (5, 301)
BEAT_PART = 0.5
BEAT_ALONE = 3.0
#: Pictures so many times as far apart as usual have a hole between them; from so many seconds on the
#: recorder stood still, and what is farther on then has jumped.
HOLE_RATIO = 3.5
HOLE_MOST_S = Fraction(1)
#: Evidence that is enough in a view at rest alone counts for so little more than the limit.
REST_PART = 4.0
#: A picture that changes by less than this part of what is usual near by repeats the one before.
REPEATED = 0.25
#: A step so many pictures after a repeated one may be what the recorder missed.
MISSED = 5


def jump(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """How far the step lies beyond the limits of movement within one view; None within them."""
    if not may_jump(look, signals, rules):
        return None
    seen = evidence(signs(look, signals))
    least = rules.jump_least
    hole = look.gap_ratio > HOLE_RATIO and apart_s(look, signals) < HOLE_MOST_S
    if hole or _goes_on(look, rules):
        least += rules.hole_more
    if signals.detail[look.index] < rules.doubt_detail_most:
        least += rules.doubt_more
    if abs(look.level_step) > rules.unlit_levels:
        least += rules.doubt_more
    if _missed(look, signals):
        least += rules.doubt_more
    if seen > rules.jump_rest_least and _beats(look, signals):
        least += rules.doubt_more
    over = seen - least
    if least == rules.jump_least and _at_rest(look, rules):
        over = max(over, (seen - rules.jump_rest_least) / REST_PART)
    return over / rules.jump_scale if over > 0 else None


def _at_rest(look: Look, rules: CutRules) -> bool:
    """Whether next to nothing moves just before and after, nor the light changes: what is new then jumped."""
    moved = max(look.step_before, look.step_after)
    return moved < rules.rest_step_most and abs(look.level_step) < rules.rest_levels_most


def may_jump(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether the step can be a jump at all: no magnification, no end of a flash, nothing that ticks.

    Nor the first or last pictures: what is usual there, nobody knows.
    """
    if math.isnan(look.before) or math.isnan(look.after) or look.blank_s:
        return False
    if look.at < signals.times[0] + QUIET_S or look.at > signals.end - QUIET_S:
        return False
    if _scaled(look, rules) or _sparse(look, signals) or _recoded(look, rules):
        return False
    small = look.burst is not None and look.burst.share < rules.ticks_share_most
    if small and _ticks(look, signals):
        return False
    return not (_flashes(look, signals, rules) or _unlit(look, signals, rules))


def evidence(measured: Mapping[str, float]) -> float:
    """The evidence for a jump: log odds, where a jump is taken for five times as likely as it is."""
    return CONSTANT + sum(weight.worth(measured[name]) for name, weight in WEIGHTS.items())


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
        for other in near_looks(look, signals)
    )


def _redrawn(look: Look, rules: CutRules) -> bool:
    """Whether so much of the structure is new that no faint light makes it."""
    return look.burst is not None and look.burst.structure > rules.unlit_structure_most


def number(match: float) -> float:
    """A match; 0 where nothing could be compared."""
    return 0.0 if math.isnan(match) else match


def _scaled(look: Look, rules: CutRules) -> bool:
    """Whether only the magnification changed: a step that is alone must leave the view plainly the same."""
    least = rules.scaled_plain if _lone(look) and look.gap_ratio < 2 else -1.0
    return look.scaled > max(number(look.back) + rules.scaled_gain, least)


def _lone(look: Look) -> bool:
    """Whether the step is many times as large as those near by."""
    return max(look.step_before, look.step_after) < LONE_PART * look.step


def _goes_on(look: Look, rules: CutRules) -> bool:
    """Whether the step leads where the steps beside it, added up, lead: one picture is missing, in no hole of the times."""
    return look.stride is not None and look.stride.astray < rules.astray_least


def _missed(look: Look, signals: Signals) -> bool:
    """Whether a picture just before only repeats the one before it: the recorder missed some, things went on."""
    first, last = look.index - MISSED, look.index - 1
    near = (signals.change[max(1, last - 5) : last], signals.change[last + 2 : last + 8])
    usual = np.concatenate(near)
    seen = signals.change[max(1, first) : last + 1]
    return bool(usual.size and seen.size) and bool(seen.min() < REPEATED * np.median(usual))


def _beats(look: Look, signals: Signals) -> bool:
    """Whether such a step comes again, alone, at one distance before and after: key pictures do."""
    step, here = signals.step, look.index
    farthest = min(BEAT_FRAMES[1], here, len(step) - here)
    apart = np.arange(BEAT_FRAMES[0], farthest)
    both = np.minimum(step[here - apart], step[here + apart])
    again = apart[both > BEAT_PART * step[here]].tolist()
    return any(_alone(signals, here - n) and _alone(signals, here + n) for n in again)


def _alone(signals: Signals, n: int) -> bool:
    """Whether the step is many times as large as those of the three pictures on either side."""
    near = np.concatenate((signals.step[max(1, n - 3) : n], signals.step[n + 1 : n + 4]))
    return bool(signals.step[n] > BEAT_ALONE * near.max(initial=0.0))


def _recoded(look: Look, rules: CutRules) -> bool:
    """Whether the view is drawn anew where it was: a light, a key picture.

    A light changes so much in levels and so little in structure, burns out so much of the view, or
    changes the level and makes nothing new at once.
    Where next to nothing went anywhere a key picture changes nearly all of the view or hardly any
    structure.
    """
    burst, stir, stride = look.burst, look.stir, look.stride
    if burst is None and abs(look.level_step) > rules.unburst_levels_most:
        return True
    if burst is not None and burst.levels > rules.burst_lit_most * burst.structure:
        return True
    if burst is not None and burst.burnt > rules.jump_burnt_most:
        return True
    if stir is None or stride is None:
        return False
    if stir.share > rules.recoded_share_least and stride.farther < rules.recoded_farther_most:
        return True
    faint = burst is not None and burst.structure < rules.faint_structure_most
    return faint and stride.farther < rules.faint_farther_most


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


def _sparse(look: Look, signals: Signals) -> bool:
    """Whether pictures come so seldom that movement and a jump in time look the same."""
    return apart_s(look, signals) > SPARSE_S and look.gap_ratio < 3


def _unlit(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether another step undoes this one and its change of light: the two ends of a flash."""
    if look.undone_s is None:
        return False
    if _redrawn(look, rules) and abs(look.level_step) < rules.burst_light_most:
        return False
    return bool(other_ends(look, signals, rules))
