"""Characters as a reader sees them."""

from __future__ import annotations

import pytest

from annotate.picture.graphemes import clusters


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", []),
        ("ab", ["a", "b"]),
        ("e\u0301q\u0307\u0323x", ["e\u0301", "q\u0307\u0323", "x"]),
        ("क्षि", ["क्षि"]),
        ("นำ้", ["นำ้"]),
        ("👩\u200d🔬a", ["👩\u200d🔬", "a"]),
        ("🇩🇪🇫🇷", ["🇩🇪", "🇫🇷"]),
        ("👍🏽!", ["👍🏽", "!"]),
        ("\u1112\u1161\u11ab\u1100", ["\u1112\u1161\u11ab", "\u1100"]),
        ("بِسْ", ["بِ", "سْ"]),
    ],
)
def test_what_stays_together(text: str, parts: list[str]) -> None:
    """Marks, joined letters, flags and joined pictures are one character each."""
    assert clusters(text) == parts
