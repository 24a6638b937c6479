"""Decisions before a frame is drawn: the film's rate, snapping to scene cuts, near misses."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from annotate.plan import film_rate, make_plan, near_misses, snap_steps
from chapters.assemble import make_line
from chapters.case import Away, Case, Part, Show, Step
from chapters.scenecuts import SceneCut
from chapters.times import RecordingTime as R


def cut(at: F) -> SceneCut:
    """A sure cut at an instant."""
    return SceneCut(R(at), "cut", 1.0)


@pytest.mark.parametrize(
    ("gap", "rate"),
    [
        (F(1, 30), F(30)),
        (F(1001, 30000), F(30000, 1001)),
        (F(1001, 60000), F(30000, 1001)),
        (F(1, 60), F(30)),
        (F(1, 50), F(25)),
        (F(1, 25), F(25)),
        (F(1001, 24000), F(24000, 1001)),
        (F(1, 10), F(30)),
        (F(2, 25), F(25)),
        (F(83, 2500), F(30)),
        (F(1, 240), F(30)),
        (F(0), F(30)),
    ],
)
def test_the_film_takes_the_nearest_rate_that_players_know(gap: F, rate: F) -> None:
    """Fast recorders are halved, slow ones shown at a usual rate, odd ones at the nearest."""
    assert film_rate(gap) == rate


def test_a_step_snaps_to_the_nearest_cut_within_the_tolerance() -> None:
    """The start moves onto the cut, the move is told, a cut too far away moves nothing."""
    steps = (Step("a", "A", R(F(10))), Step("b", "B", R(F(20))))
    moved, notes = snap_steps(steps, [cut(F(101, 10)), cut(F(23))], F(1, 2))
    assert [s.start for s in moved] == [F(101, 10), F(20)]
    assert notes == ("step a: start moved by 0.100 s, from 0:10 onto the scene cut at 0:10.1",)


def test_snapping_never_makes_steps_overlap() -> None:
    """Two steps near one cut: the one that would cross its neighbour stays."""
    steps = (
        Step("a", "A", R(F(10)), R(F(11))),
        Step("b", "B", R(F(11))),
    )
    moved, _ = snap_steps(steps, [cut(F(21, 2))], F(1))
    assert moved[0].end is not None and moved[0].end <= moved[1].start
    assert moved[0].start < moved[0].end


def test_a_start_near_a_cut_is_told_and_a_start_on_it_is_not() -> None:
    """0.4 s before a cut is worth a sentence; on the cut, far from it and at zero are not."""
    steps = tuple(
        Step(i, i, R(at))
        for i, at in (("z", F(0)), ("on", F(5)), ("near", F(96, 10)), ("far", F(30)))
    )
    told = near_misses(steps, [cut(F(1, 4)), cut(F(5)), cut(F(10))], F(1, 30))
    assert told == (
        "step near starts 0.400 s before a scene cut; write from: 0:10 or set snap: to move it "
        "there",
    )


def test_the_time_to_write_lies_on_the_cut_and_not_on_the_frame_before() -> None:
    """A cut at the 1/90 of a second has no decimal: it is rounded up, in the case file's own form."""
    at = 750 + F(31, 90)
    told = near_misses((Step("a", "A", R(at + F(1, 2))),), [cut(at)], F(1, 30))
    assert told == (
        "step a starts 0.500 s after a scene cut; write from: 12:30.345 or set snap: to move it "
        "there",
    )


def test_a_step_too_short_for_its_speed_is_told() -> None:
    """Four seconds cannot be eased up to 16x with ramps of a second: what it reaches is said."""
    steps = (
        Step("short", "S", R(F(0)), show=Show("fixed", F(16))),
        Step("real", "R", R(F(4))),
        Step("long", "L", R(F(10)), show=Show("fixed", F(16))),
    )
    case = Case("c", "C", (Part("a"),), steps, ramp=F(1))
    plan = make_plan(case, make_line(case, [F(210)]), F(1, 30))
    (told,) = plan.notices
    assert told.startswith("step short: too short to reach 16×, runs at up to ")
    peak = max(max(p.speed) for p in plan.film.footage if p.step == "short")
    assert float(told.split("up to ")[1].split("×")[0]) == pytest.approx(float(peak), abs=0.05)
    none = replace(case, ramp=F(0))
    assert make_plan(none, make_line(none, [F(210)]), F(1, 30)).notices == ()


def test_a_plan_holds_the_whole_decision() -> None:
    """Speeds, film, rows and ledger of one case agree with one another."""
    case = Case(
        "c",
        "C",
        (Part("a"),),
        (Step("s", "S", R(F(0))), Step("q", "Q", R(F(60)), show=Show("fast"))),
        away=(Away(R(F(30)), F(45), "radiograph"),),
        length=F(120),
    )
    plan = make_plan(case, make_line(case, [F(400)]), F(1, 30))
    assert plan.film.length == 120
    assert plan.solved == plan.speeds["q"]
    assert (plan.ledger.total, plan.ledger.real, plan.ledger.fast) == (445, 60, 340)
