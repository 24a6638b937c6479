"""Values -> what the templates and the scripts take: texts, percentages, plain numbers. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from annotate.page import casebar, say
from annotate.page.data import Cue, PageData, StepTimes, Words
from chapters.spans import Span, clamp
from chapters.times import clock_text, duration_text, speed_text


@dataclass(frozen=True, slots=True)
class Bar:
    """One rectangle of a bar: place and size in per cent of the bar, and how it looks."""

    kind: str
    x: str
    width: str
    density: int
    label: str
    fits: str
    said: str
    index: int


@dataclass(frozen=True, slots=True)
class Mark:
    """A text at a place along a bar; ``last`` where it has to stand to the left of its place."""

    x: str
    text: str
    fits: str
    last: bool = False


@dataclass(frozen=True, slots=True)
class StepView:
    """A step with every text that the page shows of it."""

    step: StepTimes
    how: str
    expected: str
    against: str
    bars: tuple[Bar, ...]
    full_bars: tuple[Bar, ...]
    bracket: tuple[str, str] | None
    starts: str


@dataclass(frozen=True, slots=True)
class CueView:
    """A cue of the transcript, with the clinical clock at its start."""

    start_s: str
    clock: str
    text: str


@dataclass(frozen=True, slots=True)
class Passage:
    """The cues that fall in one step; ``title`` is empty outside steps."""

    number: str
    title: str
    cues: tuple[CueView, ...]


def percent(part: Fraction, whole: Fraction) -> str:
    """``12.3456%``; 0% of nothing."""
    return f"{float(100 * part / whole):.4f}%" if whole else "0%"


def density(speed: Fraction) -> int:
    """How dense the hatch is, 1 to 5: up to 2x, 4x, 8x, 16x, and faster."""
    return next((i for i, top in enumerate((2, 4, 8, 16), start=1) if speed <= top), 5)


def _labels(part: casebar.Segment) -> tuple[str, ...]:
    """What may stand on a stretch of the bar, the fullest first."""
    lasted = duration_text(part.clinical.length)
    if part.kind == "fast":
        return (speed_text(part.speed),)
    if part.kind == "away":
        return (f"{lasted} {part.note}", f"{lasted} away", lasted)
    return (f"{lasted} not shown", lasted) if part.kind == "not_shown" else ()


def _fitting(part: casebar.Segment, share: float) -> tuple[str, str]:
    """The fullest label that fits on a desk, and whether it fits on a phone as well."""
    for text in _labels(part):
        need = 0.0072 * (len(text) + 1)
        if share > need:
            return text, "always" if share > 3.2 * need else "wide"
    return "", "never"


def segment_words(part: casebar.Segment) -> str:
    """One segment in words: when, how long, and what became of it."""
    lasted = duration_text(part.clinical.length)
    what = {
        "real": "real time",
        "fast": f"shown at up to {speed_text(part.speed)}",
        "not_shown": "not shown",
        "away": f"away: {part.note}" if part.note else "away",
    }[part.kind]
    return f"{clock_text(part.clinical.start)}, {lasted}, {what}"


def bars(
    parts: tuple[casebar.Segment, ...], within: Span, whole: Fraction, start: Fraction
) -> tuple[Bar, ...]:
    """The rectangles of ``parts`` clamped to ``within``; x counts from ``start`` in per cent of ``whole``."""
    out = []
    for index, part in enumerate(parts):
        seen = clamp(part.clinical, within)
        if seen is None:
            continue
        share = float(seen.length / whole) if whole else 0.0
        label, fits = _fitting(part, share)
        out.append(
            Bar(
                kind=part.kind,
                x=percent(seen.start - start, whole),
                width=percent(seen.length, whole),
                density=density(part.speed),
                label=label,
                fits=fits,
                said=segment_words(part),
                index=index,
            )
        )
    return tuple(out)


def thin_out(places: list[tuple[Fraction, str]], whole: Fraction) -> tuple[Mark, ...]:
    """Marks along a bar; where they would touch on a phone or on a desk, some give way there."""
    out: list[Mark] = []
    last = {"always": Fraction(-whole), "wide": Fraction(-whole)}
    for at, text in places:
        fits = "never"
        if at - last["wide"] >= whole * Fraction(20 + 8 * len(text), 1000):
            fits, last["wide"] = "wide", at
        if at - last["always"] >= whole * Fraction(7, 100):
            fits, last["always"] = "always", at
        out.append(Mark(percent(at, whole), text, fits, last=at > whole * Fraction(96, 100)))
    return tuple(out)


def step_views(page: PageData, parts: tuple[casebar.Segment, ...]) -> tuple[StepView, ...]:
    """Every step; its small bars share one scale, the longest step or expected range."""
    longest = max((s.clinical_s for s in page.steps), default=Fraction(0))
    scale = max([longest, *(s.expect.end for s in page.steps if s.expect)], default=Fraction(0))
    out = []
    for step in page.steps:
        speeds = [max(p.speed) for p in page.pieces if p.step == step.id and p.kind == "footage"]
        begin = step.clinical.start
        bracket = None
        if step.expect is not None:
            width = step.expect.length
            bracket = (percent(step.expect.start, scale), percent(width, scale))
        out.append(
            StepView(
                step=step,
                how=say.how_shown(step, max(speeds, default=Fraction(1))),
                expected=say.expected(step),
                against=say.against(step),
                bars=bars(parts, step.clinical, longest, begin),
                full_bars=bars(parts, step.clinical, scale, begin),
                bracket=bracket,
                starts=f"{float(step.cut.start):.3f}" if step.cut else "",
            )
        )
    return tuple(out)


def clinical_of_cut(page: PageData, t: Fraction) -> Fraction | None:
    """The clinical time the film shows at cut time ``t``; None on a card."""
    held: Fraction | None = None
    for piece in page.pieces:
        if piece.clinical is not None and piece.kind != "card":
            held = piece.clinical.start
        if not piece.cut.holds(t):
            continue
        if piece.kind == "card":
            return None
        if piece.kind == "footage" and piece.recording is not None:
            u = (t - piece.cut.start) / piece.cut.length
            r = piece.recording.start + casebar.recording_in(piece, u)
            return casebar.clinical_at(page.away, r)
        return held
    return None


def passages(page: PageData, words: Words) -> tuple[Passage, ...]:
    """The transcript in one language, broken at the steps."""
    out: list[tuple[StepTimes | None, list[CueView]]] = []
    for cue in words.cues:
        at = Fraction(cue.start_ms, 1000)
        step = next((s for s in page.steps if s.cut and s.cut.holds(at)), None)
        if not out or out[-1][0] is not step:
            out.append((step, []))
        out[-1][1].append(_cue_view(page, cue, at))
    return tuple(
        Passage(str(s.number) if s else "", s.title if s else "", tuple(cues)) for s, cues in out
    )


def _cue_view(page: PageData, cue: Cue, at: Fraction) -> CueView:
    clinical = clinical_of_cut(page, at)
    return CueView(
        f"{float(at):.3f}",
        clock_text(clinical) if clinical is not None else "",
        " ".join(cue.text.split("\n")),
    )


def _number(value: Fraction) -> float:
    return round(float(value), 6)


def _both(span: Span | None) -> list[float] | None:
    return None if span is None else [_number(span.start), _number(span.end)]


def script_data(page: PageData, parts: tuple[casebar.Segment, ...]) -> dict[str, Any]:
    """What the scripts read: seconds as numbers, texts as they are."""
    return {
        "id": page.case,
        "title": page.title,
        "language": page.language,
        "fps": [page.fps.numerator, page.fps.denominator],
        "length": _number(page.length),
        "total": _number(case_end(parts)),
        "pieces": [
            {
                "kind": p.kind,
                "t": _both(p.cut),
                "r": _both(p.recording),
                "c": _both(p.clinical),
                "s": [_number(p.speed[0]), _number(p.speed[1])],
                "step": p.step,
            }
            for p in page.pieces
        ],
        "away": [
            {"at": _number(a.at), "c": _number(a.clinical), "lasted": _number(a.lasted)}
            for a in page.away
        ],
        "parts": [
            {
                "kind": s.kind,
                "c": _both(s.clinical),
                "step": s.step,
                "t": _number(s.cut),
                "said": segment_words(s),
            }
            for s in parts
        ],
        "joints": [
            {"t": _number(j.cut), "kind": j.kind, "lasted": _number(j.lasted), "note": j.note}
            for j in casebar.joints(parts)
        ],
        "steps": [
            {
                "id": s.id,
                "number": s.number,
                "title": s.title,
                "t": _both(s.cut),
                "c": _both(s.clinical),
                "lasted": _number(s.clinical_s),
                "ask": s.ask is not None,
            }
            for s in page.steps
        ],
        "wordsInPicture": page.words_in_picture,
        "words": [
            {"language": w.language, "cues": [[c.start_ms, c.end_ms, c.text] for c in w.cues]}
            for w in page.words
        ],
    }


def case_end(parts: tuple[casebar.Segment, ...]) -> Fraction:
    """The clinical time at which the case ends."""
    return max((s.clinical.end for s in parts), default=Fraction(0))
