"""Steps, speeds and stills laid one behind the other: from the case to the time map.

The film is a list of elements in order: cards, stills and runs. A run is a stretch of footage
inside one step that nothing interrupts; time away and stills inside a step break it, so the
picture comes down to real time where the clock is about to jump. Ramps lie inside the faster
run, so a real-time step is real time from its first frame to its last.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from chapters.case import Away, Case, Step, Still
from chapters.ramps import ONE, Leg, eased_run
from chapters.spans import Span
from chapters.timemap import CardKind, Line, PartSpan, Piece, TimeMap
from chapters.times import RecordingTime

ZERO = Fraction(0)
TITLE_CARD_S = Fraction(4)
CLOSING_CARD_S = Fraction(8)


@dataclass(frozen=True, slots=True)
class Run:
    """Footage of one step that nothing interrupts. ``joined`` says the run before flows into it."""

    step: str
    span: Span
    joined: bool


@dataclass(frozen=True, slots=True)
class Laid:
    """A still in its place: ``at`` is the recording time at which the clock holds."""

    step: str
    still: Still
    at: Fraction


@dataclass(frozen=True, slots=True)
class Card:
    """A title or closing card of ``length`` cut seconds."""

    kind: CardKind
    length: Fraction


Element = Run | Laid | Card


def make_line(
    case: Case, lengths: Sequence[Fraction], clock_gaps: Sequence[Fraction] | None = None
) -> Line:
    """Lay the parts end to end; ``lengths`` are the parts' own lengths in seconds, in order.

    ``clock_gaps[i]`` is the gap before part ``i`` by the parts' creation times; it is used for
    parts whose ``away_before`` is 0 and only when the case asks for it. The case's ``away``
    entries count recording time along the line that results.
    """
    parts: list[PartSpan] = []
    away = list(case.away)
    at = ZERO
    for i, (part, own) in enumerate(zip(case.parts, lengths, strict=True)):
        trim = min(part.overlap, own)
        gone, reason = part.away_before, part.away_reason
        if gone == 0 and i > 0 and clock_gaps is not None and case.clocks_give_away:
            gone, reason = max(ZERO, clock_gaps[i]), "between two parts, by the recorder's clock"
        if gone > 0:
            away.append(Away(RecordingTime(at), gone, reason, part.place))
        parts.append(PartSpan(part.file, at, own - trim, trim))
        at += own - trim
    return Line(tuple(parts), tuple(sorted(away, key=lambda a: a.at)))


def resolve_ends(steps: Sequence[Step], length: Fraction) -> tuple[Step, ...]:
    """Give every step its end: its own ``to``, else the next step's start, the last the recording's end."""
    out: list[Step] = []
    for i, step in enumerate(steps):
        if step.end is None:
            following = steps[i + 1].start if i + 1 < len(steps) else RecordingTime(length)
            step = replace(step, end=following)
        out.append(step)
    return tuple(out)


def step_span(step: Step) -> Span:
    """Where a step with a resolved end lies in recording time."""
    if step.end is None:
        raise ValueError(f"step {step.id} has no end yet")
    return Span(step.start, step.end)


def _step_elements(step: Step, line: Line) -> list[Run | Laid]:
    whole = step_span(step)
    stills = sorted(
        (Laid(step.id, s, whole.start if s.at is None else s.at) for s in step.stills),
        key=lambda laid: laid.at,
    )
    breaks = {a.at for a in line.away_within(whole)} | {laid.at for laid in stills}
    edges = sorted({whole.start, whole.end} | breaks)
    out: list[Run | Laid] = []
    for start, end in pairwise(edges):
        out.extend(laid for laid in stills if laid.at == start)
        out.append(Run(step.id, Span(start, end), joined=False))
    out.extend(laid for laid in stills if laid.at >= whole.end)
    return out


def film_elements(
    steps: Sequence[Step],
    line: Line,
    title_s: Fraction = TITLE_CARD_S,
    closing_s: Fraction = CLOSING_CARD_S,
) -> tuple[Element, ...]:
    """The film's elements in order. Steps need resolved ends; skipped steps leave nothing."""
    found: list[Element] = [Card("title", title_s)] if title_s > 0 else []
    breaks = {a.at for a in line.away}
    for step in steps:
        if step.show.kind == "skip" or step_span(step).length <= 0:
            continue
        for element in _step_elements(step, line):
            before = found[-1] if found else None
            if isinstance(element, Run) and isinstance(before, Run):
                flows = before.span.end == element.span.start and element.span.start not in breaks
                element = replace(element, joined=flows)
            found.append(element)
    if closing_s > 0:
        found.append(Card("closing", closing_s))
    return tuple(found)


