"""Numbers -> a view without structure beside a clear one: no light makes one from the other.

A light leaves more of the contrast than that unless it burns the view out, and then it is all but
white; where it lies over a part of a faint view, most of the picture stays without structure. Fog, a
cover that sweeps and a lens out of focus take more than a frame. A view of hardly any structure
cannot be known again, and so matches say nothing of such a step.
"""

from __future__ import annotations

from chapters.cutrules import CutRules
from chapters.looks import Look
from chapters.melts import soon_back
from chapters.signals import MARK_S, RETURN_SOON_S, Signals


def flat_beside_clear(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether one side of a step has next to no contrast, neither black nor burnt out, and the other side all of it.

    Neither is on its way: the clear pictures beside the step stay as they are, the flat ones flat. A
    clear view that is soon back as it was had something lying over it.
    """
    here = look.index
    if here < 2 or here + 1 >= len(signals.times):
        return False
    flat, beyond, clear, stirs = here - 1, here - 2, here, look.step_after
    if signals.contrast[here] < signals.contrast[here - 1]:
        flat, beyond, clear, stirs = here, here + 1, here - 1, look.step_before
    left = max(signals.contrast[flat], signals.contrast[beyond])
    return bool(
        stirs < rules.clear_step_most
        and signals.detail[clear] > rules.clear_detail_least
        and signals.contrast[clear] > rules.clear_contrast_least
        and left < rules.flat_part * signals.contrast[clear]
        and rules.dark_level < signals.level[flat] < rules.flat_level_most
        and not _covered(look, signals, rules)
    )


def _covered(look: Look, signals: Signals, rules: CutRules) -> bool:
    """Whether the view of before is seen again soon after this step, or one soon before it is seen again here."""
    if soon_back(look.returned_s) or (look.blank_s and look.back > rules.either_most):
        return True
    return any(
        other.returned_s is not None
        and soon_back(other.returned_s)
        and abs(other.at + other.returned_s - look.at) <= 2 * MARK_S
        for other in signals.looks_between(look.at - RETURN_SOON_S, look.at)
    )
