"""Where steps may begin, and why: from cuts, changes of what goes on, pauses and speech.

``changes`` gathers every place where something changed, with how much and in what words.
``propose`` picks a draft step list from them. Where earlier cases of the same procedure exist,
``fit_steps`` lays their steps, in order, over the recording: the borders that fit best what those
steps lasted before and what changes here (dynamic programming over both).

Values in, values out. Times are recording time.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

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
#: A step of which this share is dull is proposed as fast.
DULL_SHARE = Fraction(4, 5)
#: A dull stretch or a silence from this length on is a pause between steps.
PAUSE_S = Fraction(8)
#: What goes on is compared over so many seconds before and after (two scales).
NOVELTY_S = (Fraction(10), Fraction(40))
#: How much a step's length varies where only one earlier case is known, as a standard deviation of
#: its natural logarithm; common practice, and the weight of two cases beside what is measured.
USUAL_SPREAD = 0.4
_PRIOR_CASES = 2.0

_CUT_STRENGTH = {"stop": 1.0, "cut": 0.9, "fade": 0.9, "dissolve": 0.8, "swap": 0.6}
_CUT_WORDS = {
    "stop": "the recorder stopped",
    "cut": "another view",
    "swap": "the view is switched",
    "fade": "the view fades into another",
    "dissolve": "one view melts into another",
}


@dataclass(frozen=True, slots=True)
class Change:
    """Something changes at ``at``: ``strength`` 0..1, ``reason`` in a few words."""

    at: RecordingTime
    strength: float
    reason: str


@dataclass(frozen=True, slots=True)
class StepProposal:
    """A proposed step: ``title`` is empty where nothing names it; ``reason`` is why it begins there."""

    span: Span
    title: str
    show: ShowAs
    reason: str


@dataclass(frozen=True, slots=True)
class EarlierStep:
    """A step of earlier cases of the procedure, and how long it lasted in each, in seconds."""

    title: str
    lasted: tuple[Fraction, ...]


def changes(
    marks: Marks,
    cuts: Sequence[SceneCut],
    still: Sequence[StillStretch],
    parts: Sequence[Fraction] = (),
    speech: Sequence[Span] = (),
) -> tuple[Change, ...]:
    """Every place where a step may begin, in order of time.

    ``parts`` are the starts of the recording's files, ``speech`` the stretches in which someone
    speaks, where the room's sound was kept.
    """
    found = [Change(RecordingTime(at), 1.0, "a new file begins") for at in parts if at > 0]
    for cut in cuts:
        strength = _CUT_STRENGTH.get(cut.kind, 0.8) * cut.confidence
        found.append(Change(cut.at, strength, _CUT_WORDS.get(cut.kind, cut.kind)))
    for stretch in still:
        found.extend(_pause(stretch))
    found.extend(_silences(speech))
    found.extend(_novelties(marks))
    return tuple(sorted(found, key=lambda change: (change.at, -change.strength)))


def _pause(stretch: StillStretch) -> Iterable[Change]:
    if stretch.span.length < PAUSE_S:
        return
    strength = 0.4 + 0.4 * min(1.0, float(stretch.span.length) / 60)
    lasted = duration_text(stretch.span.length)
    yield Change(RecordingTime(stretch.span.start), 0.8 * strength, "a quiet stretch begins")
    yield Change(RecordingTime(stretch.span.end), strength, f"it goes on after {lasted} of quiet")


def _silences(speech: Sequence[Span]) -> Iterable[Change]:
    spoken = merge(speech)
    for before, after in pairwise(spoken):
        silent = after.start - before.end
        if silent >= PAUSE_S:
            strength = 0.3 + 0.3 * min(1.0, float(silent) / 60)
            reason = f"speech after {duration_text(silent)} without"
            yield Change(RecordingTime(after.start), strength, reason)


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
            yield Change(RecordingTime(marks.times[place]), strength, _GROUPS[group])


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


def propose(
    found: Sequence[Change],
    length: Fraction,
    still: Sequence[StillStretch] = (),
    most: int = MOST_STEPS,
) -> tuple[StepProposal, ...]:
    """A draft step list that covers the recording: at most ``most`` steps, without titles.

    The strongest change begins a step first; one too near to another border begins none.
    """
    shortest = max(SHORTEST_STEP_S, length * SHORTEST_SHARE)
    borders: dict[Fraction, str] = {Fraction(0): "the recording begins"}
    for change in sorted(found, key=lambda c: (-c.strength, c.at)):
        if len(borders) >= most:
            break
        near = min(abs(change.at - at) for at in (*borders, length))
        if near >= shortest:
            borders[change.at] = change.reason
    return _laid_out(borders, [""] * len(borders), length, still)


def _laid_out(
    borders: dict[Fraction, str],
    titles: Sequence[str],
    length: Fraction,
    still: Sequence[StillStretch],
) -> tuple[StepProposal, ...]:
    starts = sorted(borders)
    out = []
    for start, end, title in zip(starts, [*starts[1:], length], titles, strict=True):
        span = Span(start, end)
        out.append(StepProposal(span, title, show_as(span, still), borders[start]))
    return tuple(out)


def show_as(span: Span, still: Sequence[StillStretch]) -> ShowAs:
    """``skip`` where nearly all of the span is black or blank, ``fast`` where it is dull."""
    if _share(span, (s for s in still if s.kind in ("black", "blank"))) >= DULL_SHARE:
        return "skip"
    return "fast" if _share(span, still) >= DULL_SHARE else "real"


def _share(span: Span, still: Iterable[StillStretch]) -> Fraction:
    inside = [part for s in still if (part := clamp(s.span, span)) is not None]
    return total(merge(inside)) / span.length if span.length else Fraction(0)


def fit_steps(
    found: Sequence[Change],
    length: Fraction,
    earlier: Sequence[EarlierStep],
    still: Sequence[StillStretch] = (),
) -> tuple[StepProposal, ...]:
    """The earlier cases' steps, in their order, with the borders that fit best.

    A border gains by the strength of the change there; a step's length costs by how unlikely it is,
    its natural logarithm taken as normal with the mean and deviation of the earlier cases (the
    deviation drawn towards USUAL_SPREAD while there are few). Steps are scaled to the recording's
    length as a whole when it is longer or shorter than they add up to. The best borders are found
    exactly over all changes and a grid of about 300 places. Raises ValueError without any step, or
    when a step never lasted at all.
    """
    if not earlier:
        raise ValueError("no earlier step to lay over the recording")
    if any(not step.lasted or min(step.lasted) <= 0 for step in earlier):
        raise ValueError("every earlier step needs lengths above zero")
    places, gains = _places(found, length, len(earlier))
    means, spreads = _statistics(earlier, float(length))
    chosen = _best_borders([*places, length], gains, means, spreads)
    reasons: dict[Fraction, str] = {}
    for step, index in zip(earlier, chosen, strict=True):
        at = places[index]
        why = _reason_at(found, at)
        cases = f"{len(step.lasted)} earlier case{'s' * (len(step.lasted) != 1)}"
        usual = duration_text(Fraction(sorted(step.lasted)[len(step.lasted) // 2]))
        reasons[at] = f"{why}; it lasted {usual} in {cases}"
    return _laid_out(reasons, [step.title for step in earlier], length, still)


def _places(found: Sequence[Change], length: Fraction, steps: int) -> tuple[list[Fraction], Floats]:
    """Where a border may lie: the start, all changes, a grid; and what a border gains there."""
    strength: dict[Fraction, float] = {}
    for change in found:
        if 0 < change.at < length:
            strength[change.at] = max(strength.get(change.at, 0.0), change.strength)
    count = max(300, 4 * steps)
    grid = [length * n / count for n in range(1, count)]
    places = sorted({Fraction(0), *strength, *grid})
    return places, np.array([3 * strength.get(at, 0.0) for at in places])


def _statistics(earlier: Sequence[EarlierStep], length: float) -> tuple[Floats, Floats]:
    """Mean and deviation of the logarithm of each step's length, scaled to the recording."""
    logs = [np.log([float(x) for x in step.lasted]) for step in earlier]
    means = np.array([row.mean() for row in logs])
    means += math.log(length / float(np.exp(means).sum()))
    spreads = np.array(
        [
            math.sqrt(
                (float(((row - row.mean()) ** 2).sum()) + _PRIOR_CASES * USUAL_SPREAD**2)
                / (len(row) - 1 + _PRIOR_CASES)
            )
            for row in logs
        ]
    )
    return means, spreads


