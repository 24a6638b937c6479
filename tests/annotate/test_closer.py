"""What only the pictures can tell of a case: long dull stretches in real time, busy ones in haste."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from annotate.closer import amounts_on_line, busy_in_haste, dull_in_real_time, still_on_line
from annotate.find import Found, FoundPart
from chapters.motion import Moves
from chapters.spans import Span
from chapters.steptimes import StepTime
from chapters.stillness import StillStretch
from chapters.timemap import PartSpan


def span(start: float, end: float) -> Span:
    """A span in seconds."""
    return Span(Fraction(start), Fraction(end))


def still(start: float, end: float, kind: str = "still") -> StillStretch:
    """A dull stretch."""
    return StillStretch(span(start, end), kind, 0.9)


def row(step: str, start: float, end: float, show: str, speed: int | None = None) -> StepTime:
    """A step's times; what is not asked here is zero."""
    nothing = Fraction(0)
    at = span(start, end)
    pace = None if speed is None else Fraction(speed)
    return StepTime(
        1, step, step, "", "", show, pace, at, at, None, at.length, *(nothing,) * 4, None
    )


def test_a_long_wait_in_real_time_is_told_with_its_place_and_the_way_out() -> None:
    """Half a minute of nothing in a real-time step is one sentence."""
    (told,) = dull_in_real_time([row("set", 10, 90, "real")], [still(30.2, 61)])
    assert told == (
        "step set is shown in real time, but nothing moves from 0:30 to 1:01 (0:31); "
        "make that a step of its own with show: fast, or skip"
    )


def test_a_step_that_is_all_wait_is_told_to_run_fast() -> None:
    """There is nothing to make a step of its own of."""
    (told,) = dull_in_real_time([row("set", 28, 62, "real")], [still(30.2, 61)])
    assert told.endswith("(0:31); write show: fast, or skip")


@pytest.mark.parametrize(
    ("kind", "short", "long"), [("still", 19, 20), ("repeats", 59, 60), ("black", 4, 5)]
)
def test_each_kind_has_its_own_patience(kind: str, short: int, long: int) -> None:
    """Black is told at once, a repeating movement only after a minute."""
    rows = [row("a", 0, 200, "real")]
    assert dull_in_real_time(rows, [still(10, 10 + short, kind)]) == ()
    assert len(dull_in_real_time(rows, [still(10, 10 + long, kind)])) == 1


def test_only_what_lies_in_the_step_counts() -> None:
    """A wait of which a real-time step holds ten seconds is no matter; nor is one in a fast step."""
    rows = [row("a", 0, 40, "real"), row("wait", 40, 200, "fast", 8)]
    assert dull_in_real_time(rows, [still(30, 190)]) == ()


def test_a_step_is_told_of_its_two_longest_waits_only() -> None:
    """Three waits in one step are two sentences, in order of time."""
    rows = [row("a", 0, 500, "real")]
    told = dull_in_real_time(rows, [still(10, 40), still(100, 121), still(200, 260)])
    assert ["0:10" in told[0], "3:20" in told[1], len(told)] == [True, True, 2]


def amounts(*pieces: tuple[int, float]) -> list[tuple[Fraction, float]]:
    """So many seconds of an amount, one piece after the other."""
    values = [amount for seconds, amount in pieces for _ in range(seconds)]
    return [(Fraction(n), amount) for n, amount in enumerate(values)]


BUSY = amounts((60, 0.06), (60, 0.02), (30, 0.15), (30, 0.02))


def test_a_fast_step_that_hides_a_busy_stretch_is_told() -> None:
    """Half a minute busier than what is shown in real time, at 8x: one sentence with its place."""
    rows = [row("locate", 0, 60, "real"), row("clean", 60, 180, "8x", 8)]
    (told,) = busy_in_haste(rows, BUSY, ())
    assert told.startswith("step clean is shown at 8x, but more goes on from 2:00 to 2:30 (0:30)")
    assert "look whether it hides something" in told
    (skipped,) = busy_in_haste([rows[0], row("clean", 60, 180, "skip")], BUSY, ())
    assert skipped.startswith(
        "step clean is left out, but as much goes on from 2:00 to 2:30 (0:30)"
    )


def test_a_repeating_movement_may_run_fast() -> None:
    """The same stretch is no matter where it only repeats, where it is slow, or where all is alike."""
    rows = [row("locate", 0, 60, "real"), row("clean", 60, 180, "8x", 8)]
    assert busy_in_haste(rows, BUSY, [still(110, 160, "repeats")]) == ()
    assert busy_in_haste([rows[0], row("clean", 60, 180, "2x", 2)], BUSY, ()) == ()
    assert busy_in_haste(rows, amounts((180, 0.1)), ()) == ()


def test_without_a_step_in_real_time_nothing_is_said_of_haste() -> None:
    """There is nothing to hold it against."""
    assert busy_in_haste([row("all", 0, 180, "8x", 8)], BUSY, ()) == ()


FOUND = Found(
    (
        FoundPart("a.mp4", Fraction(0), Fraction(60), 1500),
        FoundPart("b.mp4", Fraction(60), Fraction(60), 1500),
    ),
    (),
    (still(40, 80),),
    (),
    moves=Moves(Fraction(0), (0.1,) * 120),
)


def test_stretches_move_onto_a_line_without_the_repeated_start() -> None:
    """Ten seconds that the second file repeats are dropped, and the wait is ten seconds shorter."""
    parts = (
        PartSpan("a.mp4", Fraction(0), Fraction(60), Fraction(0)),
        PartSpan("b.mp4", Fraction(60), Fraction(50), Fraction(10)),
    )
    assert [s.span for s in still_on_line(FOUND, parts)] == [span(40, 70)]
    on_line = amounts_on_line(FOUND, parts)
    assert [at for at, _ in on_line] == list(range(110))


def test_two_kinds_that_meet_stay_two() -> None:
    """Black after still is not one stretch."""
    parts = (
        PartSpan("a.mp4", Fraction(0), Fraction(60), Fraction(0)),
        PartSpan("b.mp4", Fraction(60), Fraction(60), Fraction(0)),
    )
    found = replace(FOUND, still=(still(40, 60), still(60, 80, "black")))
    assert [s.kind for s in still_on_line(found, parts)] == ["still", "black"]
