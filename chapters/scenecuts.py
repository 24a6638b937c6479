"""Numbers -> scene cuts: the sudden changes of picture inside a recording.

Kinds of cut:

========  =====================================================================================
cut       the view is another one from one frame to the next
swap      the view is another one, and the one of before comes back (recorder input switched)
stop      the recorder stopped: a jump within one view, after a frozen or black picture or a hole
========  =====================================================================================

Flashes, washed-out or covered pictures, lamp steps, filters, refocus and movement are not cuts:
a lamp leaves the structure as it was, movement is found again elsewhere or is spread over several
frames, and after a flash or a blink the picture of before comes back.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from chapters.signals import MARK_S, Look, Signals
from chapters.spans import Span
from chapters.times import RecordingTime

#: A frozen picture of this length before a jump is a recorder that stopped.
FROZEN_S = Fraction(2, 5)
#: A view that comes back within this time was covered or lit, not left.
BLINK_S = Fraction(3, 5)

#: Decoder smear may settle for so long before it stands still.
SETTLE_S = Fraction(3, 10)


@dataclass(frozen=True, slots=True)
class SceneCut:
    """``at`` is the time of the first frame after the cut; ``confidence`` 0..1."""

    at: RecordingTime
    kind: str
    confidence: float


@dataclass(frozen=True, slots=True)
class CutRules:
    """The limits of the decision; matches run from -1 unlike to 1 alike.

    ``across_most`` block match over the step, ``drop_least`` how much lower it is than on either
    side, ``back_most`` best match of the second before with the second after, ``jump_*`` the same
    for a jump within one view.
    """

    across_most: float = 0.75
    drop_least: float = 0.18
    back_most: float = 0.60
    jump_kept_most: float = 0.55
    jump_back_most: float = 0.80
    blank_back_most: float = 0.45


def find_cuts(signals: Signals, rules: CutRules = CutRules()) -> tuple[SceneCut, ...]:
    """Every scene cut in order of time; two cuts never share a frame."""
    found: dict[Fraction, SceneCut] = {}
    for look in signals.looks:
        cut = _judge(look, rules)
        if cut is not None and look.same_frame_s >= FROZEN_S and _smeared(look, signals, found):
            continue
        if cut is not None and (cut.at not in found or found[cut.at].confidence < cut.confidence):
            found[cut.at] = cut
    swapped_back = [
        Span(s.at, s.at + s.returned_s)
        for s in signals.looks
        if s.at in found and found[s.at].kind == "swap" and s.returned_s is not None
    ]
    return tuple(_named(found[at], swapped_back) for at in sorted(found))


def _named(cut: SceneCut, away: Sequence[Span]) -> SceneCut:
    """The cut that brings the earlier view back is a swap like the one that took it away."""
    back = any(span.start < cut.at and 0 <= span.end - cut.at <= 2 * MARK_S for span in away)
    return replace(cut, kind="swap") if back and cut.kind == "cut" else cut


def _smeared(look: Look, signals: Signals, found: Mapping[Fraction, SceneCut]) -> bool:
    """Whether the frozen picture before this step was decoder smear: stepped into, but not by a cut.

    A recorder that stops leaves its last good picture standing; a still switched in begins with a cut.
    """
    start = look.at - look.same_frame_s
    into = [s for s in signals.looks if 0 <= start - s.at <= SETTLE_S and s.step > 0.3]
    return bool(into) and not any(s.at in found for s in into)


def _judge(look: Look, rules: CutRules) -> SceneCut | None:
    if look.blank_s > 0:
        return _after_blank(look, rules)
    if math.isnan(look.across) or math.isnan(look.back):
        return None
    beside = min(1.0, *(m for m in (look.before, look.after) if not math.isnan(m)), 1.0)
    drop = beside - look.across
    if look.across > rules.across_most or drop < rules.drop_least:
        return None
    if look.back < rules.back_most:
        margin = min(
            (rules.across_most - look.across) / 0.2,
            (drop - rules.drop_least) / 0.2,
            (rules.back_most - look.back) / 0.2,
        )
        return SceneCut(RecordingTime(look.at), _kind(look), _confidence(margin))
    stopped = look.same_frame_s >= FROZEN_S or look.gap_ratio > 8
    if stopped and look.kept < rules.jump_kept_most and look.back < rules.jump_back_most:
        margin = (rules.jump_back_most - look.back) / 0.2
        return SceneCut(RecordingTime(look.at), "stop", _confidence(margin))
    return None


def _kind(look: Look) -> str:
    if look.same_frame_s >= FROZEN_S or look.gap_ratio > 8:
        return "stop"
    return "cut" if look.returned_s is None else "swap"


def _after_blank(look: Look, rules: CutRules) -> SceneCut | None:
    if math.isnan(look.back) or look.back > rules.blank_back_most:
        return None
    return SceneCut(
        RecordingTime(look.at), "stop", _confidence((rules.blank_back_most - look.back) / 0.3)
    )


def _confidence(margin: float) -> float:
    """0.5 on the limit, 0.9 a full margin beyond it (logistic)."""
    return round(1 / (1 + math.exp(-2.2 * margin)), 3)
