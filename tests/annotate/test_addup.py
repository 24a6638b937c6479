"""Rounded step times add up: along rows, down columns and to the ledger."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.addup import PARTS, add_up
from tests.annotate.reports import drawn_plan, worked_plan


def test_the_worked_case_in_seconds() -> None:
    """The sums of a case that was added up by hand."""
    plan = worked_plan()
    steps, between, total = add_up(plan.rows, plan.ledger, Fraction(1))
    shown = [(s.real, s.fast, s.not_shown, s.away, s.on_camera, s.clinical) for s in steps]
    assert shown == [
        (60, 0, 0, 0, 60, 60),
        (0, 60, 0, 100, 60, 160),
        (0, 0, 60, 0, 60, 60),
        (60, 0, 0, 0, 60, 60),
    ]
    assert (between.not_shown, between.clinical) == (10, 10)
    assert (total.real, total.fast, total.not_shown, total.away) == (120, 60, 70, 100)
    assert total.clinical == 350 == plan.ledger.total


@settings(deadline=None, max_examples=60)
@given(
    st.integers(1, 12),
    st.integers(0, 10**6),
    st.integers(0, 3),
    st.sampled_from((Fraction(1), Fraction(1, 1000), Fraction(60))),
)
def test_rounded_times_always_add_up(count: int, seed: int, away: int, unit_s: Fraction) -> None:
    """Columns add up to the total, the total is the ledger's, and each cell is within one unit."""
    plan = drawn_plan(count, ["A"], seed=seed, away=away)
    steps, between, total = add_up(plan.rows, plan.ledger, unit_s)
    for part in PARTS:
        cells = [getattr(row, part) for row in (*steps, between)]
        assert min(cells) >= 0
        assert sum(cells) == getattr(total, part)
        assert abs(getattr(total, part) - getattr(plan.ledger, part) / unit_s) < 1
        for row, shown in zip(plan.rows, steps, strict=True):
            exact = getattr(row, part) / unit_s
            assert abs(getattr(shown, part) - exact) < 1
            assert exact != 0 or getattr(shown, part) == 0
    assert abs(total.clinical - plan.ledger.total / unit_s) <= Fraction(1, 2)


def test_rows_of_another_case_are_refused() -> None:
    """Times that do not belong to the ledger are a fault of the program and are said to be one."""
    plan = worked_plan()
    other = replace(plan.ledger, real=plan.ledger.real + 1)
    with pytest.raises(ValueError, match="the steps' real times do not add up"):
        add_up(plan.rows, other, Fraction(1))
