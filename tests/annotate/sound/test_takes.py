"""Planning of takes: where they lie, what does not fit and by how much, one talk split anew."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.sound.takes import (
    Late,
    SpokenTake,
    StepPlace,
    TakesTooLong,
    lay_takes,
    needed_s,
    pace_wpm,
    sample,
    shortest_steps,
    split_talk,
    take_sound,
    words_that_fit,
)
from chapters.spans import Span

F = Fraction


def take(step: str, seconds: float, words: int = 0, late: Late = "refuse") -> SpokenTake:
    return SpokenTake(step, f"{step}.wav", Span(F(0), F(str(seconds))), words, late)


def place(step: str, start: int, end: int) -> StepPlace:
    return StepPlace(step, Span(F(start), F(end)))


STEPS = (place("isolate", 4, 14), place("locate", 14, 35), place("seal", 35, 60))


def test_a_take_that_fits_lies_at_its_steps_start() -> None:
    """Two takes shorter than their steps lie at 14 and 35 s; a step without a take stays empty."""
    plan = lay_takes([take("seal", 25), take("locate", 20.5)], STEPS, F(64))

    assert [(one.step, one.at, one.length) for one in plan.laid] == [
        ("locate", F(14), F("20.5")),
        ("seal", F(35), F(25)),
    ]
    assert not plan.holds
    plan.check()


def test_every_take_that_does_not_fit_is_named_with_seconds_and_words() -> None:
    """Takes of 27.2 s for 21 s and 12 s for 10 s are named at once, the film's order kept."""
    plan = lay_takes([take("locate", 27.2, 68), take("isolate", 12)], STEPS, F(64))

    with pytest.raises(TakesTooLong) as caught:
        plan.check()

    first, second = str(caught.value).splitlines()
    assert first.startswith("isolate.wav: the take of step 'isolate' needs 12.0 s and has 10.0 s")
    assert "2.0 s too long, about 5 words" in first
    assert "6.2 s too long, about 16 words" in second
    assert "write late: hold or late: run on" in second
    assert caught.value.takes[1].excess_s == F("6.2")


def test_a_step_that_may_hold_is_held_by_what_is_missing() -> None:
    """With late: hold the step's last picture is held 6.2 s; with that hold the take fits."""
    takes = [take("locate", 27.2, late="hold")]

    plan = lay_takes(takes, STEPS, F(64))
    held = (STEPS[0], StepPlace("locate", Span(F(14), F("41.2"))), place("seal", 42, 67))
    again = lay_takes(takes, held, F(71))

    assert dict(plan.holds) == {"locate": F("6.2")}
    assert not again.holds
    again.check()


def test_a_take_that_runs_on_pushes_the_next_and_never_covers_it() -> None:
    """A take of 27 s in a step of 21 s runs to 41 s; the next begins 0.3 s later, not at 35 s."""
    plan = lay_takes([take("locate", 27, late="run on"), take("seal", 18)], STEPS, F(64))

    assert [one.at for one in plan.laid] == [F(14), F("41.3")]
    plan.check()


def test_a_pushed_take_must_still_end_with_its_step() -> None:
    """Pushed to 41.3 s, a take of 20 s has 18.7 s left and is 1.3 s too long."""
    plan = lay_takes([take("locate", 27, late="run on"), take("seal", 20)], STEPS, F(64))

    assert [(one.step, one.excess_s) for one in plan.too_long] == [("seal", F("1.3"))]


def test_no_take_runs_past_the_end_of_the_film() -> None:
    """A last take that may run on still has to end with the film."""
    plan = lay_takes([take("seal", 31, late="run on")], STEPS, F(64))

    assert plan.too_long[0].excess_s == F(2)
    assert "the film ends before it" in str(plan.too_long[0])


def test_a_take_of_a_step_not_shown_is_left_out() -> None:
    """A step that is not in the film has no place for its take."""
    assert lay_takes([take("skipped", 5)], STEPS, F(64)).laid == ()


