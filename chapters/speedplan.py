"""The speed of every step: given in the case, or solved so that the film has the wished length.

All ``fast`` steps take one speed, each clipped to its own limit. The film's length falls steadily
as that speed rises (``ramps.eased_run``), so the speed is found by bisection over exact values
and kept to six decimals; what the rounding leaves, a few frames at most, is taken up by the closing
card, and the film has exactly the wished length.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from chapters.assemble import Element, film_length
from chapters.case import Step
from chapters.times import duration_text, exact_text, round_half_up

#: Speed of a ``fast`` step when no length is wished for; a step's own limit still holds.
USUAL_FAST = Fraction(8)
ONE = Fraction(1)
_STEPS = 10**6


@dataclass(frozen=True, slots=True)
class SpeedPlan:
    """The speed of each shown step by its id; ``solved`` is the common fast speed, if any was."""

    speeds: Mapping[str, Fraction]
    solved: Fraction | None = None


class UnreachableLength(ValueError):
    """No speed gives the wished length; ``shortest`` and ``longest`` are what can be had, seconds.

    ``fast`` says whether any step is fast at all.
    """

    def __init__(
        self, wished: Fraction, shortest: Fraction, longest: Fraction, *, fast: bool
    ) -> None:
        self.wished, self.shortest, self.longest = wished, shortest, longest
        if shortest == longest:
            why = "its fast steps are too short to run faster" if fast else "no step is fast"
            range_text = f"the film lasts {_s(shortest)}, because {why}"
        else:
            range_text = f"the film can last from {_s(shortest)} to {_s(longest)}"
        super().__init__(f"no speed gives a film of {_s(wished)}: {range_text}")


def _s(seconds: Fraction) -> str:
    """Minutes and seconds, with the exact seconds where they are not whole."""
    if seconds.denominator == 1:
        return duration_text(seconds)
    return f"{duration_text(seconds)} ({exact_text(Fraction(round_half_up(seconds * 1000), 1000))[:-6]} s)"


def speeds_at(steps: Sequence[Step], fast: Fraction) -> dict[str, Fraction]:
    """The speed of every step when ``fast`` is the common speed of the fast ones."""
    out: dict[str, Fraction] = {}
    for step in steps:
        show = step.show
        if show.kind == "fixed" and show.speed is not None:
            out[step.id] = show.speed
        elif show.kind == "fast":
            out[step.id] = max(ONE, min(fast, show.limit))
        else:
            out[step.id] = ONE
    return out


def no_faster_than(steps: Sequence[Step], shortest: Mapping[str, Fraction]) -> tuple[Step, ...]:
    """The steps, each ``fast`` one limited so that it lasts at least ``shortest[id]`` cut seconds.

    Ramps only lengthen a run, so the limit is the step's length over the wished one.
    """
    out: list[Step] = []
    for step in steps:
        least = shortest.get(step.id, Fraction(0))
        if step.show.kind == "fast" and least > 0 and step.end is not None:
            limit = max(ONE, (step.end - step.start) / least)
            step = replace(step, show=replace(step.show, limit=min(step.show.limit, limit)))
        out.append(step)
    return tuple(out)


def plan_speeds(
    steps: Sequence[Step],
    elements: Sequence[Element],
    ramp_s: Fraction,
    wished: Fraction | None = None,
) -> SpeedPlan:
    """Choose the speeds. ``wished`` is the whole film's length in seconds, cards and stills included.

    Raises UnreachableLength when no common speed between 1 and the steps' limits gives it.
    """
    if wished is None:
        return SpeedPlan(speeds_at(steps, USUAL_FAST))

    def length(fast: Fraction) -> Fraction:
        return film_length(elements, speeds_at(steps, fast), ramp_s)

    top = max((s.show.limit for s in steps if s.show.kind == "fast"), default=ONE)
    longest, shortest = length(ONE), length(top)
    if not shortest <= wished <= longest:
        fast = any(s.show.kind == "fast" for s in steps)
        raise UnreachableLength(wished, shortest, longest, fast=fast)
    low, high = _STEPS, -((-top.numerator * _STEPS) // top.denominator)
    while low < high:  # the lowest speed at which the film is no longer than wished
        middle = (low + high) // 2
        if length(min(top, Fraction(middle, _STEPS))) <= wished:
            high = middle
        else:
            low = middle + 1
    solved = min(top, Fraction(low, _STEPS))
    return SpeedPlan(speeds_at(steps, solved), solved)