def run_legs(
    elements: Sequence[Element], speeds: Mapping[str, Fraction], ramp_s: Fraction
) -> dict[int, tuple[Leg, ...]]:
    """The legs of every run, by the run's index in ``elements``; ``speeds`` maps step ids to speeds.

    The border between two runs that flow into one another takes the slower speed of the two;
    every other border is real time.
    """
    out: dict[int, tuple[Leg, ...]] = {}
    for i, element in enumerate(elements):
        if not isinstance(element, Run):
            continue
        speed = speeds[element.step]
        entry = leaving = ONE
        before = elements[i - 1] if i > 0 else None
        if element.joined and isinstance(before, Run):
            entry = min(speed, speeds[before.step])
        after = elements[i + 1] if i + 1 < len(elements) else None
        if isinstance(after, Run) and after.joined:
            leaving = min(speed, speeds[after.step])
        out[i] = eased_run(element.span.length, speed, entry, leaving, ramp_s)
    return out


def fixed_length(elements: Sequence[Element]) -> Fraction:
    """Cut seconds of the cards and stills, which no speed changes."""
    cards = sum((e.length for e in elements if isinstance(e, Card)), ZERO)
    return cards + sum((e.still.hold for e in elements if isinstance(e, Laid)), ZERO)


def film_length(
    elements: Sequence[Element], speeds: Mapping[str, Fraction], ramp_s: Fraction
) -> Fraction:
    """Cut seconds of the whole film at the given speeds, ramps included."""
    legs = run_legs(elements, speeds, ramp_s)
    return fixed_length(elements) + sum((leg.cut for run in legs.values() for leg in run), ZERO)


def _footage(run: Run, legs: Sequence[Leg], line: Line, t: Fraction) -> list[Piece]:
    out: list[Piece] = []
    r = run.span.start
    for i, leg in enumerate(legs):
        end = run.span.end if i + 1 == len(legs) else r + leg.recording
        clinical = Span(line.clinical(r), line.clinical_before(end))
        out.append(
            Piece(
                "footage",
                Span(t, t + leg.cut),
                Span(r, end),
                clinical,
                (leg.s0, leg.s1),
                step=run.step,
            )
        )
        r, t = end, t + leg.cut
    return out


def assemble(
    elements: Sequence[Element],
    line: Line,
    speeds: Mapping[str, Fraction],
    ramp_s: Fraction,
    fps: Fraction,
    length: Fraction | None = None,
) -> TimeMap:
    """Lay the elements out in cut time.

    The closing card rests until the film fills whole frames, and until ``length`` where that is
    given and less than a frame away (a solved speed has six decimals; this is its remainder).
    """
    legs = run_legs(elements, speeds, ramp_s)
    pieces: list[Piece] = []
    t = ZERO
    for i, element in enumerate(elements):
        if isinstance(element, Run):
            pieces.extend(_footage(element, legs[i], line, t))
        elif isinstance(element, Laid):
            held = Span(element.at, element.at)
            clock = line.clinical_before(element.at)
            pieces.append(
                Piece(
                    "still",
                    Span(t, t + element.still.hold),
                    held,
                    Span(clock, clock),
                    (ZERO, ZERO),
                    step=element.step,
                    still=element.still,
                )
            )
        else:
            pieces.append(
                Piece(
                    "card",
                    Span(t, t + element.length),
                    None,
                    None,
                    (ZERO, ZERO),
                    card=element.kind,
                )
            )
        t = pieces[-1].cut.end if pieces else t
    if pieces and pieces[-1].kind == "card":
        pieces[-1] = _rest(pieces[-1], fps, length)
    return TimeMap(fps, line, tuple(pieces))


def _rest(card: Piece, fps: Fraction, length: Fraction | None) -> Piece:
    end = card.cut.end
    if length is not None and end <= length < end + 1 / fps:
        end = length
    frames = end * fps
    whole = Fraction(-((-frames.numerator) // frames.denominator))
    return replace(card, cut=Span(card.cut.start, whole / fps))
