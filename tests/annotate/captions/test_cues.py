"""What a profile has to say about cues."""

from __future__ import annotations

from fractions import Fraction

import pytest

from annotate.captions import NOTES, PROFILES, Cue, NoteTooLong, check_cues
from annotate.captions.cues import summed_up


def test_a_cue_within_every_figure_draws_no_complaint() -> None:
    """42 characters, 20 a second, one second, seven seconds: the limits themselves are allowed."""
    cues = [
        Cue(0, 2100, ("x" * 42,), "a"),
        Cue(2100, 3100, ("y" * 20,), "a"),
        Cue(3100, 10100, ("z" * 42, "z" * 42), "b"),
    ]

    assert check_cues(cues, NOTES) == ()


@pytest.mark.parametrize(
    ("cue", "rule", "found", "allowed"),
    [
        (Cue(0, 5000, ("x" * 43,)), "line length", 43, 42),
        (Cue(0, 5000, ("a", "b", "c")), "number of lines", 3, 2),
        (Cue(0, 1000, ("x" * 21,)), "reading speed", 21, 20),
        (Cue(0, 999, ("x",)), "shortest time", Fraction(999, 1000), 1),
        (Cue(0, 7001, ("x",)), "longest time", Fraction(7001, 1000), 7),
        (Cue(5, 5, ("x",)), "time on the screen", 0, 1),
    ],
)
def test_each_rule_is_told_with_both_numbers(
    cue: Cue, rule: str, found: Fraction | int, allowed: Fraction | int
) -> None:
    """One complaint, naming the rule, what was found and what is allowed."""
    [complaint] = check_cues([cue], NOTES)

    assert (complaint.rule, complaint.found, complaint.allowed) == (rule, found, allowed)
    assert complaint.cue == 1


def test_the_line_break_counts_as_the_space_it_stands_for() -> None:
    """Two lines of ten are 21 characters to read."""
    cue = Cue(0, 2000, ("x" * 10, "y" * 10))

    assert cue.columns == 21


@pytest.mark.parametrize(
    ("name", "gap_ms", "complains"),
    [
        ("notes", 40, False),
        ("bbc", 0, False),
        ("bbc", 80, True),
        ("bbc", 999, True),
        ("bbc", 1000, False),
        ("karamitroglou-1998", 0, True),
        ("karamitroglou-1998", 249, True),
        ("karamitroglou-1998", 250, False),
    ],
)
def test_the_gap_rule_is_the_profiles_own(name: str, gap_ms: int, complains: bool) -> None:
    """The guides disagree: BBC wants none or a second, another source a quarter always."""
    cues = [Cue(0, 3000, ("one",)), Cue(3000 + gap_ms, 6000 + gap_ms, ("two",))]

    assert [c.rule for c in check_cues(cues, PROFILES[name])] == (["gap"] if complains else [])


def test_overlap_is_told_under_any_profile() -> None:
    """Two captions at once are a fault even where no gap is asked for."""
    [complaint] = check_cues([Cue(0, 3000, ("one",)), Cue(2500, 6000, ("two",))], NOTES)

    assert (complaint.rule, complaint.found, complaint.cue) == ("gap", Fraction(-1, 2), 2)


def test_a_complaint_is_one_sentence_with_its_place_and_clause() -> None:
    """Number, time, step, rule, both figures and where the figure is published."""
    cue = Cue(62_000, 66_000, ("We are aiming to get a better television service.",), "isolate")

    [complaint] = check_cues([cue], PROFILES["bbc"])

    assert str(complaint) == (
        "caption 1 at 00:01:02.000, step isolate: line length: found 49 characters, "
        "allowed at most 37 (BBC Subtitle Guidelines §3.1: 37 fixed-width characters)"
    )


def test_a_note_too_long_says_by_how_much() -> None:
    """Seconds rounded up to a tenth, characters, and how much of it is shown."""
    assert str(NoteTooLong("isolate", 2010, 41, 1, 3)) == (
        "step isolate: the note is too long for the time its step has in the film: it needs "
        "2.1 s more, or 41 fewer characters (1 of 3 sentences shown); shorten the note or show "
        "the step more slowly"
    )
    assert "(nothing shown)" in str(NoteTooLong("isolate", 1, 1, 0, 1))


def test_many_complaints_are_one_sentence_for_each_rule_of_a_step() -> None:
    """The worst of them and how many more; another step or rule has its own; memory is owned to."""
    fast = [Cue(n * 1000, n * 1000 + 900 + n, ("a " * 14 + "end",), "one") for n in range(3)]
    other = [Cue(4000, 11_500, ("Short enough.",), "two")]
    told = summed_up(check_cues([*fast, *other], PROFILES["dcmp-lower"]))
    assert [line.split(": found")[0] for line in told] == [
        "caption 1 at 00:00:00.000, step one: reading speed",
        "caption 1 at 00:00:00.000, step one: shortest time",
        "caption 4 at 00:00:04.000, step two: longest time",
    ]
    assert told[0].endswith("at most 130); 2 more in this step")
    assert told[2].endswith("(DCMP Captioning Key: six seconds, from memory)")
