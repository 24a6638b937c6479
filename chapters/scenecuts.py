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
from itertools import pairwise

from chapters.blends import BlendLook
from chapters.contrast import ABRUPT, ramp
from chapters.cutrules import TUNED, CutRules
from chapters.flats import flat_beside_clear
from chapters.jumps import jump, number
from chapters.lights import comes_and_goes, lights_faint, lit_up, whited
from chapters.looks import SOON_S, Look
from chapters.marks import MARK_S
from chapters.melts import came_back, melt, one_view, soon_back
from chapters.signals import Signals
from chapters.spans import Span
from chapters.times import RecordingTime

#: A frozen or black picture of this length before a jump is a recorder that stopped.
FROZEN_S = Fraction(2, 5)
#: A change of contrast that takes so long is a fade, in seconds.
FADE_S = Fraction(1, 4)
#: The picture stays black in a fade for so long at the most, in seconds.
FADED_S = Fraction(2)
#: A change of contrast that takes no longer is coding, in seconds.
SMEAR_S = Fraction(1, 20)
#: A picture or two without structure.
BLINK_S = Fraction(1, 10)
#: Another step of this part of it may be the other end of a flash.
ECHO = 0.4
#: More unsure jumps within one view than this, so near each other in seconds, are something that
#: goes on there: a spray, a pump. A recorder is not stopped as often, nor a recording cut.
ONGOING = 3
ONGOING_S = Fraction(15)
#: A jump of a confidence below this is unsure.
SURE = 0.95
#: The same of faint jumps, of a confidence below ``PLAIN``.
ONGOING_FAINT = 2
PLAIN = 0.85
#: A view without structure beside a clear one counts as so far beyond the limits.
FLAT_MARGIN = 0.75
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
        if cut is not None and _smeared(look, signals, found, rules):
            continue
        if cut is not None and (cut.at not in found or found[cut.at].confidence < cut.confidence):
            found[cut.at] = cut
    for at in _ongoing(found, signals):
        del found[at]
    for blended in sorted(signals.blends, key=lambda b: b.sag):
        melted = _melted(blended, signals, rules)
        touched = [at for at, cut in found.items() if _touch(blended, cut)]
        if melted is not None and all(_slight(blended, found[at], rules) for at in touched):
            for at in touched:
                del found[at]
            found[melted.at] = melted
    _join_fades(found, signals, rules)
    swapped_back = [
        Span(s.at, s.at + s.returned_s)
        for s in signals.looks
        if s.at in found and found[s.at].kind == "swap" and s.returned_s is not None
    ]
    return tuple(_named(found[at], swapped_back) for at in sorted(_apart(found)))


def _join_fades(found: dict[Fraction, SceneCut], signals: Signals, rules: CutRules) -> None:
    """Two dissolves with nothing but black between them, into it and out of it, are one fade.

    One that goes dark before a view that is there at once is no cut of its own.
    """
    melts = sorted((c for c in found.values() if c.kind == "dissolve"), key=lambda c: c.at)
    for a, b in pairwise(melts):
        if a.begins is None or b.begins is None or b.begins - a.at > FADED_S:
            continue
        if _black(a.begins, a.at, b.begins, b.at, signals, rules):
            del found[a.at]
            confidence = max(a.confidence, b.confidence)
            found[b.at] = SceneCut(b.at, "fade", confidence, a.begins)
    stops = [c for c in found.values() if c.kind == "stop" and c.begins is not None]
    for a in melts:
        if found.get(a.at) is a and any(
            a.begins is not None
            and c.begins is not None
            and a.at <= c.begins <= a.at + FADED_S
            and _black(a.begins, a.at, c.begins, c.at, signals, rules)
            for c in stops
        ):
            del found[a.at]


def _black(
    before: Fraction,
    start: Fraction,
    stop: Fraction,
    after: Fraction,
    signals: Signals,
    rules: CutRules,
) -> bool:
    """Whether the pictures from ``start`` to ``stop`` are black beside those before and after."""
    outer = [bisect_left(signals.times, at) for at in (before, after)]
    first, last = sorted(bisect_left(signals.times, at) for at in (start, stop))
    full = min(float(signals.contrast[n]) for n in outer)
    level = float(signals.level[first : last + 1].max())
    most = float(signals.contrast[first : last + 1].max())
    return level < rules.dark_level and most < rules.dip_part * full


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
    out: set[Fraction] = set()
    for most, sure in ((ONGOING, SURE), (ONGOING_FAINT, PLAIN)):
        jumps = sorted(
            at
            for at, cut in found.items()
            if cut.kind == "stop" and cut.confidence < sure and at in plain
        )
        for at in jumps:
            near = bisect_right(jumps, at + ONGOING_S) - bisect_left(jumps, at - ONGOING_S)
            if near > most:
                out.add(at)
    return sorted(out)


def _named(cut: SceneCut, away: Sequence[Span]) -> SceneCut:
    """The cut that brings the earlier view back is a swap like the one that took it away."""
    back = any(span.start < cut.at and 0 <= span.end - cut.at <= 2 * MARK_S for span in away)
    return replace(cut, kind="swap") if back and cut.kind == "cut" else cut


