"""Search terms, the index, and steps over all cases."""

from __future__ import annotations

from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.page import records
from annotate.page.folder import page_data
from tests.annotate.page.casefolder import usual, write_case


def record(folder: Path, case: str, title: str, **extra: object) -> records.Record:
    """A case in the club."""
    plan = usual()
    plan.case, plan.title = case, title
    plan.extra = {**plan.extra, **extra}
    write_case(folder / case, plan, pictures=False)
    return records.Record(
        case, folder / case, page_data(folder / case), datetime(2024, 5, 1, tzinfo=UTC), 7
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Äpfel, naïve CAFÉ", ["apfel", "naive", "cafe"]),
        ("tooth 36/19", ["tooth", "36", "19"]),
        ("根管治療", ["根", "管", "治", "療"]),
        ("İstanbul ﬁle", ["istanbul", "file"]),
        ("سن 36", ["سن", "36"]),
        ("--- ", []),
    ],
)
def test_terms(text: str, words: list[str]) -> None:
    """Words without accents and case; scripts without spaces go by character."""
    assert records.terms(text) == words


@given(st.text())
def test_folding_twice_changes_nothing(text: str) -> None:
    """Folded text is already folded."""
    assert records.fold(records.fold(text)) == records.fold(text)


def test_index_leads_from_a_term_to_its_cases(tmp_path: Path) -> None:
    """Every term of every case is in the index, at the weight of its best place, and no other."""
    found = (
        record(tmp_path, "one", "Locating the canal", presenter="Bench team"),
        record(tmp_path, "two", "Open apex", tags=["canal"], tooth=None),
    )
    groups = records.step_groups(found, {s.id: s.id for r in found for s in r.page.steps})
    index = records.search_index(found, groups)
    terms = index["terms"].split("\n")
    assert terms == sorted(terms, key=lambda t: t.encode("utf-16-be"))
    read: dict[str, dict[int, int]] = {}
    for term, places in zip(terms, index["rows_of"], strict=True):
        row = 0
        for place in places:
            row += place >> 2
            read.setdefault(term, {})[row] = place & 3
    assert read["canal"] == {0: records.STRONG, 1: records.STRONG}
    assert read["19"] == {0: records.STRONG}
    assert read["furcal"] == {0: records.WEAK, 1: records.WEAK}
    for row, one in enumerate(found):
        assert {t for t, at in read.items() if row in at} == set(records.weighted_terms(one.page))
    assert index["rows"][1][2] == -1


def test_step_groups(tmp_path: Path) -> None:
    """All cases with one step, shortest first; an even number's median is the mean of the middle two."""
    made = []
    for i, seconds in enumerate((9, 4, 30, 6)):
        plan = usual()
        plan.case = f"case-{i}"
        plan.shots[2].seconds = Fraction(seconds)
        write_case(tmp_path / plan.case, plan, pictures=False)
        made.append(
            records.Record(
                plan.case,
                tmp_path,
                page_data(tmp_path / plan.case),
                datetime(2024, 1, i + 1, tzinfo=UTC),
                1,
            )
        )
    group = next(
        g for g in records.step_groups(made, {s: s for s in usual().steps}) if g.id == "locate"
    )
    assert [one.step.clinical_s for one in group.cases] == [4, 6, 9, 30]
    assert (group.shortest, group.median, group.longest) == (4, Fraction(15, 2), 30)
    assert [r.page.case for r in records.in_order(made)] == ["case-3", "case-2", "case-1", "case-0"]
