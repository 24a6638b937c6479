"""Eased speeds in closed form: where a ramp is, how fast it runs, how much it consumes.

A ramp from speed ``s0`` to ``s1`` over ``d`` cut seconds, with ``u = (t - t0) / d`` in [0, 1]:

    s(u) = s0 + (s1 - s0) (3 u^2 - 2 u^3)
    r(u) = d (s0 u + (s1 - s0) (u^3 - u^4 / 2))

The first line is the cubic Hermite step ("smoothstep"), the second its integral over cut time,
so a ramp consumes exactly ``d (s0 + s1) / 2`` recording seconds. All values are exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

ONE = Fraction(1)


def ramp_speed(s0: Fraction, s1: Fraction, u: Fraction) -> Fraction:
    """Speed (recording seconds per cut second) at the share ``u`` of a ramp."""
    return s0 + (s1 - s0) * u * u * (3 - 2 * u)


def ramp_consumed(s0: Fraction, s1: Fraction, d: Fraction, u: Fraction) -> Fraction:
    """Recording seconds consumed from a ramp's start to its share ``u``; ``d`` is its cut length."""
    return d * (s0 * u + (s1 - s0) * u * u * u * (1 - u / 2))


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of one run: ``cut`` seconds of film that consume ``recording`` seconds."""

    cut: Fraction
    recording: Fraction
    s0: Fraction
    s1: Fraction


def _ramp(d: Fraction, s0: Fraction, s1: Fraction) -> Leg:
    return Leg(d, d * (s0 + s1) / 2, s0, s1)


def _single(length: Fraction, entry: Fraction, leaving: Fraction) -> tuple[Leg, ...]:
    return (Leg(2 * length / (entry + leaving), length, entry, leaving),)


def eased_run(
    length: Fraction, speed: Fraction, entry: Fraction, leaving: Fraction, ramp_s: Fraction
) -> tuple[Leg, ...]:
    """Lay ``length`` recording seconds out at ``speed``, entered at ``entry`` and left at ``leaving``.

    Both border speeds are at most ``speed``. Each ramp lasts ``ramp_s`` cut seconds where there
    is room. A run too short for its ramps gets a lower peak, and one too short even for that is
    a single ramp from border to border: so the cut length falls steadily and without a jump as
    ``speed`` rises, which is what lets a wished length be solved for.
    """
    if not entry <= speed >= leaving:
        raise ValueError("a run's borders are never faster than the run")
    if length <= 0:
        return ()
    up = _ramp(ramp_s, entry, speed) if entry != speed else None
    down = _ramp(ramp_s, speed, leaving) if leaving != speed else None
    used = sum((leg.recording for leg in (up, down) if leg is not None), Fraction(0))
    if used <= length:
        rest = length - used
        hold = Leg(rest / speed, rest, speed, speed) if rest > 0 else None
        return tuple(leg for leg in (up, hold, down) if leg is not None and leg.cut > 0)
    top = max(entry, leaving)
    if up is not None and down is not None:
        peak = length / ramp_s - (entry + leaving) / 2
        if peak > top:
            return (_ramp(ramp_s, entry, peak), _ramp(ramp_s, peak, leaving))
        return eased_run(length, top, entry, leaving, ramp_s)
    return _single(length, entry, leaving)


def fitted_run(
    length: Fraction,
    speed: Fraction,
    borders: tuple[Fraction, Fraction],
    ramp_s: Fraction,
    start: Fraction,
    fps: Fraction,
) -> tuple[Leg, ...]:
    """``eased_run`` from cut time ``start`` on, its ramps a hair longer or shorter so that it ends on a frame.

    What follows then begins on a frame whatever the speed, so an edit of this run moves the rest
    of the film by whole frames and leaves every later picture as it was. A run without ramps
    ends where it ends.
    """
    legs = eased_run(length, speed, *borders, ramp_s)
    cut = sum((leg.cut for leg in legs), Fraction(0))
    frames = (start + cut) * fps
    if frames.denominator == 1 or all(leg.s0 == leg.s1 for leg in legs) or ramp_s <= 0:
        return legs
    below = frames.numerator // frames.denominator
    for whole in sorted((below, below + 1), key=lambda n: abs(n - frames)):
        wanted = whole / fps - start
        ramp = _ramp_for(speed, borders, ramp_s, legs, wanted - cut)
        if ramp > 0:
            fitted = eased_run(length, speed, *borders, ramp)
            if sum((leg.cut for leg in fitted), Fraction(0)) == wanted:
                return fitted
    return legs


def _ramp_for(
    speed: Fraction,
    borders: tuple[Fraction, Fraction],
    ramp_s: Fraction,
    legs: tuple[Leg, ...],
    longer: Fraction,
) -> Fraction:
    """The ramp length that makes a run ``longer`` cut seconds longer, if its shape stays as it is.

    A ramp of length d from e to s takes d (s - e) / 2s cut seconds more than its recording would
    at speed s; in a run of lowered peak the two ramps are all there is.
    """
    if max(leg.s1 for leg in legs) < speed:
        return ramp_s + longer / 2
    excess = sum(((speed - b) / (2 * speed) for b in borders), Fraction(0))
    return ramp_s + longer / excess


def share_at(s0: Fraction, s1: Fraction, d: Fraction, consumed: Fraction) -> Fraction:
    """The share ``u`` of a ramp at which ``consumed`` recording seconds have passed.

    The inverse of a quartic has no rational form: found by bisection to within 2^-48 of the
    ramp (under 10 femtoseconds for a ramp of a second), exact at both ends.
    """
    if consumed <= 0:
        return Fraction(0)
    if consumed >= d * (s0 + s1) / 2:
        return ONE
    low, high = 0, 1 << 48
    while high - low > 1:
        middle = (low + high) // 2
        if ramp_consumed(s0, s1, d, Fraction(middle, 1 << 48)) <= consumed:
            low = middle
        else:
            high = middle
    return Fraction(low, 1 << 48)