def _smeared(
    look: Look, signals: Signals, found: Mapping[Fraction, SceneCut], rules: CutRules
) -> bool:
    """Whether a frozen picture before this step was decoder smear: stepped into, but not by a cut.

    A recorder that stops leaves its last good picture standing; a still switched in begins with a
    cut; a view without structure only seems to stand still.
    """
    if look.same_frame_s < FROZEN_S or look.blank_s or flat_beside_clear(look, signals, rules):
        return False
    start = look.at - look.same_frame_s
    first = bisect_left(signals.times, start - SETTLE_S)
    stop = bisect_right(signals.times, start)
    into = signals.times[first:stop]
    stepped = bool((signals.step[first:stop] > 0.3).any())
    return stepped and not any(at in found for at in into)


def _judge(look: Look, signals: Signals, rules: CutRules) -> SceneCut | None:
    kind = "cut" if look.returned_s is None else "swap"
    before = signals.times[max(0, look.index - 1)]
    if flat_beside_clear(look, signals, rules):
        sure = _confidence(FLAT_MARGIN)
        return SceneCut(RecordingTime(look.at), kind, sure, RecordingTime(before))
    if look.blank_s > 0:
        return _after_blank(look, signals, rules)
    if math.isnan(look.across):
        return None
    if whited(look, signals, rules) or lights_faint(look, signals, rules):
        return None
    margin, light = _other_view(look, signals, rules), lit_up
    if margin is None:
        margin, light, kind = jump(look, signals, rules), comes_and_goes, "stop"
    if margin is None or light(look, signals, rules):
        return None
    if look.same_frame_s >= FROZEN_S or look.gap_ratio > 8:
        kind = "stop"
    return SceneCut(RecordingTime(look.at), kind, _confidence(margin), RecordingTime(before))


def _other_view(look: Look, signals: Signals, rules: CutRules) -> float | None:
    """How far the step lies beyond the limits of a change of view; None within them."""
    if math.isnan(look.back) or one_view(look, rules) or look.levels < rules.levels_least:
        return None
    if max(look.back, number(look.back_plain)) > rules.either_most:
        return None
    beside = min((m for m in (look.before, look.after) if not math.isnan(m)), default=1.0)
    back_most = rules.echo_back_most if _echoed(look, signals) else rules.back_most
    margin = min(
        (rules.across_most - look.across) / 0.1,
        (min(beside, 1.0) - look.across - rules.drop_least) / 0.2,
        (back_most - came_back(look)) / 0.15,
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


def _after_blank(look: Look, signals: Signals, rules: CutRules) -> SceneCut | None:
    if math.isnan(look.back) or one_view(look, rules) or look.levels < rules.levels_least:
        return None
    if max(look.back, number(look.back_plain)) > rules.either_most:
        return None
    if look.blank_level >= rules.dark_level:
        return None  # washed out: a light, fog, a cover
    if look.blank_level > rules.black_level and lights_faint(look, signals, rules):
        return None  # dim, and no recorder's black
    margin = (rules.blank_back_most - look.back) / 0.3
    stopped = look.blank_s >= FROZEN_S  # black, and no cover: it may be left again soon
    if margin <= 0 or (soon_back(look.returned_s) and not stopped):
        return None
    first = bisect_left(signals.times, look.at - look.blank_s)
    begins, ends = ramp(signals, first, look.index)
    times = signals.times
    lasts = times[max(first - 1, 0)] - times[max(begins, 0)] + times[ends] - times[look.index]
    if look.blank_s < FROZEN_S and SMEAR_S < lasts < FADE_S:
        return None  # a turret that clicks, a shutter: dark for an instant, smeared on either side
    if look.blank_s < BLINK_S and look.step_before > ABRUPT:
        return None  # a turret too: the picture slid away before it went dark
    slow = lasts >= FADE_S and ends > look.index  # a view that is there at once did not fade in
    kind = "fade" if slow else "stop" if look.blank_s >= FROZEN_S else "cut"
    at = ends if kind == "fade" else look.index
    return SceneCut(
        RecordingTime(signals.times[at]),
        kind,
        _confidence(margin),
        RecordingTime(signals.times[max(0, begins if kind == "fade" else look.index - 1)]),
    )


def _melted(look: BlendLook, signals: Signals, rules: CutRules) -> SceneCut | None:
    margin = melt(look, signals, rules)
    if margin is None:
        return None
    return SceneCut(
        RecordingTime(look.ends), "dissolve", _confidence(margin), RecordingTime(look.begins)
    )


def _touch(look: BlendLook, cut: SceneCut) -> bool:
    """Whether the blend shares time with a cut, or all but touches it."""
    slow = cut.kind in ("fade", "dissolve")
    begins = cut.begins if slow and cut.begins is not None else cut.at
    return begins - SETTLE_S <= look.ends and look.begins < cut.at + SETTLE_S


def _slight(look: BlendLook, cut: SceneCut, rules: CutRules) -> bool:
    """Whether the cut is only the first or last picture of the dissolve, seen as a step."""
    inside = look.begins - SETTLE_S / 2 <= cut.at <= look.ends + SETTLE_S / 2
    plain = cut.kind in ("cut", "swap") and look.misfit > rules.plain_misfit_most
    return inside and not plain and cut.kind not in ("fade", "dissolve")


def _confidence(margin: float) -> float:
    """0.5 on the limit, 0.9 a full margin beyond it (logistic)."""
    return round(1 / (1 + math.exp(-2.2 * margin)), 3)
