"""The case bar: every clinical second once, in its kind."""

from __future__ import annotations

import itertools
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from annotate.page import casebar
from annotate.page.data import PageData
from annotate.page.folder import page_data
from tests.annotate.page.casefolder import Made, Plan, Shot, plan_values, usual, write_case

F = Fraction


@pytest.fixture
def case(tmp_path: Path) -> tuple[PageData, Made]:
    """The usual case, read from its folder."""
    made = write_case(tmp_path, usual(), pictures=False)
    return page_data(tmp_path), made


def test_kinds_add_up_to_the_ledger(case: tuple[PageData, Made]) -> None:
    """The lengths of each kind are the ledger's sums, and the parts touch from 0 to the end."""
    page, made = case
    parts = casebar.segments(page)
    for kind in ("real", "fast", "not_shown", "away"):
        total = sum((p.clinical.length for p in parts if p.kind == kind), F(0))
        assert total == F(made.ledger[kind])
    assert parts[0].clinical.start == 0
    assert all(a.clinical.end == b.clinical.start for a, b in itertools.pairwise(parts))
    assert parts[-1].clinical.end == F(made.ledger["total"])


def test_away_breaks_a_fast_step(case: tuple[PageData, Made]) -> None:
    """Away time inside a fast stretch parts it in two; a click on it leads to where it happened."""
    page, made = case
    parts = [p for p in casebar.segments(page) if p.step == "clean"]
    assert [p.kind for p in parts] == ["fast", "away", "fast"]
    assert (parts[1].clinical.start, parts[1].clinical.end) == (130, 190)
    frame = int(parts[1].cut * 30)
    before, after = made.clinical(frame), made.clinical(frame + 1)
    assert before is not None and after is not None
    assert before <= 130 and after >= 190


def test_joints(case: tuple[PageData, Made]) -> None:
    """The film tells of each passed-over stretch at the moment it passes over it."""
    page, made = case
    told = [(j.kind, j.lasted) for j in casebar.joints(casebar.segments(page))]
    assert told == [("not_shown", 8), ("away", 60), ("not_shown", 190)]
    assert casebar.joints(casebar.segments(page))[2].cut == made.cut_of("check")[0]


@given(st.integers(2, 16), st.integers(1, 40), st.integers(0, 64))
def test_inverse_of_the_eased_speed(speed: int, length: int, tenth: int) -> None:
    """Recording time found from cut time leads back to the same cut time, to a microsecond."""
    plan = Plan(
        shots=[Shot("one", F(length * speed + speed + 1), F(speed))],
        steps={"one": {"title": "One"}},
        extra=usual().extra,
    )
    made = plan_values(plan)
    pieces = [p for p in made.pieces if p["kind"] == "footage"]
    from annotate.page.data import Piece
    from chapters.spans import Span

    ours = tuple(
        Piece(
            "footage",
            Span(*p["cut"]),
            Span(*p["recording"]),
            Span(*p["clinical"]),
            p["speed"],
            "one",
        )
        for p in pieces
    )
    for piece in ours:
        assert piece.recording is not None
        u = F(tenth, 65)
        r = piece.recording.start + casebar.recording_in(piece, u)
        back = casebar.cut_at(ours, r, made.length)
        assert abs(back - (piece.cut.start + piece.cut.length * u)) < F(1, 10**6)


@pytest.mark.outside
def test_recording_time_is_the_integral_of_the_speed() -> None:
    """r(u) against scipy.integrate.quad over the eased speed."""
    plan = usual()
    page_pieces = plan_values(plan).pieces
    from annotate.page.data import Piece
    from chapters.spans import Span

    for p in page_pieces:
        if p["kind"] != "footage":
            continue
        piece = Piece("footage", Span(*p["cut"]), Span(*p["recording"]), None, p["speed"], None)
        s0, s1 = map(float, piece.speed)
        for u in (0.25, 0.5, 1.0):
            area, _ = integrate.quad(
                lambda x, a=s0, b=s1: a + (b - a) * (3 * x * x - 2 * x**3), 0, u
            )
            assert float(casebar.recording_in(piece, F(u))) == pytest.approx(
                area * float(piece.cut.length), abs=1e-9
            )


def test_axis_and_sketch(case: tuple[PageData, Made]) -> None:
    """The axis has round times and no more than asked for; the sketch names kinds and whole seconds."""
    page, _ = case
    assert casebar.axis(F(1376), 8) == (0, 300, 600, 900, 1200)
    assert len(casebar.axis(F(50 * 3600), 8)) <= 9
    assert casebar.sketch(casebar.segments(page)) == "n8f90r4f28a60f32r8f64n190r4"
