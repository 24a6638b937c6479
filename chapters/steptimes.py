"""How long every step took, and the ledger that says where every clinical second went.

Both are read off the time map and add up exactly:
``real + fast + not_shown + away = c(end) - c(start)``; stills and cards are cut time only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from chapters.assemble import step_span
from chapters.case import Expect, Step
from chapters.spans import Span, clamp, total
from chapters.timemap import TimeMap
from chapters.times import ClinicalTime, RecordingTime

ZERO = Fraction(0)
Verdict = Literal["within", "shorter", "longer", ""]


@dataclass(frozen=True, slots=True)
class StepTime:
    """One step's times. All lengths are exact seconds; ``cut`` is None where the film leaves it out.

    ``clinical`` runs from the step's first frame to its last: time away inside it counts, time
    away on its borders does not. ``on_camera = real + fast + not_shown``.
    """

    number: int
    id: str
    title: str
    phase: str
    note: str
    show: str
    speed: Fraction | None
    recording: Span
    clinical: Span
    cut: Span | None
    on_camera: Fraction
    away: Fraction
    real: Fraction
    fast: Fraction
    not_shown: Fraction
    expect: Expect | None

    @property
    def clinical_length(self) -> Fraction:
        """What the step took in the room, seconds."""
        return self.clinical.length

    @property
    def against_expect(self) -> Verdict:
        """How the clinical length stands to the expected range, both ends included."""
        if self.expect is None:
            return ""
        if self.clinical_length < self.expect.low:
            return "shorter"
        return "longer" if self.clinical_length > self.expect.high else "within"

    @property
    def difference(self) -> Fraction:
        """Seconds outside the expected range: negative below it, positive above, 0 within."""
        if self.expect is None:
            return ZERO
        below = min(ZERO, self.clinical_length - self.expect.low)
        return below + max(ZERO, self.clinical_length - self.expect.high)


@dataclass(frozen=True, slots=True)
class AwayEvent:
    """One stretch of time away as it lies on the clinical clock."""

    clinical: Span
    recording: RecordingTime
    reason: str


@dataclass(frozen=True, slots=True)
class Hidden:
    """One stretch of recording that the film leaves out; ``step`` is None between the steps."""

    recording: Span
    clinical: Span
    step: str | None


@dataclass(frozen=True, slots=True)
class Ledger:
    """Where every clinical second went (``real + fast + not_shown + away = total``), and cut time.

    ``between_not_shown`` and ``between_away`` are the shares that lie in no step.
    """

    real: Fraction
    fast: Fraction
    not_shown: Fraction
    away: Fraction
    total: Fraction
    film: Fraction
    cards: Fraction
    stills: Fraction
    between_not_shown: Fraction
    between_away: Fraction
    away_events: tuple[AwayEvent, ...]
    hidden: tuple[Hidden, ...]


def step_times(
    steps: Sequence[Step], film: TimeMap, speeds: dict[str, Fraction]
) -> tuple[StepTime, ...]:
    """The times of every step, skipped ones included. Steps need resolved ends."""
    rows: list[StepTime] = []
    for number, step in enumerate(steps, 1):
        span = step_span(step)
        own = [p for p in film.footage if p.step == step.id and p.recording is not None]
        real = total(p.recording for p in own if p.recording and p.is_real)
        shown = total(p.recording for p in own if p.recording)
        clinical = Span(film.line.clinical(span.start), film.line.clinical_before(span.end))
        rows.append(
            StepTime(
                number=number,
                id=step.id,
                title=step.title,
                phase=step.phase,
                note=step.note,
                show=step.show.kind,
                speed=None if step.show.kind == "skip" else speeds[step.id],
                recording=span,
                clinical=clinical,
                cut=film.step_cut(step.id),
                on_camera=span.length,
                away=clinical.length - span.length,
                real=real,
                fast=shown - real,
                not_shown=span.length - shown,
                expect=step.expect,
            )
        )
    return tuple(rows)


def _hidden(steps: Sequence[Step], film: TimeMap) -> tuple[Hidden, ...]:
    """Unseen stretches cut at step borders and at time away, so that each has one owner and one clock run."""
    found: list[Hidden] = []
    owners = [(step_span(s), s.id) for s in steps]
    edges = {e for span, _ in owners for e in (span.start, span.end)}
    edges |= {Fraction(a.at) for a in film.line.away}
    for hole in film.not_shown:
        inside = sorted({hole.start, hole.end} | {e for e in edges if hole.holds(e)})
        for start, end in pairwise(inside):
            owner = next((i for span, i in owners if clamp(Span(start, end), span)), None)
            clock = Span(film.line.clinical(start), film.line.clinical_before(end))
            found.append(Hidden(Span(start, end), clock, owner))
    return tuple(found)


def make_ledger(steps: Sequence[Step], film: TimeMap) -> Ledger:
    """Add everything up from the time map alone. Steps need resolved ends."""
    line = film.line
    real = total(p.recording for p in film.footage if p.recording and p.is_real)
    shown = total(p.recording for p in film.footage if p.recording)
    away = sum((a.lasted for a in line.away), ZERO)
    inside = sum(
        (a.lasted for s in steps for a in line.away_within(step_span(s))),
        ZERO,
    )
    hidden = _hidden(steps, film)
    events: list[AwayEvent] = []
    gone = ZERO
    for a in line.away:
        start = a.at + gone
        events.append(AwayEvent(Span(start, start + a.lasted), a.at, a.reason))
        gone += a.lasted
    return Ledger(
        real=real,
        fast=shown - real,
        not_shown=total(film.not_shown),
        away=away,
        total=ClinicalTime(line.length + away),
        film=film.length,
        cards=total(p.cut for p in film.pieces if p.kind == "card"),
        stills=total(p.cut for p in film.pieces if p.kind == "still"),
        between_not_shown=total(h.recording for h in hidden if h.step is None),
        between_away=away - inside,
        away_events=tuple(events),
        hidden=hidden,
    )
