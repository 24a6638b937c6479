"""What the overlay says at an instant: clocks round down, jumps are said, speeds are honest."""

from __future__ import annotations

from fractions import Fraction as F

from annotate.faces import Faces, shown_speed
from annotate.plan import Plan, make_plan
from chapters.assemble import make_line
from chapters.case import Away, Case, Part, Show, Step, Still
from chapters.times import RecordingTime as R


def plan() -> Plan:
    """Real time to 0:20, 8x to 1:40, the rest left out up to 2:00, then real time; away at 1:50."""
    steps = (
        Step("a", "Look", R(F(0)), stills=(Still("x.png", at=R(F(10)), hold=F(4)),)),
        Step("b", "Clean", R(F(20)), R(F(100)), show=Show("fixed", F(8))),
        Step("c", "Close", R(F(120))),
    )
    away = (Away(R(F(110)), F(60), "radiograph"),)
    case = Case("c", "C", (Part("p"),), steps, away=away)
    return make_plan(case, make_line(case, [F(150)]), F(1, 30))


def test_clocks_round_down_and_the_step_clock_starts_with_its_step() -> None:
    """At 0:20.97 of the recording the clock says 0:20 and the second step 0:00."""
    made = plan()
    faces = Faces(made.film, made.rows)
    t, shown = made.film.cut_at(F(2097, 100))
    face = faces.at(t)
    assert shown and face is not None
    assert (face.number, face.count, face.title) == (2, 3, "Clean")
    assert (face.clock, face.step_clock) == (20, 0)


def test_cards_have_no_face_and_a_still_holds_the_clock() -> None:
    """Nothing is drawn on a card; on a still the clock stands and no speed is written."""
    made = plan()
    faces = Faces(made.film, made.rows)
    assert faces.at(F(1)) is None
    still = next(p for p in made.film.pieces if p.kind == "still")
    first, last = faces.at(still.cut.start), faces.at(still.cut.end - F(1, 30))
    assert first == last and first is not None
    assert (first.clock, first.speed) == (10, 1)


def test_a_jump_is_said_counts_up_and_goes() -> None:
    """Left out and away are both said; half-way through half a second half of them is counted."""
    made = plan()
    faces = Faces(made.film, made.rows)
    at = made.film.jumps[0].at
    assert [(j.kind, j.lasted) for j in made.film.jumps] == [("not_shown", 20), ("away", 60)]

    def lines(after: F) -> list[str]:
        face = faces.at(at + after)
        assert face is not None
        return [e.text for e in face.events]

    assert lines(F(1, 4)) == ["+0:10 not shown", "+0:30 away: radiograph"]
    assert lines(F(2)) == ["+0:20 not shown", "+1:00 away: radiograph"]
    assert lines(F(3)) == []


def test_a_jump_below_a_second_is_said_in_tenths() -> None:
    """Two tenths left out: "+0:00 not shown" would say that nothing is missing."""
    steps = (Step("a", "Look", R(F(0)), R(F(20))), Step("b", "On", R(F(202, 10))))
    case = Case("c", "C", (Part("p"),), steps, away=(Away(R(F(30)), F(1, 25), "x"),))
    made = make_plan(case, make_line(case, [F(60)]), F(1, 30))
    faces = Faces(made.film, made.rows)
    said = []
    for jump in made.film.jumps:
        face = faces.at(jump.at + F(1, 10))
        assert face is not None
        said += [e.text for e in face.events]
    assert said == ["+0.2 s not shown", "+0.1 s away: x"]


def test_the_speed_is_written_whenever_it_is_not_one() -> None:
    """Inside a ramp whole numbers from 2 up, never 1x for what is not 1."""
    assert [shown_speed(F(s)) for s in ("1", "1.01", "1.5", "2.4", "7.9", "8")] == [
        1,
        F(11, 10),
        F(3, 2),
        2,
        8,
        8,
    ]
    made = plan()
    faces = Faces(made.film, made.rows)
    speeds = set()
    for piece in made.film.footage:
        for n in range(20):
            face = faces.at(piece.cut.start + piece.cut.length * n / 20)
            assert face is not None
            assert (face.speed == 1) == (
                piece.speed_at(piece.cut.start + piece.cut.length * n / 20) == 1
            )
            speeds.add(face.speed)
    assert {F(1), F(8)} < speeds


def test_the_mark_stands_on_every_face() -> None:
    """A film not for publication says so on each frame that has a face."""
    made = plan()
    face = Faces(made.film, made.rows, "NOT FOR PUBLICATION").at(F(6))
    assert face is not None and face.mark == "NOT FOR PUBLICATION"
