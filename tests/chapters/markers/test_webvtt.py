"""Chapters as WebVTT."""

from __future__ import annotations

from fractions import Fraction

import pytest

from chapters.markers import Chapter, chapters_vtt
from chapters.markers.webvtt import escape_vtt, note_block
from chapters.times import CutTime


def chapter(start: Fraction | int, end: Fraction | int, title: str) -> Chapter:
    """A chapter from plain numbers."""
    return Chapter(CutTime(Fraction(start)), CutTime(Fraction(end)), title)


def test_a_whole_file() -> None:
    """Header, notice, numbered cues, one blank line between blocks, one newline at the end."""
    text = chapters_vtt([chapter(0, 5, "Opening"), chapter(5, 3723, "1. Isolate")], "Teaches.\n\nB")

    assert text == (
        "WEBVTT\n\nNOTE\nTeaches.\nB\n\n"
        "1\n00:00:00.000 --> 00:00:05.000\nOpening\n\n"
        "2\n00:00:05.000 --> 01:02:03.000\n1. Isolate\n"
    )


def test_touching_chapters_share_one_millisecond() -> None:
    """An instant between two milliseconds is rounded once, alike as an end and as a start."""
    third = Fraction(10, 3)

    lines = chapters_vtt([chapter(0, third, "A"), chapter(third, 9, "B")]).split("\n")

    assert lines[3].endswith(" --> 00:00:03.333")
    assert lines[7].startswith("00:00:03.333 --> ")


def test_titles_are_one_escaped_line() -> None:
    """No title can end its cue, open a tag or hold an arrow."""
    text = chapters_vtt([chapter(0, 5, "x <3 mm\n\n& y --> z\0")])

    assert text.endswith("\nx &lt;3 mm &amp; y --&gt; z\ufffd\n")


@pytest.mark.parametrize(
    ("spans", "found"),
    [
        ([(0, 5), (4, 9)], "chapter 2 runs from 4000 to 9000 ms after one that ends at 5000 ms"),
        ([(0, Fraction(1, 4000))], "chapter 1 runs from 0 to 0 ms"),
    ],
)
def test_lists_that_lost_their_shape_are_refused(spans: list[tuple[int, int]], found: str) -> None:
    """Overlaps and chapters without length raise, with the numbers."""
    with pytest.raises(ValueError, match=found):
        chapters_vtt([chapter(a, b, "t") for a, b in spans])


def test_a_note_block_holds_no_arrow_and_no_blank_line() -> None:
    """A NOTE ends at a blank line and may hold no arrow."""
    assert note_block("a --> b\n \nc") == "NOTE\na -- > b\nc\n\n"
    assert note_block(" \n") == ""


def test_escaping_is_undone_by_character_references_alone() -> None:
    """`&` goes first, so that no reference is escaped twice."""
    assert escape_vtt("&lt; < >") == "&amp;lt; &lt; &gt;"
