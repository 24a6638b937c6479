"""The steps of earlier cases of a procedure laid over a recording, in their order.

The borders that fit best what those steps lasted before and what changes here, found exactly by
dynamic programming over both. Values in, values out. Times are recording time.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from chapters.proposals import BEGINS, Change, StepProposal, laid_out
from chapters.stillness import StillStretch
from chapters.times import duration_text

Floats = NDArray[np.float64]

#: How much a step's length varies where only one earlier case is known, as a standard deviation of
#: its natural logarithm; common practice, and the weight of two cases beside what is measured.
USUAL_SPREAD = 0.4
_PRIOR_CASES = 2.0
#: What a border gains at a change of strength 1, in units of log-likelihood: as much as a step whose
#: length is off by a factor of 4 costs. Chosen on made recordings (see tests/bench/bench_steps.py).
GAIN = 6.0


@dataclass(frozen=True, slots=True)
class EarlierStep:
    """A step of earlier cases of the procedure, and how long it lasted in each, in seconds.

    ``id``, ``phase``, ``show`` and ``expect`` as a case file writes them, empty where not known.
    """

    title: str
    lasted: tuple[Fraction, ...]
    id: str = ""
    phase: str = ""
    show: str = ""
    expect: str = ""


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
    laid = laid_out(reasons, [step.title for step in earlier], length, still)
    return tuple(
        replace(
            step,
            id=was.id,
            phase=was.phase,
            show=was.show or step.show,
            expect=was.expect,
        )
        for step, was in zip(laid, earlier, strict=True)
    )


def _places(found: Sequence[Change], length: Fraction, steps: int) -> tuple[list[Fraction], Floats]:
    """Where a border may lie: the start, all changes, a grid; and what a border gains there."""
    strength: dict[Fraction, float] = {}
    for change in found:
        if 0 < change.at < length:
            strength[change.at] = max(strength.get(change.at, 0.0), change.strength)
    count = max(300, 4 * steps)
    grid = [length * n / count for n in range(1, count)]
    places = sorted({Fraction(0), *strength, *grid})
    return places, np.array([GAIN * strength.get(at, 0.0) for at in places])


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
        return BEGINS
    here = [change for change in found if change.at == at]
    if here:
        return max(here, key=lambda change: change.strength).reason
    times = [change.at for change in found]
    near = bisect_left(times, at)
    close = [c for c in found[max(0, near - 1) : near + 1] if abs(c.at - at) <= 3]
    return f"near where {close[0].reason}" if close else "where it usually begins"
