"""Chapters as plain text."""

from __future__ import annotations

from fractions import Fraction

from chapters.markers import Chapter, chapters_text
from chapters.times import CutTime


def test_a_whole_list() -> None:
    """Heading, notice, a blank line, then a line a chapter with the time rounded down."""
    chapters = [
        Chapter(CutTime(Fraction(0)), CutTime(Fraction(129, 10)), "Opening"),
        Chapter(CutTime(Fraction(129, 10)), CutTime(Fraction(3599)), "1. Isolate\nthe tooth"),
        Chapter(CutTime(Fraction(3599)), CutTime(Fraction(4000)), "2. Close"),
    ]

    assert chapters_text(chapters, "This film teaches.\n\nFollow local rules.", "Bench case") == (
        "Bench case\nThis film teaches.\nFollow local rules.\n\n"
        "0:00:00 Opening\n0:00:12 1. Isolate the tooth\n0:59:59 2. Close\n"
    )
