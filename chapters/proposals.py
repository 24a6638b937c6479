"""Where steps may begin, and why: from cuts, changes of what goes on, pauses and speech.

``changes`` gathers every place where something changed, with how much and in what words.
``propose`` picks a draft step list from them.

Values in, values out. Times are recording time.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from chapters.marks import Marks
from chapters.scenecuts import SceneCut
from chapters.spans import Span, clamp, merge, total
from chapters.stillness import StillStretch
from chapters.times import RecordingTime, duration_text

Floats = NDArray[np.float64]
ShowAs = Literal["real", "fast", "skip"]

#: More steps than this are no list that one takes in at a glance (common practice: about ten).
MOST_STEPS = 12
#: A proposed step is at least this long, and at least this share of the recording.
SHORTEST_STEP_S = Fraction(5)
SHORTEST_SHARE = Fraction(1, 60)
#: A weaker change than this begins no step.
LEAST_STRENGTH = 0.25
#: A step of which this share is dull is proposed as fast.
DULL_SHARE = Fraction(4, 5)
#: A dull stretch or a silence from this length on is a pause, which is told.
PAUSE_S = Fraction(8)
#: A dull stretch from this length on, or one of black, is a step of its own.
LONG_DULL_S = Fraction(20)
#: A change within a dull stretch counts so much less: a wait is one step.
_WITHIN_DULL = 0.35
#: Changes closer than this are one.
_ONE_CHANGE_S = Fraction(2)
#: What goes on is compared over so many seconds before and after (two scales).
NOVELTY_S = (Fraction(10), Fraction(40))
_CUT_STRENGTH = {"stop": 1.0, "cut": 0.9, "fade": 0.9, "dissolve": 0.8, "swap": 0.8}
_CUT_WORDS = {
    "stop": "the recorder stopped",
    "cut": "another view",
    "swap": "the view is switched",
    "fade": "the view fades into another",
    "dissolve": "one view melts into another",
}
#: What goes on in a dull stretch, in a colleague's words.
DULL_WORDS: Final = MappingProxyType(
    {
        "still": "nothing moves",
        "repeats": "the same small movement goes on",
        "black": "the picture is black",
        "blank": "there is nothing to see",
        "blurred": "out of focus",
    }
)


@dataclass(frozen=True, slots=True)
class Change:
    """Something changes at ``at``: ``strength`` 0..1, ``reason`` in a few words."""

    at: RecordingTime
    strength: float
    reason: str


@dataclass(frozen=True, slots=True)
class StepProposal:
    """A proposed step: ``title`` is empty where nothing names it; ``reason`` is why it begins there.

    ``show`` is written as in a case file. ``why`` tells what is dull about it, empty where it is
    not. ``id``, ``phase`` and ``expect`` come from earlier cases.
    """

    span: Span
    title: str
    show: str
    reason: str
    why: str = ""
    id: str = ""
    phase: str = ""
    expect: str = ""


def changes(
    marks: Marks,
    cuts: Sequence[SceneCut],
    still: Sequence[StillStretch],
    parts: Sequence[Fraction] = (),
    speech: Sequence[Span] = (),
    holes: Sequence[Span] = (),
) -> tuple[Change, ...]:
    """Every place where a step may begin, in order of time.

    ``parts`` are the starts of the recording's files, ``speech`` the stretches in which someone
    speaks, where the room's sound was kept, ``holes`` those without a picture.
    """
    found: list[Change] = []
    for cut in cuts:
        strength = _CUT_STRENGTH.get(cut.kind, 0.8) * cut.confidence
        found.append(Change(cut.at, strength, _CUT_WORDS.get(cut.kind, cut.kind)))
    found.extend(_silences(speech))
    found.extend(_novelties(marks))
    found = [_weighed(change, still) for change in found]
    for stretch in still:
        found.extend(_pause(stretch))
    for at in parts:
        if at > 0:
            found.append(Change(RecordingTime(at), 1.0, "a new file begins"))
    for hole in holes:
        reason = f"pictures again after {duration_text(hole.length)} without"
        found.append(Change(RecordingTime(hole.end), 0.95, reason))
    return _one_each(found)


def _weighed(change: Change, still: Sequence[StillStretch]) -> Change:
    """Less where it falls inside a dull stretch, away from its ends."""
    for stretch in still:
        inside = stretch.span.start + _ONE_CHANGE_S < change.at < stretch.span.end - _ONE_CHANGE_S
        if inside and stretch.span.length >= PAUSE_S:
            return replace(change, strength=_WITHIN_DULL * change.strength)
    return change


def _one_each(found: Sequence[Change]) -> tuple[Change, ...]:
    """The strongest of changes close together, in order of time."""
    kept: list[Change] = []
    for change in sorted(found, key=lambda c: (-c.strength, c.at)):
        if all(abs(change.at - other.at) >= _ONE_CHANGE_S for other in kept):
            kept.append(change)
    return tuple(sorted(kept, key=lambda c: c.at))


def _pause(stretch: StillStretch) -> Iterable[Change]:
    length = stretch.span.length
    if length < PAUSE_S:
        return
    plain = length >= LONG_DULL_S or stretch.kind in ("black", "blank")
    strength = (0.55 if plain else 0.1) + 0.3 * min(1.0, float(length) / 60)
    what = DULL_WORDS.get(stretch.kind, stretch.kind)
    reason = f"from here on {what}" if stretch.kind in ("still", "repeats") else what
    yield Change(_tenth(stretch.span.start), strength, reason)
    over = _OVER_WORDS.get(stretch.kind, "it goes on after {}")
    yield Change(_tenth(stretch.span.end), strength, over.format(duration_text(length)))


def _tenth(at: Fraction) -> RecordingTime:
    """What is not known to the frame is told in tenths of a second."""
    return RecordingTime(Fraction(round(at * 10), 10))


_OVER_WORDS = {
    "still": "something moves again after {}",
    "repeats": "something else after {} of the same",
    "black": "a picture again after {} of black",
    "blank": "something to see again after {}",
    "blurred": "in focus again after {}",
}


def _silences(speech: Sequence[Span]) -> Iterable[Change]:
    spoken = merge(speech)
    for before, after in pairwise(spoken):
        silent = after.start - before.end
        if silent >= PAUSE_S:
            strength = 0.3 + 0.3 * min(1.0, float(silent) / 60)
            reason = f"speech after {duration_text(silent)} without"
            yield Change(_tenth(after.start), strength, reason)


def _novelties(marks: Marks) -> Iterable[Change]:
    """Peaks of the difference between what went on before and after, at two time scales.

    The kernel is that of audio segmentation by novelty (Foote, ICME 2000), in the form of the
    distance of the two means over the spread within.
    """
    count = len(marks.times)
    if count < 8:
        return
    usual = float(marks.times[-1] - marks.times[0]) / (count - 1)
    features = _features(marks)
    for scale in NOVELTY_S:
        reach = round(float(scale) / usual)
        if reach < 4 or count < 2 * reach:
            continue
        for place, value, group in _peaks(features, reach):
            strength = 0.5 * min(1.0, value / 6)
            yield Change(_tenth(marks.times[place]), strength, _GROUPS[group])


_GROUPS = ("the view changes", "the movement changes", "the light changes")


def _features(marks: Marks) -> tuple[Floats, ...]:
    """Three groups of features, each (n, k): the view's outline, the movement, the light."""
    small = marks.outline.reshape(len(marks.times), 9, 2, 16, 2).mean(axis=(2, 4))
    outline = small.reshape(len(marks.times), -1) / 64.0
    movement = np.sqrt(np.stack([marks.moved, marks.stir], axis=1).astype(np.float64))
    light = np.stack([marks.level / 255.0, marks.tint[:, 0] / 128.0, marks.tint[:, 1] / 128.0], 1)
    return outline, movement, np.nan_to_num(light.astype(np.float64))


