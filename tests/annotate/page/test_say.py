"""Times and comparisons in words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from annotate.page import say, view
from annotate.page.casebar import segments
from annotate.page.data import StepTimes
from annotate.page.folder import page_data
from tests.annotate.page.casefolder import usual, write_case

F = Fraction


@pytest.fixture
def steps(tmp_path: Path) -> dict[str, StepTimes]:
    """The steps of the usual case by id."""
    write_case(tmp_path, usual(), pictures=False)
    return {s.id: s for s in page_data(tmp_path).steps}


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 seconds"),
        (1, "1 second"),
        (60, "1 minute"),
        (F(199, 2), "1 minute 40 seconds"),
        (3661, "1 hour 1 minute 1 second"),
        (7200, "2 hours"),
    ],
)
def test_spoken(seconds: Fraction, words: str) -> None:
    """A length as a screen reader should say it."""
    assert say.spoken(F(seconds)) == words


def test_how_shown(steps: dict[str, StepTimes]) -> None:
    """What became of a step's time, in one phrase."""
    assert say.how_shown(steps["locate"], F(1)) == "real time"
    assert say.how_shown(steps["isolate"], F(8)) == "8×"
    assert say.how_shown(steps["clean"], F(8)) == "8×, 1:00 away"
    assert say.how_shown(steps["set"], F(1)) == "not shown"
    partly = replace(steps["set"], not_shown_s=F(30), away_s=F(210))
    assert say.how_shown(partly, F(1)) == "0:30 not shown, 3:30 away"
    mixed = replace(steps["isolate"], shown_real_s=F(12), not_shown_s=F(88))
    assert say.how_shown(mixed, F(5, 2)) == "real time and 2.5×, 1:28 not shown"


def test_against_the_expected(steps: dict[str, StepTimes]) -> None:
    """The difference stands in the words of the table, without praise or blame."""
    assert say.against(steps["isolate"]) == "within the expected range"
    assert say.against(steps["clean"]) == "0:20 longer than expected"
    assert say.against(steps["matrix"]) == "0:05 shorter than expected"
    assert say.against(steps["dry"]) == ""
    assert (say.expected(steps["clean"]), say.expected(steps["dry"])) == ("1:00–1:40", "")


def test_transcript_has_the_clinical_clock(tmp_path: Path) -> None:
    """Each line of the transcript bears the clinical time at its start, under its step."""
    made = write_case(tmp_path, usual(), pictures=False)
    page = page_data(tmp_path)
    first, second = view.passages(page, page.words[0])
    assert (first.title, second.title) == ("Isolate the tooth", "Locate the perforation")
    assert first.cues[0].clock == "0:00:08"
    assert made.clinical(480) == F(second.cues[0].start_s) - made.cut_of("locate")[0] + 98
    assert second.cues[0].text == "Look along the furcal wall."


def test_marks_give_way(tmp_path: Path) -> None:
    """Step numbers that would touch on a phone, or even on a desk, are left off there."""
    places = [(F(0), "1"), (F(10), "2"), (F(15), "3"), (F(100), "4"), (F(990), "5")]
    marks = view.thin_out(places, F(1000))
    assert [m.fits for m in marks] == ["always", "never", "never", "always", "always"]
    assert [m.last for m in marks] == [False, False, False, False, True]
    write_case(tmp_path, usual(), pictures=False)
    parts = segments(page_data(tmp_path))
    assert view.segment_words(parts[0]) == "0:00:00, 0:08, not shown"
    assert view.density(F(2)) == 1 and view.density(F(17, 2)) == 4 and view.density(F(99)) == 5
