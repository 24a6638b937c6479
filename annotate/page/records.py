"""A page's values -> one row of the club, its search terms, and what a step took in every case. Pure."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

from annotate.page import casebar
from annotate.page.data import PageData, StepTimes

#: A hit in the title, the tooth, the procedure, the presenter or a tag; in a step; in a note.
STRONG, MIDDLE, WEAK = 3, 2, 1


@dataclass(frozen=True, slots=True)
class Record:
    """A published case: its folder's name in the site, where its outputs lie, when they were made."""

    name: str
    folder: Path
    page: PageData
    updated: datetime
    film_bytes: int
    parts: tuple[casebar.Segment, ...] = field(init=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "parts", casebar.segments(self.page))

    @property
    def total(self) -> Fraction:
        """Clinical seconds."""
        return self.page.ledger.total


@dataclass(frozen=True, slots=True)
class StepInCase:
    """One step as one case shows it."""

    record: Record
    step: StepTimes


@dataclass(frozen=True, slots=True)
class StepGroup:
    """All cases with one step, the shortest first; ``name`` is the page's file name."""

    id: str
    name: str
    title: str
    cases: tuple[StepInCase, ...]

    @property
    def shortest(self) -> Fraction:
        """Clinical seconds of the shortest."""
        return self.cases[0].step.clinical_s

    @property
    def longest(self) -> Fraction:
        """Clinical seconds of the longest."""
        return self.cases[-1].step.clinical_s

    @property
    def median(self) -> Fraction:
        """The median of the clinical seconds; the mean of the middle two where their number is even."""
        n = len(self.cases)
        low, high = self.cases[(n - 1) // 2], self.cases[n // 2]
        return (low.step.clinical_s + high.step.clinical_s) / 2


def _unspaced(char: str) -> bool:
    """Scripts written without spaces: every character is a word of its own for the search."""
    code = ord(char)
    return (
        0x0E00 <= code <= 0x0EFF
        or 0x3040 <= code <= 0x30FF
        or 0x3400 <= code <= 0x4DBF
        or 0x4E00 <= code <= 0x9FFF
        or 0x20000 <= code <= 0x3FFFF
    )


def fold(text: str) -> str:
    """Without accents and case: compatibility decomposition, lower case, marks taken out."""
    low = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).lower())
    return "".join(c for c in low if unicodedata.category(c)[0] != "M")


def terms(text: str) -> list[str]:
    """The words of a text as the search knows them (the site's script does the same)."""
    out: list[str] = []
    word = ""
    for char in fold(text):
        if _unspaced(char):
            out += [word, char]
            word = ""
        elif unicodedata.category(char)[0] in "LN":
            word += char
        else:
            out.append(word)
            word = ""
    return [one for one in (*out, word) if one]


def weighted_terms(page: PageData) -> dict[str, int]:
    """Every search term of a case with the weight of its best place."""
    tooth = page.tooth
    strong = [page.title, page.procedure, page.presenter, *page.tags]
    if tooth is not None:
        strong += [tooth.fdi, tooth.universal, tooth.name]
    middle = [s.title for s in page.steps] + [s.phase for s in page.steps]
    weak = [s.note for s in page.steps]
    out: dict[str, int] = {}
    for weight, texts in ((WEAK, weak), (MIDDLE, middle), (STRONG, strong)):
        for text in texts:
            out.update(dict.fromkeys(terms(text), weight))
    return out


def in_order(records: Iterable[Record]) -> tuple[Record, ...]:
    """The club's order: the newest first, then by title and id."""
    return tuple(
        sorted(records, key=lambda r: (-r.updated.timestamp(), fold(r.page.title), r.page.case))
    )


class _Table:
    """Texts by number, in the order of their first use."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self._numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        if text not in self._numbers:
            self._numbers[text] = len(self.texts)
            self.texts.append(text)
        return self._numbers[text]


def search_index(records: Sequence[Record], steps: Sequence[StepGroup]) -> dict[str, Any]:
    """What the site's script searches: rows, tables of repeated texts, and term -> rows.

    ``terms`` is sorted by UTF-16 code units, as the script compares. ``rows_of[i]`` lists, for
    term i, row numbers as differences, each times 4 plus the weight.
    """
    procedures, presenters, tags, teeth = _Table(), _Table(), _Table(), _Table()
    step_numbers = {group.id: i for i, group in enumerate(steps)}
    rows, found = [], dict[str, list[tuple[int, int]]]()
    for i, record in enumerate(records):
        page = record.page
        tooth = page.tooth
        rows.append(
            [
                record.name,
                page.title,
                teeth.number(f"{tooth.fdi} {tooth.universal} {tooth.name}") if tooth else -1,
                procedures.number(page.procedure) if page.procedure else -1,
                presenters.number(page.presenter) if page.presenter else -1,
                [tags.number(tag) for tag in page.tags],
                sorted(step_numbers[s.id] for s in page.steps),
                round(float(page.length), 1),
                round(float(record.total), 1),
                casebar.sketch(record.parts),
                1 if page.poster else 0,
                page.language,
                page.case,
            ]
        )
        for term, weight in weighted_terms(page).items():
            found.setdefault(term, []).append((i, weight))
    ordered = sorted(found, key=lambda term: term.encode("utf-16-be"))
    return {
        "rows": rows,
        "procedures": procedures.texts,
        "presenters": presenters.texts,
        "tags": tags.texts,
        "teeth": teeth.texts,
        "steps": [[group.id, group.title] for group in steps],
        "terms": "\n".join(ordered),
        "rows_of": [_differences(found[term]) for term in ordered],
    }


def _differences(places: list[tuple[int, int]]) -> list[int]:
    out, before = [], 0
    for row, weight in places:
        out.append((row - before) * 4 + weight)
        before = row
    return out


def step_groups(records: Sequence[Record], name_of: dict[str, str]) -> tuple[StepGroup, ...]:
    """Every step of the club with all its cases; the title most cases give it is its title."""
    found: dict[str, list[StepInCase]] = {}
    for record in records:
        for step in record.page.steps:
            found.setdefault(step.id, []).append(StepInCase(record, step))
    groups = []
    for step_id, cases in found.items():
        titles = [one.step.title for one in cases]
        title = max(dict.fromkeys(titles), key=titles.count)
        cases.sort(key=lambda one: (one.step.clinical_s, one.record.page.case))
        groups.append(StepGroup(step_id, name_of[step_id], title, tuple(cases)))
    return tuple(sorted(groups, key=lambda g: (-len(g.cases), fold(g.title), g.id)))