def _peaks(groups: tuple[Floats, ...], reach: int) -> Iterable[tuple[int, float, int]]:
    """(place, novelty, group that changes most) of the local maxima at one scale."""
    curves = np.stack([_novelty(group, reach) for group in groups])
    curve = curves.max(axis=0)
    floor = float(np.median(curve)) + 1.5
    for place in range(reach, len(curve) - reach):
        window = curve[place - reach // 2 : place + reach // 2 + 1]
        if curve[place] > floor and curve[place] == window.max():
            yield place, float(curve[place]), int(curves[:, place].argmax())


def _novelty(features: Floats, reach: int) -> Floats:
    """Distance of the means of ``reach`` rows before and after over the pooled deviation; (n,)."""
    count = len(features)
    sums = np.vstack([np.zeros((1, features.shape[1])), np.cumsum(features, axis=0)])
    squares = np.vstack([np.zeros((1, features.shape[1])), np.cumsum(features**2, axis=0)])
    out = np.zeros(count)
    centre = np.arange(reach, count - reach)
    before = (sums[centre] - sums[centre - reach]) / reach
    after = (sums[centre + reach] - sums[centre]) / reach
    spread = (squares[centre + reach] - squares[centre - reach]) / (2 * reach)
    spread -= (before**2 + after**2) / 2
    within = np.sqrt(np.maximum(spread.sum(axis=1), 0)) + 0.02 * np.sqrt(features.shape[1])
    out[centre] = np.sqrt(((after - before) ** 2).sum(axis=1)) / within
    return out


#: Why the first step begins where it does.
BEGINS = "the recording begins"


def propose(
    found: Sequence[Change],
    length: Fraction,
    still: Sequence[StillStretch] = (),
    most: int = MOST_STEPS,
) -> tuple[StepProposal, ...]:
    """A draft step list that covers the recording: at most ``most`` steps, without titles.

    The strongest change begins a step first; one too near to another border begins none, and
    neither does one below LEAST_STRENGTH.
    """
    shortest = max(SHORTEST_STEP_S, length * SHORTEST_SHARE)
    borders: dict[Fraction, str] = {Fraction(0): BEGINS}
    for change in sorted(found, key=lambda c: (-c.strength, c.at)):
        if len(borders) >= most or change.strength < LEAST_STRENGTH:
            break
        near = min(abs(change.at - at) for at in (*borders, length))
        if near >= shortest:
            borders[change.at] = change.reason
    return laid_out(borders, [""] * len(borders), length, still)


def laid_out(
    borders: dict[Fraction, str],
    titles: Sequence[str],
    length: Fraction,
    still: Sequence[StillStretch],
) -> tuple[StepProposal, ...]:
    """Steps from border to border; ``borders`` gives each its reason, ``titles`` go by time."""
    starts = sorted(borders)
    out = []
    for start, end, title in zip(starts, [*starts[1:], length], titles, strict=True):
        span = Span(start, end)
        show = show_as(span, still)
        why = "" if show == "real" else _dullest(span, still)
        out.append(StepProposal(span, title, show, borders[start], why))
    return tuple(out)


def show_as(span: Span, still: Sequence[StillStretch]) -> ShowAs:
    """``skip`` where nearly all of the span is black or blank, ``fast`` where it is dull."""
    if _share(span, (s for s in still if s.kind in ("black", "blank"))) >= DULL_SHARE:
        return "skip"
    return "fast" if _share(span, still) >= DULL_SHARE else "real"


def _dullest(span: Span, still: Sequence[StillStretch]) -> str:
    """What goes on for most of a dull span, in words."""
    kinds = sorted({s.kind for s in still})
    most = max(kinds, key=lambda kind: _share(span, (s for s in still if s.kind == kind)))
    return DULL_WORDS.get(most, most)


def _share(span: Span, still: Iterable[StillStretch]) -> Fraction:
    inside = [part for s in still if (part := clamp(s.span, span)) is not None]
    return total(merge(inside)) / span.length if span.length else Fraction(0)