def test_what_is_laid_ends_a_breath_after_the_last_word() -> None:
    """Voice to 10.02 s of a 14 s file: 10.32 s are laid; without voice the whole file is."""
    assert take_sound([(0.4, 3.0), (3.5, 10.02)], F(14)) == Span(F(0), F("10.32"))
    assert take_sound([(0.4, 13.9)], F(14)) == Span(F(0), F(14))
    assert take_sound([], F(14)) == Span(F(0), F(14))


def test_the_least_length_of_a_step_is_its_takes_with_their_lead() -> None:
    """A lead of 1.5 s before 10 s of sound asks for 11.5 s."""
    late_start = SpokenTake("seal", "a.wav", Span(F(2), F(12)), lead=F("1.5"))

    assert needed_s(late_start) == F("11.5")
    assert shortest_steps([late_start, take("locate", 3)]) == {"seal": F("11.5"), "locate": F(3)}


def test_pace_is_the_presenters_own_where_takes_tell_it() -> None:
    """66 words in 30 s are 132 a minute; without a take of ten words it is 150."""
    assert pace_wpm([(66, 30.0), (3, 1.0)]) == 132
    assert pace_wpm([(3, 1.0)]) == 150
    assert words_that_fit(F("20.3")) == 50
    assert words_that_fit(F("20.3"), F(132)) == 44
    assert words_that_fit(F("0.1")) == 0


def test_a_talk_is_split_at_pauses_to_the_steps_it_was_said_under() -> None:
    """Phrases go to the step with most of them; each piece keeps its distance from its step."""
    voice = [(1.0, 3.0), (4.5, 9.0), (9.1, 12.0), (13.0, 20.0), (36.0, 50.0)]

    split = split_talk("talk.wav", voice, STEPS, F(70))

    assert [piece.step for piece in split.pieces] == ["isolate", "locate", "seal"]
    isolate, locate, seal = split.pieces
    assert isolate.sound == Span(F("0.85"), F("12.3"))  # over the card too
    assert isolate.lead == 0
    assert locate.sound == Span(F("12.85"), F("20.3"))
    assert locate.lead == 0
    assert seal.sound == Span(F("35.85"), F("50.3"))
    assert seal.lead == F("0.85")


def test_a_phrase_far_over_a_border_is_told() -> None:
    """A phrase from 12 to 20 s lies 2 s before its step, which begins at 14 s."""
    split = split_talk("talk.wav", [(12.0, 20.0)], STEPS, F(70))

    assert split.pieces[0].step == "locate"
    assert "0:12 on lies 2.0 s outside step 'locate'" in split.notices[0]


def test_a_talk_without_steps_is_refused_and_a_silent_one_has_no_pieces() -> None:
    """There is nothing to split by, or nothing to split."""
    with pytest.raises(ValueError, match="without steps"):
        split_talk("talk.wav", [(1.0, 2.0)], (), F(10))
    assert split_talk("talk.wav", [], STEPS, F(10)).pieces == ()


VOICE = st.lists(st.integers(1, 400), min_size=2, max_size=24).map(
    lambda gaps: [(sum(gaps[:i]) / 100, sum(gaps[: i + 1]) / 100) for i in range(1, len(gaps), 2)]
)


@given(VOICE)
def test_pieces_of_a_talk_hold_every_word_once_and_in_order(
    voice: list[tuple[float, float]],
) -> None:
    """Pieces do not overlap, and each span of voice lies wholly inside one of them."""
    pieces = split_talk("talk.wav", voice, STEPS, F(200)).pieces

    for before, after in pairwise(pieces):
        assert before.sound.end <= after.sound.start
    for start, end in voice:
        span = Span(F(round(start * 1000), 1000), F(round(end * 1000), 1000))
        inside = [p for p in pieces if p.sound.start <= span.start and span.end <= p.sound.end]
        assert len(inside) == 1


@given(st.integers(0, 10**9), st.integers(1, 10**6))
def test_a_sample_is_never_half_a_sample_off(numerator: int, denominator: int) -> None:
    """Rounded once, a place is at most half a sample from its exact time, however far on."""
    exact = F(numerator, denominator)

    assert abs(F(sample(exact), 48_000) - exact) <= F(1, 96_000)
