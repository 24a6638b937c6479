"""What speaks for a jump: the measures of one step, and what they are worth."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction as F

import numpy as np
import pytest

from chapters.cutrules import TUNED
from chapters.jumps import evidence, jump
from chapters.jumpsigns import gap, signs
from chapters.jumpweights import CONSTANT, WEIGHTS, Weight
from chapters.looks import Look
from chapters.signals import SignalReader, Signals
from tests.scenes import shot, timed


def read(frames: int = 120, leap: int = 30) -> Signals:
    """A view in which the tool is elsewhere from frame 60 on."""
    reader = SignalReader()
    for time, picture in timed(shot(1, 60) + shot(1, frames - 60, start=60 + leap)):
        reader.feed(time, picture)
    return reader.finish()


def the_jump(signals: Signals) -> Look:
    """The look at frame 60."""
    (look,) = (look for look in signals.looks if look.index == 60)
    return look


def test_every_measure_has_a_weight_and_every_weight_a_measure() -> None:
    """In one order, so that what is fitted is what is measured."""
    signals = read()

    assert list(signs(the_jump(signals), signals)) == list(WEIGHTS)


def test_a_step_is_held_against_the_pictures_near_by_at_every_width() -> None:
    """Changes of 1, 2, 3 and so on levels a frame; within 0.12 s of frame 60 lie three on either side."""
    signals = read()
    ramp = np.arange(120, dtype=np.float32)
    signals = replace(signals, change=ramp, step=ramp / 100)
    measured = signs(the_jump(signals), signals)

    assert measured["change_over_12"] == pytest.approx(60 / (63 + 0.05))
    assert measured["step_over_12"] == pytest.approx(0.6 / (0.63 + 0.003), rel=1e-5)
    assert measured["change_near_12"] == pytest.approx(60)
    assert measured["thirds_12"] == pytest.approx(62 / (60 + 0.01))
    assert measured["change_over_100"] == pytest.approx(60 / (90 + 0.05))


def test_what_was_not_there_is_unknown() -> None:
    """A step without a burst or a stir has measures of neither; the largest near by are none."""
    signals = read()
    look = replace(the_jump(signals), burst=None, stir=None, stride=None)
    measured = signs(look, replace(signals, looks=(look,)))

    unknown = {name for name, value in measured.items() if math.isnan(value)}
    assert unknown == {n for n in WEIGHTS if n.split("_")[0] in ("burst", "stir", "stride")}
    assert measured["near_burst"] == measured["near_stir"] == measured["near_step"] == 0


def test_the_longer_between_two_pictures_the_larger_the_gap() -> None:
    """1 at 25 frames a second and more; twice that at 12.5, and where the usual is twice as short."""
    signals = read()
    look = the_jump(signals)
    slow = replace(signals, times=tuple(F(n, 10) for n in range(120)))

    assert gap(look, signals) == 1
    assert gap(replace(look, gap_ratio=2.0), signals) == 2
    assert gap(replace(look, at=F(6)), slow) == pytest.approx(2.5)


def test_a_measure_counts_within_what_jumps_have() -> None:
    """Its weight times it and its square; beyond the limits no more; unknown as was fitted."""
    plain = Weight(False, -1.0, 2.0, 3.0, -0.5, 0.25)
    logs = Weight(True, -2.0, 2.0, 1.0, 0.0, 0.0)

    assert plain.worth(1.0) == 2.5
    assert plain.worth(2.0) == plain.worth(100.0) == 4.0
    assert plain.worth(-1.0) == plain.worth(-7.0) == -3.5
    assert plain.worth(float("nan")) == 0.25
    assert logs.worth(0.99) == pytest.approx(0.0)
    assert logs.worth(0.0) == -2.0


def test_the_evidence_is_what_all_measures_are_worth_together() -> None:
    """Nothing known gives the constant and what it is worth not to know."""
    nothing = dict.fromkeys(WEIGHTS, float("nan"))

    assert evidence(nothing) == pytest.approx(CONSTANT + sum(w.unknown for w in WEIGHTS.values()))


def test_where_there_is_doubt_more_evidence_is_asked_for() -> None:
    """Little of the view has structure, a picture just before repeats another, a beat, a change of light."""
    signals = read()
    look = the_jump(signals)
    repeated, sooner = signals.change.copy(), signals.change.copy()
    repeated[59] = sooner[56] = 0.0
    beating = np.zeros(120, np.float32)
    beating[[35, 60, 85]] = signals.step[60]
    once = beating.copy()
    once[85] = 0
    plain = jump(look, signals, TUNED)
    assert plain is not None
    sure = replace(TUNED, doubt_more=0.0)
    more = TUNED.doubt_more / TUNED.jump_scale

    for doubtful in (
        replace(signals, detail=np.full(120, 0.4, np.float32)),
        replace(signals, change=repeated),
        replace(signals, change=sooner),
        replace(signals, step=beating),
    ):
        without, given = jump(look, doubtful, sure), jump(look, doubtful, TUNED)
        assert without is not None
        assert given == pytest.approx(without - more)
    assert jump(look, signals, sure) == plain
    alone = replace(signals, step=once)
    assert jump(look, alone, sure) == jump(look, alone, TUNED)
    for levels, doubts in ((7.0, 1), (-7.0, 1), (5.0, 0)):
        lit = replace(look, level_step=levels)
        without, given = jump(lit, signals, sure), jump(lit, signals, TUNED)
        assert without is not None
        assert given == pytest.approx(without - doubts * more)


def test_in_a_view_at_rest_less_evidence_is_enough_and_trusted_less() -> None:
    """Nothing near by moves and the light stays: told on less, by a small margin; not with any doubt."""
    signals = read()
    look = replace(the_jump(signals), step_before=0.01, step_after=0.01, level_step=0.5)
    seen = evidence(signs(look, signals))
    few = replace(TUNED, jump_least=seen + 0.3, jump_rest_least=seen - 0.9)
    margin = jump(look, signals, few)

    assert margin == pytest.approx(0.9 / 4 / TUNED.jump_scale)
    faint = replace(signals, detail=np.full(120, 0.4, np.float32))
    for other, near_by in (
        (replace(look, step_after=0.05), signals),
        (replace(look, level_step=-3.0), signals),
        (replace(look, gap_ratio=5.0), signals),
        (look, faint),
    ):
        there = evidence(signs(other, near_by))
        few = replace(TUNED, jump_least=there + 0.3, jump_rest_least=there - 0.9)
        assert jump(other, near_by, few) is None
    plain = replace(TUNED, jump_least=seen - 5, jump_rest_least=seen - 6)
    assert jump(look, signals, plain) == pytest.approx(5 / TUNED.jump_scale)


def test_what_moved_on_while_pictures_are_missing_is_no_jump() -> None:
    """Beside a hole of a third of a second, or where the movement only goes on, far more evidence is asked for."""
    signals = read()
    look = the_jump(signals)
    assert look.stride is not None
    onward = replace(look, stride=replace(look.stride, astray=0.2))
    for hole in (replace(look, gap_ratio=10.0), onward):
        without = jump(hole, signals, replace(TUNED, hole_more=0.0))
        given = jump(hole, signals, TUNED)

        assert without is not None
        assert given is None or given == pytest.approx(without - TUNED.hole_more / TUNED.jump_scale)
    assert jump(look, signals, replace(TUNED, hole_more=9.0)) == jump(look, signals, TUNED)


def test_a_hole_of_two_seconds_is_a_recorder_that_stood_still() -> None:
    """No more evidence is asked for than without it."""
    signals = read()
    late = tuple(t + 2 * (n >= 60) for n, t in enumerate(signals.times))
    look = replace(the_jump(signals), at=late[60], gap_ratio=61.0)
    signals = replace(signals, times=late, end=signals.end + 2)
    told = jump(look, signals, TUNED)

    assert told is not None
    assert told == jump(look, signals, replace(TUNED, hole_more=9.0))


def test_a_jump_has_more_evidence_than_any_step_of_a_movement() -> None:
    """The tool elsewhere at once, against the same tool that goes on moving."""
    jumped, moved = read(), read(leap=0)
    looks = [evidence(signs(look, moved)) for look in moved.looks]

    assert evidence(signs(the_jump(jumped), jumped)) > max([*looks, 0.0]) + 3
