"""Chapters in the shape that every container keeps."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chapters.markers import Chapter, limit_notes, safe_shape
from chapters.times import CutTime, milliseconds


def chapter(start: float | Fraction, end: float | Fraction, title: str) -> Chapter:
    """A chapter from plain numbers."""
    return Chapter(CutTime(Fraction(start)), CutTime(Fraction(end)), title)


def rows(chapters: tuple[Chapter, ...]) -> list[tuple[float, float, str]]:
    """The chapters as plain tuples."""
    return [(float(c.start), float(c.end), c.title) for c in chapters]


def test_a_late_first_chapter_is_preceded_by_an_opening() -> None:
    """An MP4 would move the first chapter to zero, so there is one at zero."""
    found = safe_shape([chapter(3, 6, "Isolate")], Fraction(10), opening="Title")

    assert rows(found) == [(0, 3, "Title"), (3, 10, "Isolate")]


def test_gaps_are_closed_and_order_is_restored() -> None:
    """Each chapter lasts until the next one; the last until the film's end."""
    found = safe_shape([chapter(6, 8, "C"), chapter(0, 2, "A"), chapter(3, 5, "B")], Fraction(9))

    assert rows(found) == [(0, 3, "A"), (3, 6, "B"), (6, 9, "C")]


def test_nested_and_overlapping_chapters_are_flattened() -> None:
    """A chapter inside another ends it; nothing is lost."""
    found = safe_shape([chapter(0, 9, "Whole"), chapter(2, 4, "Part")], Fraction(9))

    assert rows(found) == [(0, 2, "Whole"), (2, 9, "Part")]


def test_an_end_beyond_the_film_is_the_films_end() -> None:
    """Chapters after the end are dropped, the last kept one ends with the film."""
    found = safe_shape([chapter(0, 60, "A"), chapter(12, 20, "Beyond")], Fraction(10))

    assert rows(found) == [(0, 10, "A")]


def test_a_chapter_shorter_than_a_second_is_joined_to_its_neighbour() -> None:
    """Both titles are kept; no chapter but an only one is shorter than a second."""
    short = [
        chapter(0, 5, "A"),
        chapter(5, 5.5, "B"),
        chapter(5.5, 9.5, "C"),
        chapter(9.5, 10, "D"),
    ]

    found = safe_shape(short, Fraction(10))

    assert rows(found) == [(0, 5, "A"), (5, 10, "B · C · D")]


def test_an_only_chapter_may_be_short() -> None:
    """A film of half a second keeps its one chapter."""
    assert rows(safe_shape([chapter(0, 0.5, "A")], Fraction(1, 2))) == [(0, 0.5, "A")]


def test_titles_are_cleaned_and_never_empty() -> None:
    """A line break cannot smuggle in another chapter; an empty title gets a number."""
    found = safe_shape([chapter(0, 2, "A\n00:01 B"), chapter(2, 4, " \t")], Fraction(4))

    assert [c.title for c in found] == ["A 00:01 B", "Chapter 2"]


def test_no_chapters_give_none() -> None:
    """Nothing is invented where nothing was named."""
    assert safe_shape([], Fraction(10)) == ()


def test_a_film_without_length_is_refused() -> None:
    """There is no room for chapters in no film."""
    with pytest.raises(ValueError, match="a film of 0 s has no room for chapters"):
        safe_shape([chapter(0, 1, "A")], Fraction(0))


instants = st.fractions(min_value=-5, max_value=60, max_denominator=30000)


@settings(deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(instants, instants, st.text(max_size=8)), max_size=12),
    st.fractions(min_value=Fraction(1, 1000), max_value=50, max_denominator=30000),
)
def test_any_list_takes_the_safe_shape(
    spans: list[tuple[Fraction, Fraction, str]], length: Fraction
) -> None:
    """From 0 to the film's end, contiguous, each a second or longer unless the only one."""
    found = safe_shape([chapter(min(a, b), max(a, b), t) for a, b, t in spans], length)

    if found:
        assert found[0].start == 0 and found[-1].end == length
        assert all(a.end == b.start for a, b in pairwise(found))
        assert len(found) == 1 or all(c.end - c.start >= 1 for c in found)
        assert all(c.title == " ".join(c.title.split()) != "" for c in found)
        assert all(milliseconds(a.end) == milliseconds(b.start) for a, b in pairwise(found))
    assert safe_shape(found, length) == found


def test_the_limits_of_the_nero_list_are_told() -> None:
    """256 chapters, and a title of 256 bytes, are each worth a sentence; 255 are not."""
    many = [chapter(n, n + 1, "t" * 255) for n in range(255)]

    assert limit_notes(many) == ()
    notes = limit_notes([*many, chapter(255, 256, "é" * 128)])
    assert notes[0].startswith("256 chapters: players that read only the Nero list")
    assert notes[1].startswith("chapter 256: the title has 256 bytes")
    assert len(notes) == 2
