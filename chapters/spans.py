"""Half-open spans ``[start, end)`` of exact seconds: merge, subtract, clamp."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """``start`` belongs to the span, ``end`` does not; seconds on one clock."""

    start: Fraction
    end: Fraction

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise ValueError(f"span ends at {self.end} before it starts at {self.start}")

    @property
    def length(self) -> Fraction:
        """Seconds from start to end."""
        return self.end - self.start

    def holds(self, at: Fraction) -> bool:
        """Whether the instant lies in the span."""
        return self.start <= at < self.end


def merge(spans: Iterable[Span]) -> tuple[Span, ...]:
    """The same instants as sorted, disjoint, non-touching, non-empty spans."""
    out: list[Span] = []
    for span in sorted(s for s in spans if s.length > 0):
        if out and span.start <= out[-1].end:
            out[-1] = Span(out[-1].start, max(out[-1].end, span.end))
        else:
            out.append(span)
    return tuple(out)


def clamp(span: Span, within: Span) -> Span | None:
    """The part of ``span`` inside ``within``, or None where they share no instant."""
    start, end = max(span.start, within.start), min(span.end, within.end)
    return Span(start, end) if start < end else None


def subtract(whole: Span, holes: Iterable[Span]) -> tuple[Span, ...]:
    """What is left of ``whole`` after every hole is taken out, in order."""
    left: list[Span] = []
    at = whole.start
    for hole in merge(holes):
        if hole.end <= at or hole.start >= whole.end:
            continue
        if hole.start > at:
            left.append(Span(at, hole.start))
        at = max(at, hole.end)
    if at < whole.end:
        left.append(Span(at, whole.end))
    return tuple(left)


def total(spans: Iterable[Span]) -> Fraction:
    """Sum of the lengths; overlaps count twice, so merge first where that matters."""
    return sum((s.length for s in spans), Fraction(0))
