"""What in a case lies beyond its recording."""

from __future__ import annotations

from fractions import Fraction

from chapters.case import Case
from chapters.casechecks import check_against, fit_to_recording
from chapters.casefile import read_case

TEXT = """\
case: bench-03
title: Sealing
subject: simulated
recordings: [a.mp4, {file: b.mp4, away_before: 1:10}]
away:
  - {at: 5:01, lasted: 1:00, reason: radiograph}
  - {at: 12:40, lasted: 1:00, reason: radiograph}
steps:
  - {id: one, title: One, from: 0:08, to: 1:00, stills: [{file: a.png, at: 0:30}]}
  - {id: two, title: Two, from: 9:00, stills: [{file: a.png, at: 10:30}]}
  - {id: three, title: Three, from: 11:00, to: 12:00}
"""


def case_of(text: str = TEXT) -> Case:
    """The case of a text without mistakes."""
    return read_case(text, "case.yaml")[0]


def told(case: Case, length_s: Fraction, *parts_s: int) -> list[tuple[str, str]]:
    """Severity and sentence of everything that does not fit."""
    found = check_against(case, length_s, "case.yaml", [Fraction(p) for p in parts_s])
    return [(m.severity, str(m)) for m in found]


def test_a_recording_that_is_long_enough_is_no_mistake() -> None:
    """Everything inside the recording: nothing is said."""
    assert told(case_of(), Fraction(761)) == []


def test_everything_beyond_the_end_is_told_at_its_place() -> None:
    """Away time, steps and stills beyond the end are mistakes, in the order of the file."""
    assert told(case_of(), Fraction(600) + Fraction(1, 3)) == [
        (
            "mistake",
            "case.yaml:7:10: away: 12:40 is not before the recording's end at 10:00.333; "
            "times count along the recordings end to end",
        ),
        (
            "mistake",
            "case.yaml:10:66: steps[2].stills: the still at 10:30 is beyond the recording's end "
            "at 10:00.333; write a time inside its step",
        ),
        (
            "mistake",
            "case.yaml:11:37: steps[3].from: 11:00 is not before the recording's end at "
            "10:00.333; times count along the recordings end to end",
        ),
    ]


def test_a_step_that_starts_at_the_end_has_no_length() -> None:
    """A start on the recording's end is refused as one beyond it is."""
    case = case_of(TEXT.replace("12:40", "1:40"))
    assert [text for _, text in told(case, Fraction(660))] == [
        "case.yaml:11:37: steps[3].from: 11:00 is not before the recording's end at 11:00; "
        "times count along the recordings end to end"
    ]


def test_an_end_just_beyond_the_last_frame_is_a_warning_and_is_fitted() -> None:
    """A time read off a player's clock may be up to a second late; a later one is a mistake."""
    case = case_of(TEXT.replace("12:40", "1:40"))
    near, far = Fraction(719), Fraction(719) - Fraction(1, 1000)
    assert told(case, near) == [
        (
            "warning",
            "case.yaml:11:37: steps[3].to: 12:00 is beyond the recording's end at 11:59; "
            "the step ends with the recording",
        )
    ]
    assert told(case, far) == [
        (
            "mistake",
            "case.yaml:11:37: steps[3].to: 12:00 is beyond the recording's end at 11:58.999; "
            "leave to: out for the last step",
        )
    ]
    assert [s.end for s in fit_to_recording(case, near).steps] == [60, None, 719]
    assert fit_to_recording(case, Fraction(1000)) == case


def test_time_away_beside_a_joint_with_its_own_is_a_warning() -> None:
    """The same stop written twice, at the joint and as ``away_before``, would count twice."""
    assert told(case_of(), Fraction(900), 300, 600) == [
        (
            "warning",
            "case.yaml:6:10: away: 5:01 is where b.mp4 begins, which has its own time away; "
            "both are counted; delete one of the two if they are the same time",
        )
    ]
    assert told(case_of(), Fraction(900), 310, 590) == []


def test_an_overlap_that_swallows_its_part() -> None:
    """A part that is all overlap would vanish from the line."""
    case = case_of(TEXT.replace("away_before: 1:10", "overlap: 2:00"))
    assert told(case, Fraction(900), 900, 120) == [
        (
            "mistake",
            "case.yaml:4:28: recordings[2].overlap: an overlap of 2:00 leaves nothing of b.mp4; "
            "it is 2:00 long",
        )
    ]
    assert told(case, Fraction(901), 900, 121) == []
