"""Titles and notes made safe for text files."""

from __future__ import annotations

import unicodedata

from hypothesis import given, settings
from hypothesis import strategies as st

from chapters.markers.titles import clean_title, plain_text


def test_a_title_stays_on_one_line() -> None:
    """Line breaks, tabs and runs of spaces become single spaces."""
    assert clean_title("  Locate\r\nthe\tperforation \u2028 now ") == "Locate the perforation now"


def test_nul_and_lone_surrogates_become_the_replacement_character() -> None:
    """U+0000 and half of a surrogate pair, which UTF-8 cannot hold, become U+FFFD."""
    assert plain_text("a\0b\ud800c") == "a\ufffdb\ufffdc"


def test_bidirectional_controls_go_and_letters_and_marks_stay() -> None:
    """Overrides and isolates are removed; Arabic, joiners and order marks are untouched."""
    text = "غسل\u200f (EDTA) می\u200cشود"

    assert clean_title("\u202e" + text + "\u2069\ufeff") == text


def test_text_is_composed() -> None:
    """A letter and its accent become one character (NFC)."""
    assert clean_title("cafe\u0301") == "caf\u00e9"


@settings(deadline=None, derandomize=True)
@given(st.text(alphabet=st.characters()))
def test_any_text_becomes_plain(text: str) -> None:
    """No control but the line break is left, UTF-8 can hold it, and a second pass changes nothing."""
    plain = plain_text(text)

    plain.encode("utf-8")
    assert all(c == "\n" or unicodedata.category(c) != "Cc" for c in plain)
    assert plain_text(plain) == plain
    assert "\n" not in clean_title(text)
