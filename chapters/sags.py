"""Pictures in -> the stretches in which their strength sags as in a dissolve.

The strength of a picture is the mean square of its coarse structure. Two views that have nothing to
do with each other, mixed in the shares 1 - s and s, have (1 - s)² of the strength of the one and s²
of that of the other: halfway, half of their mean, however either of them moves meanwhile. The
parabola follows from the mixture alone; it is known as that of the variance (Alattar, "Detecting and
compressing dissolve regions", 1993; named from memory).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from chapters.looks import Entry

#: Lengths of the stretches tried, in seconds: each a third longer than the one before.
LENGTHS_S = (0.25, 0.33, 0.45, 0.6, 0.8, 1.05, 1.4, 1.9)
#: The strength on either side is the mean over so long, in seconds.
ASIDE_S = 0.1
#: Fewer pictures show no parabola.
FEWEST = 6
#: A stretch is moved by so many pictures at either end to where it fits best.
MOVES = 4

#: Pictures with less strength than this, in levels², show nothing.
_WEAK = 4.0
#: Halfway the strength is so much of the mean of both ends, and a quarter of the way no farther from
#: the parabola than this part of their sum: a first sieve, loose enough for related views.
_HALFWAY = (0.30, 0.72)
_QUARTER_MOST = 0.16
_MISFIT_MOST = 0.1
_SOLID_MOST = 0.5
#: Shares nearer to either end than this tell little of what is lost.
_MIDDLE = 0.25


@dataclass(frozen=True, slots=True)
class Sag:
    """From the time of the last picture of the old view to that of the first of the new one.

    ``misfit`` is how far the strengths are from the parabola (root mean square) over the strengths
    of both sides; ``solid`` how much of the strength that a mixture of unlike views loses is still
    there: 0 all lost, 1 none.
    """

    begins: Fraction
    ends: Fraction
    misfit: float
    solid: float


@dataclass(slots=True)
class _Open:
    sag: Sag
    seen: Fraction


class SagWatch:
    """Feed it the kept pictures; of stretches that share time it keeps the one that fits best."""

    def __init__(self) -> None:
        self._open: list[_Open] = []

    def feed(self, ring: Sequence[Entry]) -> None:
        """Try the stretches that end ``ASIDE_S`` before the last entry of ``ring``."""
        times, powers = [e.seconds for e in ring], [e.power for e in ring]
        last = nearest(times, times[-1] - ASIDE_S)
        for length in LENGTHS_S:
            first = nearest(times, times[last] - length)
            if abs(times[last] - times[first] - length) > length / 4:
                continue
            if last - first + 1 >= FEWEST and _sags(times, powers, first, last):
                self._note(measured(ring, times, powers, first, last), ring[-1].time)

    def _note(self, found: Sag, now: Fraction) -> None:
        if found.misfit > _MISFIT_MOST or abs(found.solid) > _SOLID_MOST:
            return
        rivals = [o for o in self._open if o.sag.begins < found.ends and found.begins < o.sag.ends]
        if all(found.misfit < rival.sag.misfit for rival in rivals):
            self._open = [o for o in self._open if o not in rivals] + [_Open(found, now)]
        for rival in rivals:
            rival.seen = now

    def over(self, now: Fraction, wait_s: Fraction, kept_s: Fraction) -> list[Sag]:
        """The sags that ended ``wait_s`` ago, and none better came for a part of their length.

        Longer than ``kept_s`` after its start no sag waits.
        """
        done = [
            o
            for o in self._open
            if now >= o.sag.ends + wait_s
            and (now > o.seen + (o.sag.ends - o.sag.begins) / 4 or now >= o.sag.begins + kept_s)
        ]
        self._open = [o for o in self._open if o not in done]
        return [o.sag for o in done]

    def rest(self) -> list[Sag]:
        """What is left when no more pictures come."""
        done, self._open = self._open, []
        return [o.sag for o in done]


def nearest(times: Sequence[float], at: float) -> int:
    """The place of the time nearest to ``at`` in ascending times."""
    place = bisect_left(times, at)
    if place == 0:
        return 0
    if place == len(times):
        return place - 1
    return place if times[place] - at < at - times[place - 1] else place - 1


def _sags(times: Sequence[float], powers: Sequence[float], first: int, last: int) -> bool:
    """Whether the strengths half and a quarter of the way are about those of a mixture."""
    old, new = powers[first], powers[last]
    both = old + new
    if both < 2 * _WEAK:
        return False
    least, most = _HALFWAY
    if not least * both < 2 * powers[(first + last) // 2] < most * both:
        return False
    quarter = (3 * first + last) // 4
    share = (times[quarter] - times[first]) / (times[last] - times[first])
    expected = (1 - share) ** 2 * old + share**2 * new
    return abs(powers[quarter] - expected) < _QUARTER_MOST * both


def measured(
    ring: Sequence[Entry], times: Sequence[float], powers: Sequence[float], first: int, last: int
) -> Sag:
    """How the strengths sag from picture ``first`` to ``last``; misfit infinite for too few of them."""
    start, stop = times[first], times[last]
    if last - first + 1 < FEWEST:
        return Sag(ring[first].time, ring[last].time, float("inf"), 1.0)
    behind = powers[nearest(times, start - ASIDE_S) : first + 1]
    ahead = powers[last : nearest(times, stop + ASIDE_S) + 1]
    old, new = sum(behind) / len(behind), sum(ahead) / len(ahead)
    both = old + new + 1e-6
    shares = (np.array(times[first : last + 1]) - start) / (stop - start)
    lost = shares * (1 - shares) * both
    over = np.array(powers[first : last + 1]) - (1 - shares) * old - shares * new
    middle = (shares > _MIDDLE) & (shares < 1 - _MIDDLE)
    kept = float(np.median(over[middle] / lost[middle])) if middle.any() else 0.0
    misfit = float(np.sqrt(np.mean(np.square(over + lost)))) / both
    return Sag(ring[first].time, ring[last].time, misfit, 1 + kept)


def settled(sag: Sag, ring: Sequence[Entry]) -> Sag:
    """The same with either end moved to where it fits best."""
    times, powers = [e.seconds for e in ring], [e.power for e in ring]
    first, last = nearest(times, float(sag.begins)), nearest(times, float(sag.ends))
    for _ in range(2):
        firsts = range(max(0, first - MOVES), min(first + MOVES, last - FEWEST + 1) + 1)
        if firsts:
            first = min(firsts, key=lambda n: measured(ring, times, powers, n, last).misfit)
        lasts = range(max(first + FEWEST - 1, last - MOVES), min(last + MOVES, len(ring) - 1) + 1)
        if lasts:
            last = min(lasts, key=lambda n: measured(ring, times, powers, first, n).misfit)
    return measured(ring, times, powers, first, last)
