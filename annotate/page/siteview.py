"""Records -> what the club's templates and scripts take. Pure."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from annotate.page import casebar, say, view
from annotate.page.data import StepTimes
from annotate.page.records import Record, StepGroup, StepInCase, fold
from chapters.spans import Span
from chapters.times import duration_text


@dataclass(frozen=True, slots=True)
class Card:
    """A case as the club's first page shows it."""

    record: Record
    bars: tuple[view.Bar, ...]


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step in one case, its bar on the scale of all cases with the step."""

    record: Record
    step: StepTimes
    how: str
    against: str
    bars: tuple[view.Bar, ...]
    bracket: tuple[str, str] | None


@dataclass(frozen=True, slots=True)
class Spread:
    """How long a step took in all cases: one mark a case, the middle one named."""

    marks: tuple[str, ...]
    median: str
    ticks: tuple[tuple[str, str], ...]


def card(record: Record) -> Card:
    """The card with its small case bar."""
    whole = view.case_end(record.parts)
    return Card(record, view.bars(record.parts, Span(Fraction(0), whole), whole, Fraction(0)))


def facets(
    found: tuple[Record, ...], groups: tuple[StepGroup, ...]
) -> dict[str, list[tuple[str, int]]]:
    """What can be filtered by, each choice with its number of cases."""
    teeth = Counter(f"{t.fdi} {t.universal} {t.name}" for r in found if (t := r.page.tooth))
    out = {
        "Procedure": Counter(r.page.procedure for r in found if r.page.procedure),
        "Tooth": teeth,
        "Presenter": Counter(r.page.presenter for r in found if r.page.presenter),
        "Tag": Counter(tag for r in found for tag in dict.fromkeys(r.page.tags)),
    }
    rows = {k: sorted(v.items(), key=lambda one: fold(one[0])) for k, v in out.items()}
    rows["Step"] = [(g.title, len(g.cases)) for g in groups]
    return rows


def step_line(one: StepInCase, group: StepGroup) -> StepLine:
    """One row of a step's page."""
    page, step = one.record.page, one.step
    scale = _scale(group)
    speeds = [max(p.speed) for p in page.pieces if p.step == step.id and p.kind == "footage"]
    bracket = None
    if step.expect is not None:
        length = min(step.expect.length, scale - step.expect.start)
        bracket = (view.percent(step.expect.start, scale), view.percent(length, scale))
    return StepLine(
        one.record,
        step,
        say.how_shown(step, max(speeds, default=Fraction(1))),
        say.against(step),
        view.bars(one.record.parts, step.clinical, scale, step.clinical.start),
        bracket,
    )


def _scale(group: StepGroup) -> Fraction:
    ends = [one.step.expect.end for one in group.cases if one.step.expect]
    return max([group.longest, *ends, Fraction(1)])


def spread(group: StepGroup) -> Spread:
    """The marks of every case on one axis from 0."""
    scale = _scale(group)
    places = sorted({one.step.clinical_s for one in group.cases})
    ticks = [
        (view.percent(at, scale), duration_text(at))
        for at in casebar.axis(scale, 6)
        if at <= scale * Fraction(97, 100)
    ]
    marks = tuple(view.percent(at, scale) for at in places)
    return Spread(marks, view.percent(group.median, scale), tuple(ticks))


def side_data(record: Record) -> dict[str, Any]:
    """What the page for two cases reads of one."""
    page = record.page
    tooth = page.tooth
    values = view.script_data(page, record.parts)
    del values["words"]
    return {
        **values,
        "name": record.name,
        "film": page.film,
        "poster": page.poster,
        "tooth": f"{tooth.fdi} ISO, {tooth.universal} Universal" if tooth else "",
    }
