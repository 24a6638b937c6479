"""Numbers -> dissolves: how plainly one view melts into another where the strength of the pictures sags.

Fog, refocus, a lamp that fades and what moves over the view sag too: what is no mixture, stands still
halfway or comes back is none.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from fractions import Fraction

from chapters.blends import BlendLook
from chapters.contrast import dips
from chapters.cutrules import CutRules
from chapters.looks import Look
from chapters.signals import RETURN_SOON_S, Signals

#: A step so near an end of a blend is right beside it, in seconds.
BESIDE_S = Fraction(1, 4)
#: Hardly anybody makes a dissolve that takes less, in seconds: a light, a tool that passes does.
BRIEF_S = Fraction(1, 4)


def melt(look: BlendLook, signals: Signals, rules: CutRules) -> float | None:
    """How far the sag lies beyond the limits of a dissolve; None within them."""
    if math.isnan(look.back) or look.levels < rules.levels_least:
        return None
    if look.misfit > rules.unmixed_misfit and look.sag > rules.unmixed_sag_most:
        return None
    if look.middle < rules.middle_least or _washed_out(look, signals, rules):
        return None
    margin = _mixed(look, rules)
    if margin <= 0 or (one_view(look, rules) and soon_back(look.returned_s)):
        return None
    brief = look.ends - look.begins < BRIEF_S
    if margin < rules.plain_margin and (brief or _comes_back(look, signals, rules)):
        return None
    return margin


def _mixed(look: BlendLook, rules: CutRules) -> float:
    """How plainly the pictures are mixtures: evidence against it added up, as a logistic regression does.

    Against it speak strengths that do not sag along the parabola or not by as much, what the mixture
    leaves unexplained, a share that leaps, fine detail that is lost, a light, a view that comes back
    and blocks that are found again; for it, how far apart the outer pictures are.
    """
    against = (
        min(look.sag, 0.15),
        min(abs(look.solid), 0.8),
        min(look.misfit, 1.2),
        min(look.leap, 0.5),
        min(max(rules.fine_least - look.fine, 0.0), 1.0),
        min(look.lit, 1.0),
        came_back(look),
        look.kept,
        -math.log(max(look.levels, 1.0)),
    )
    return (
        rules.mixed_most - sum(w * x for w, x in zip(rules.mixed_weights, against, strict=True))
    ) / 2


def _comes_back(look: BlendLook, signals: Signals, rules: CutRules) -> bool:
    """Whether the view is seen again, moved, fogged or as it was: then it was not left."""
    return (
        one_view(look, rules)
        or soon_back(look.returned_s)
        or look.kept > rules.blend_kept_most
        or came_back(look) > rules.blend_back_most
        or _foggy(look, signals, rules)
        or _beside_light(look, signals, rules)
    )


def _foggy(look: BlendLook, signals: Signals, rules: CutRules) -> bool:
    """Whether either end of the blend is a bright picture in a dip of the contrast: fog, not a view."""
    return any(
        signals.level[n] > rules.dark_level and dips(signals, n, rules.dip_part)
        for n in _ends(look, signals)
    )


def _beside_light(look: BlendLook, signals: Signals, rules: CutRules) -> bool:
    """Whether a light goes on or off right beside the blend: the views compared are lit, and so unlike."""
    return any(
        abs(step.level_step) > rules.beside_levels
        and (0 <= look.begins - step.at <= BESIDE_S or 0 < step.at - look.ends <= BESIDE_S)
        for step in signals.looks
    )


def _washed_out(look: BlendLook, signals: Signals, rules: CutRules) -> bool:
    """Whether either end of the blend is a bright picture with hardly any structure: a light's."""
    return any(
        signals.level[n] > rules.dark_level and signals.detail[n] < rules.washed_detail_most
        for n in _ends(look, signals)
    )


def _ends(look: BlendLook, signals: Signals) -> tuple[int, int]:
    return bisect_left(signals.times, look.begins), bisect_left(signals.times, look.ends)


def came_back(look: Look | BlendLook) -> float:
    """How well the view came back: mean of the match of all structure and of the strong alone."""
    return look.back if math.isnan(look.back_plain) else (look.back + look.back_plain) / 2


def one_view(look: Look | BlendLook, rules: CutRules) -> bool:
    """Whether both sides show one view, moved, turned or at another magnification."""
    return (look.landmarks or 0) >= rules.landmarks_least or look.scaled > rules.scaled_most


def soon_back(returned_s: Fraction | None) -> bool:
    """Whether the view came back so soon that it was fogged or covered, not left."""
    return returned_s is not None and returned_s <= RETURN_SOON_S
