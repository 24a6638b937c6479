"""Direction of text: what is taken out, who decides, in which order pieces stand."""

from __future__ import annotations

import pytest

from annotate.picture.direction import base_level, clean, levels, visual_order


def shown(text: str) -> str:
    """The characters from left to right."""
    return "".join(text[i] for i in visual_order(levels(text, base_level(text))))


def test_overrides_and_soft_hyphens_never_reach_the_film() -> None:
    """A title cannot be made to read as something else, and white space is one space."""
    assert clean("safe\u202egpj.exe\u2066 x\u00ad\ty\n z ") == "safegpj.exe x y z"


def test_marks_are_composed() -> None:
    """Canonically equal texts become one text."""
    assert clean("e\u0301") == clean("\u00e9") == "é"


@pytest.mark.parametrize(
    ("text", "level"), [("", 0), ("12 3", 0), ("(א", 1), ("a א", 0), ("١٢ ع", 1)]
)
def test_the_first_strong_letter_decides(text: str, level: int) -> None:
    """Digits and signs do not count."""
    assert base_level(text) == level


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("plain text", "plain text"),
        ("אבג", "גבא"),
        ("אב 12 גד", "דג 12 בא"),
        ("אב (cd) ef", "ef )cd( בא"),
        ("ab (גד) ef", "ab (דג) ef"),
        ("price א5%", "price 5%א"),
    ],
)
def test_worked_orders(text: str, expected: str) -> None:
    """Letters run right to left, numbers left to right inside them; the shaper mirrors brackets."""
    assert shown(text) == expected


def test_an_empty_line_has_no_order() -> None:
    """Nothing in, nothing out."""
    assert levels("", 0) == []
    assert visual_order([]) == []
