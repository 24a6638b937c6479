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
from types import MappingProxyType

from chapters.case import Away, Case, Step, Still
from chapters.ramps import ONE, Leg, eased_run, fitted_run
from chapters.spans import Span
from chapters.timemap import HAIR_S, CardKind, Line, PartSpan, Piece, TimeMap
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
class Freeze:
    """The last picture of a step held for ``length`` cut seconds; ``at`` is where the step ends."""

    step: str
    at: Fraction
    length: Fraction


@dataclass(frozen=True, slots=True)
class Card:
    """A title or closing card of ``length`` cut seconds."""

    kind: CardKind
    length: Fraction


Element = Run | Laid | Freeze | Card


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
    holds: Mapping[str, Fraction] = MappingProxyType({}),
) -> tuple[Element, ...]:
    """The film's elements in order. Steps need resolved ends; skipped steps leave nothing.

    ``holds`` maps steps to how long their last picture is held, seconds.
    """
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
        if holds.get(step.id, ZERO) > 0:
            found.append(Freeze(step.id, step_span(step).end, holds[step.id]))
    if closing_s > 0:
        found.append(Card("closing", closing_s))
    return tuple(found)


Borders = tuple[Fraction, Fraction]


def run_borders(elements: Sequence[Element], speeds: Mapping[str, Fraction]) -> dict[int, Borders]:
    """The speeds at both ends of every run, by the run's index in ``elements``.

    ``speeds`` maps step ids to speeds. The border between two runs that flow into one another
    takes the slower speed of the two; every other border is real time.
    """
    out: dict[int, Borders] = {}
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
        out[i] = entry, leaving
    return out


def fixed_length(elements: Sequence[Element]) -> Fraction:
    """Cut seconds of the cards, stills and held pictures, which no speed changes."""
    cards = sum((e.length for e in elements if isinstance(e, Card | Freeze)), ZERO)
    return cards + sum((e.still.hold for e in elements if isinstance(e, Laid)), ZERO)


def film_length(
    elements: Sequence[Element], speeds: Mapping[str, Fraction], ramp_s: Fraction
) -> Fraction:
    """Cut seconds of the whole film at the given speeds, ramps included, before it is fitted to frames."""
    total = fixed_length(elements)
    for i, borders in run_borders(elements, speeds).items():
        run = elements[i]
        assert isinstance(run, Run)
        legs = eased_run(run.span.length, speeds[run.step], *borders, ramp_s)
        total += sum((leg.cut for leg in legs), ZERO)
    return total


def _on_frame(t: Fraction, fps: Fraction) -> Fraction:
    """The first frame's time at or after ``t``."""
    frames = t * fps
    return Fraction(-((-frames.numerator) // frames.denominator)) / fps


def _footage(run: Run, legs: Sequence[Leg], line: Line, t: Fraction) -> list[Piece]:
    out: list[Piece] = []
    r = run.span.start
    for i, leg in enumerate(legs):
        end = run.span.end if i + 1 == len(legs) else r + leg.recording
        clinical = Span(line.clinical(r), line.clinical_before(end))
        speed = (leg.s0, leg.s1)
        cut = Span(t, t + leg.cut)
        out.append(Piece("footage", cut, Span(r, end), clinical, speed, step=run.step))
        r, t = end, t + leg.cut
    return out


def _still(laid: Laid, line: Line, t: Fraction, fps: Fraction) -> Piece:
    clock = line.clinical_before(laid.at)
    return Piece(
        "still",
        Span(t, _on_frame(t + laid.still.hold, fps)),
        Span(laid.at, laid.at),
        Span(clock, clock),
        (ZERO, ZERO),
        step=laid.step,
        still=laid.still,
    )


def _freeze(freeze: Freeze, line: Line, t: Fraction, fps: Fraction) -> Piece:
    """Held where the step ends: the picture is the last one before that instant."""
    at = freeze.at - HAIR_S
    clock = line.clinical_before(freeze.at) - HAIR_S
    cut = Span(t, _on_frame(t + freeze.length, fps))
    return Piece("still", cut, Span(at, at), Span(clock, clock), (ZERO, ZERO), step=freeze.step)


def _card(card: Card, t: Fraction, fps: Fraction) -> Piece:
    cut = Span(t, _on_frame(t + card.length, fps))
    return Piece("card", cut, None, None, (ZERO, ZERO), card=card.kind)


def assemble(
    elements: Sequence[Element],
    line: Line,
    speeds: Mapping[str, Fraction],
    ramp_s: Fraction,
    fps: Fraction,
    length: Fraction | None = None,
) -> TimeMap:
    """Lay the elements out in cut time.

    Cards, stills and eased runs end on a frame. The closing card rests until the film fills
    whole frames, and is some frames longer or shorter so that the film lasts ``length`` where
    that is given: it takes up what the rounding of a solved speed and of the runs has left.
    """
    borders = run_borders(elements, speeds)
    pieces: list[Piece] = []
    t = ZERO
    for i, element in enumerate(elements):
        if isinstance(element, Run):
            run = (element.span.length, speeds[element.step], borders[i], ramp_s, t, fps)
            pieces.extend(_footage(element, fitted_run(*run), line, t))
        elif isinstance(element, Laid):
            pieces.append(_still(element, line, t, fps))
        elif isinstance(element, Freeze):
            pieces.append(_freeze(element, line, t, fps))
        else:
            pieces.append(_card(element, t, fps))
        t = pieces[-1].cut.end if pieces else t
    if pieces and length is not None and pieces[-1].kind == "card":
        closing = pieces[-1]
        end = _on_frame(length, fps)
        if abs(end - closing.cut.end) < closing.cut.length / 2:
            pieces[-1] = replace(closing, cut=Span(closing.cut.start, end))
    return TimeMap(fps, line, tuple(pieces))