def _best_borders(
    borders: Sequence[Fraction], gains: Floats, means: Floats, spreads: Floats
) -> list[int]:
    """Places in ``borders`` where each step begins, the first at 0; exact, O(steps n^2).

    The last of the borders is the recording's end.
    """
    count, steps = len(borders) - 1, len(means)
    places, length = np.array([float(b) for b in borders[:-1]]), float(borders[-1])
    best = np.full(count, -np.inf)
    best[0] = 0.0
    back: list[NDArray[np.intp]] = []
    lasted = places[None, :] - places[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(lasted > 0, np.log(np.maximum(lasted, 1e-9)), np.nan)
    for step in range(steps - 1):
        cost = _log_likelihood(logs, means[step], spreads[step])
        score = best[:, None] + np.where(np.isnan(cost), -np.inf, cost) + gains[None, :]
        back.append(score.argmax(axis=0))
        best = score.max(axis=0)
    final = best + _log_likelihood(np.log(length - places), means[-1], spreads[-1])
    at = int(final.argmax())
    chosen = [at]
    for row in reversed(back):
        at = int(row[at])
        chosen.append(at)
    return chosen[::-1]


def _log_likelihood(logs: Floats, mean: float, spread: float) -> Floats:
    return np.asarray(-0.5 * ((logs - mean) / spread) ** 2 - math.log(spread), np.float64)


def _reason_at(found: Sequence[Change], at: Fraction) -> str:
    if at == 0:
        return "the recording begins"
    here = [change for change in found if change.at == at]
    if here:
        return max(here, key=lambda change: change.strength).reason
    times = [change.at for change in found]
    near = bisect_left(times, at)
    close = [c for c in found[max(0, near - 1) : near + 1] if abs(c.at - at) <= 3]
    return f"near where {close[0].reason}" if close else "where it usually begins"
