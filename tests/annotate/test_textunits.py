"""User-perceived characters, columns and words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.textunits import clusters, columns, word_count


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("tooth", 5),
        ("e\u0301", 1),
        ("👩🏽‍⚕️", 1),
        ("🇩🇪🇫🇷", 2),
        ("क्षि", 1),
        ("ก็", 1),
        ("각", 1),
        ("각", 1),
        ("a\r\nb", 3),
        ("a\u200bb", 3),
    ],
)
def test_user_perceived_characters(text: str, count: int) -> None:
    """Accents, emoji sequences, flags, conjuncts and jamo count as one each."""
    assert len(clusters(text)) == count


@pytest.mark.parametrize(
    "parts",
    [
        (),
        ("e\u0301", "q\u0307\u0323", "x"),
        ("क्षि", "क"),
        ("க்", "க"),
        ("นำ้", "น"),
        ("👩\u200d🔬", "a"),
        ("👍🏽", "!"),
        ("\u1112\u1161\u11ab", "\u1100"),
        ("بِ", "سْ"),
        ("a", "\r\n", "b"),
    ],
)
def test_what_stays_together(parts: tuple[str, ...]) -> None:
    """Marks, conjuncts, joined pictures and syllables are never cut."""
    assert clusters("".join(parts)) == parts


@settings(deadline=None, derandomize=True)
@given(st.text())
def test_clusters_joined_are_the_text(text: str) -> None:
    """Cutting loses and reorders nothing."""
    assert "".join(clusters(text)) == text


@pytest.mark.parametrize(
    ("text", "width"),
    [
        ("IOP < 21", 8),
        ("髄腔", 4),
        ("ﾊ", 1),
        ("Ａ", 2),
        ("اغسل", 4),
        ("e\u0301", 1),
        ("👩🏽‍⚕️", 2),
        ("🇩🇪", 2),
        ("✔️", 2),
        ("a\u200eb\u200b", 2),
        ("각", 2),
        ("", 0),
    ],
)
def test_columns(text: str, width: int) -> None:
    """Wide characters and emoji take two columns, invisible ones none."""
    assert columns(text) == width


@pytest.mark.parametrize(
    ("text", "count"),
    [("Rinse with 20 ml – twice.", 5), ("", 0), ("— … —", 0), ("[DRILL] Dr. A:", 3)],
)
def test_words_hold_a_letter_or_a_digit(text: str, count: int) -> None:
    """Dashes alone are no words; labels and names are."""
    assert word_count(text) == count


@pytest.mark.parametrize(
    ("text", "count"),
    [("歯36を隔離します。", 4.5), ("歯", 0.5), ("ล้างคลองราก 36", 3.5), ("歯 wax", 1.5)],
)
def test_scripts_without_spaces_are_counted_by_their_letters(text: str, count: float) -> None:
    """Two to a word of Japanese, four to one of Thai; figures and Latin words count as they are."""
    assert float(word_count(text)) == count
