"""Numbers -> scene cuts: the sudden changes of picture inside a recording.

Kinds of cut:

========  =====================================================================================
cut       the view is another one from one frame to the next
swap      the view is another one, and the one of before comes back (recorder input switched)
stop      the recorder stopped: a jump within one view, after a frozen or black picture or a hole
fade      the view goes dark slowly and another one comes up
dissolve  one view melts into another
========  =====================================================================================

Flashes, washed-out or covered pictures, lamp steps, filters, refocus, changes of magnification and
movement are not cuts: a lamp leaves the structure as it was, movement is found again elsewhere or
is spread over several frames, and after a flash or a blink the picture of before comes back.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from chapters.blends import BlendLook
from chapters.contrast import dips, ramp
from chapters.cutrules import TUNED, CutRules
from chapters.looks import LOOK_S, SOON_S, Look
from chapters.marks import MARK_S
from chapters.signals import RETURN_SOON_S, Signals
from chapters.spans import Span
from chapters.times import RecordingTime

#: A frozen or black picture of this length before a jump is a recorder that stopped.
FROZEN_S = Fraction(2, 5)
#: A change of contrast that takes so long is a fade, in seconds.
FADE_S = Fraction(1, 4)
#: A change of contrast that takes no longer is coding, in seconds.
SMEAR_S = Fraction(1, 20)
#: Another step of this part of it may be the other end of a flash.
ECHO = 0.4
#: More separate steps half as large than this in two seconds, this one among them, are movement.
JERKS = 4
#: More unsure jumps within one view than this, so near each other in seconds, are something that
#: goes on there: a spray, a pump. A recorder is not stopped as often, nor a recording cut.
ONGOING = 3
ONGOING_S = Fraction(15)
#: A jump of a confidence below this is unsure.
SURE = 0.75
#: Where pictures are farther apart than this no jump within one view can be told, in seconds.
SPARSE_S = Fraction(1, 4)
#: Decoder smear may settle for so long before it stands still.
SETTLE_S = Fraction(3, 10)


@dataclass(frozen=True, slots=True)
class SceneCut:
    """``at`` is the time of the first frame after the cut; ``confidence`` 0..1.

    ``begins`` is the time of the last frame before it: for a fade or a dissolve the last of the old
    view alone, as far as that can be told.
    """

    at: RecordingTime
    kind: str
    confidence: float
    begins: RecordingTime | None = None


def find_cuts(signals: Signals, rules: CutRules = TUNED) -> tuple[SceneCut, ...]:
    """Every scene cut in order of time; no two at one time, none inside a fade or dissolve."""
    found: dict[Fraction, SceneCut] = {}
    for look in signals.looks:
        cut = _judge(look, signals, rules)
        frozen = look.same_frame_s >= FROZEN_S and look.blank_s == 0
        if cut is not None and frozen and _smeared(look, signals, found):
            continue
        if cut is not None and (cut.at not in found or found[cut.at].confidence < cut.confidence):
            found[cut.at] = cut
    for at in _ongoing(found, signals):
        del found[at]
    for blended in sorted(signals.blends, key=lambda b: b.misfit):
        melted = _melted(blended, signals, rules)
        touched = [at for at, cut in found.items() if _touch(blended, cut)]
        if melted is not None and all(_slight(blended, found[at], rules) for at in touched):
            for at in touched:
                del found[at]
            found[melted.at] = melted
    swapped_back = [
        Span(s.at, s.at + s.returned_s)
        for s in signals.looks
        if s.at in found and found[s.at].kind == "swap" and s.returned_s is not None
    ]
    return tuple(_named(found[at], swapped_back) for at in sorted(_apart(found)))


def _apart(found: Mapping[Fraction, SceneCut]) -> list[Fraction]:
    """Times of the cuts that are no part of a fade: its first pictures may look like a jump."""
    fades = [c for c in found.values() if c.kind == "fade" and c.begins is not None]
    return [
        at
        for at, cut in found.items()
        if not any(
            g.at != at and g.begins - (SETTLE_S if cut.kind == "stop" else 0) < at <= g.at
            for g in fades
            if g.begins is not None
        )
    ]


def _ongoing(found: Mapping[Fraction, SceneCut], signals: Signals) -> list[Fraction]:
    """Times of unsure jumps, nothing frozen and no hole before them, that come again and again."""
    plain = {s.at for s in signals.looks if s.same_frame_s < FROZEN_S and s.gap_ratio <= 8}
    jumps = sorted(
        at
        for at, cut in found.items()
        if cut.kind == "stop" and cut.confidence < SURE and at in plain
    )
    return [
        at
        for at in jumps
        if bisect_right(jumps, at + ONGOING_S) - bisect_left(jumps, at - ONGOING_S) > ONGOING
    ]


def _named(cut: SceneCut, away: Sequence[Span]) -> SceneCut:
    """The cut that brings the earlier view back is a swap like the one that took it away."""
    back = any(span.start < cut.at and 0 <= span.end - cut.at <= 2 * MARK_S for span in away)
    return replace(cut, kind="swap") if back and cut.kind == "cut" else cut


def _smeared(look: Look, signals: Signals, found: Mapping[Fraction, SceneCut]) -> bool:
    """Whether the frozen picture before this step was decoder smear: stepped into, but not by a cut.

    A recorder that stops leaves its last good picture standing; a still switched in begins with a
    cut.
    """
    start = look.at - look.same_frame_s
    first = bisect_left(signals.times, start - SETTLE_S)
    stop = bisect_right(signals.times, start)
    into = signals.times[first:stop]
    stepped = bool((signals.step[first:stop] > 0.3).any())
    return stepped and not any(at in found for at in into)


def _judge(look: Look, signals: Signals, rules: CutRules) -> SceneCut | None:
    if look.blank_s > 0:
        return _after_blank(look, signals, rules)
    if math.isnan(look.across):
        return None
    margin = _other_view(look, signals, rules)
    if margin is not None:
        kind = "cut" if look.returned_s is None else "swap"
    else:
        margin, kind = _jump(look, signals, rules), "stop"
    if margin is None:
        return None
    if look.same_frame_s >= FROZEN_S or look.gap_ratio > 8:
        kind = "stop"
    before = signals.times[max(0, look.index - 1)]
    return SceneCut(RecordingTime(look.at), kind, _confidence(margin), RecordingTime(before))


def _other_view(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """How far the step lies beyond the limits of a change of view; None within them."""
    if math.isnan(look.back) or _one_view(look, rules) or look.levels < rules.levels_least:
        return None
    if max(look.back, _number(look.back_plain)) > rules.either_most:
        return None
    beside = min((m for m in (look.before, look.after) if not math.isnan(m)), default=1.0)
    back_most = rules.echo_back_most if _echoed(look, signals) else rules.back_most
    margin = min(
        (rules.across_most - look.across) / 0.1,
        (min(beside, 1.0) - look.across - rules.drop_least) / 0.2,
        (back_most - _back(look)) / 0.15,
    )
    return margin if margin > 0 else None


def _echoed(look: Look, signals: Signals) -> bool:
    """Whether another step as large is so near that both may be the ends of one flash or cover."""
    return any(
        other.index != look.index
        and abs(other.at - look.at) <= SOON_S
        and other.step > ECHO * look.step
        for other in signals.looks
    )


def _back(look: Look | BlendLook) -> float:
    """How well the view came back: mean of the match of all structure and of the strong alone."""
    return look.back if math.isnan(look.back_plain) else (look.back + look.back_plain) / 2


def _number(match: float) -> float:
    """A match; 0 where nothing could be compared."""
    return 0.0 if math.isnan(match) else match


def _one_view(look: Look | BlendLook, rules: CutRules) -> bool:
    """Whether both sides show one view, moved, turned or at another magnification."""
    return (look.landmarks or 0) >= rules.landmarks_least or look.scaled > rules.scaled_most


def _jump(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """The same for a jump within one view."""
    if look.scaled > _number(look.back) + rules.scaled_gain:
        return None
    if _sparse(look, signals) or _jerky(look, signals):
        return None
    if _lit(look, rules) or _unlit(look, signals, rules):
        return None
    if math.isnan(look.before) or math.isnan(look.after):
        return None
    if look.torn < rules.torn_least or look.torn_levels < rules.jump_levels_least:
        return None
    gap = min(max(1.0, look.gap_ratio, _apart_s(look, signals) * rules.usual_fps), rules.gap_most)
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
    times = (look.at - look.undone_s, look.at + look.undone_s)
    others = [s.level_step for s in signals.looks if s.at in times]
    return any(
        min(abs(look.level_step), abs(other)) > rules.unlit_levels and look.level_step * other < 0
        for other in others
    )


def _after_blank(look: Look, signals: Signals, rules: CutRules) -> SceneCut | None:
    if math.isnan(look.back) or _one_view(look, rules) or look.levels < rules.levels_least:
        return None
    if max(look.back, _number(look.back_plain)) > rules.either_most:
        return None
    dark = look.blank_level < rules.dark_level
    most = rules.blank_back_most if dark else rules.bright_back_most
    margin = (most - look.back) / 0.3
    if margin <= 0 or _soon_back(look.returned_s):
        return None
    first = bisect_left(signals.times, look.at - look.blank_s)
    begins, ends = ramp(signals, first, look.index)
    times = signals.times
    lasts = times[max(first - 1, 0)] - times[max(begins, 0)] + times[ends] - times[look.index]
    if look.blank_s < FROZEN_S and SMEAR_S < lasts < FADE_S:
        return None  # a turret that clicks, a shutter: dark for an instant, smeared on either side
    if lasts >= FADE_S and not dark:
        return None  # fog that clears
    kind = "fade" if lasts >= FADE_S else "stop" if look.blank_s >= FROZEN_S else "cut"
    at = ends if kind == "fade" else look.index
    return SceneCut(
        RecordingTime(signals.times[at]),
        kind,
        _confidence(margin),
        RecordingTime(signals.times[max(0, begins if kind == "fade" else look.index - 1)]),
    )


def _melted(look: BlendLook, signals: Signals, rules: CutRules) -> SceneCut | None:
    if math.isnan(look.back) or _one_view(look, rules):
        return None
    if look.levels < rules.levels_least or _soon_back(look.returned_s):
        return None
    if look.kept > rules.blend_kept_most or _foggy(look, signals, rules):
        return None
    margin = min(
        (rules.misfit_most - look.misfit) / 0.2, (rules.blend_back_most - _back(look)) / 0.15
    )
    if margin <= 0:
        return None
    return SceneCut(
        RecordingTime(look.ends), "dissolve", _confidence(margin), RecordingTime(look.begins)
    )


def _foggy(look: BlendLook, signals: Signals, rules: CutRules) -> bool:
    """Whether either end of the blend is a bright picture in a dip of the contrast: fog, not a view."""
    places = [bisect_left(signals.times, at) for at in (look.begins, look.ends)]
    return any(
        signals.level[n] > rules.dark_level and dips(signals, n, rules.dip_part) for n in places
    )


def _soon_back(returned_s: Fraction | None) -> bool:
    """Whether the view came back so soon that it was fogged or covered, not left."""
    return returned_s is not None and returned_s <= RETURN_SOON_S


def _touch(look: BlendLook, cut: SceneCut) -> bool:
    """Whether the blend shares time with a cut, or all but touches it."""
    slow = cut.kind in ("fade", "dissolve")
    begins = cut.begins if slow and cut.begins is not None else cut.at
    return begins - SETTLE_S <= look.ends and look.begins < cut.at + SETTLE_S


def _slight(look: BlendLook, cut: SceneCut, rules: CutRules) -> bool:
    """Whether the cut is only the first or last picture of the dissolve, seen as a step."""
    inside = look.begins - SETTLE_S / 2 <= cut.at <= look.ends + SETTLE_S / 2
    plain = cut.kind in ("cut", "swap") and look.misfit > rules.misfit_most / 3
    return inside and not plain and cut.kind not in ("fade", "dissolve")


def _confidence(margin: float) -> float:
    """0.5 on the limit, 0.9 a full margin beyond it (logistic)."""
    return round(1 / (1 + math.exp(-2.2 * margin)), 3)
