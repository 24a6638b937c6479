"""Tooth designation in two systems and in words."""

from __future__ import annotations

import pytest

from chapters.case import Tooth
from chapters.teeth import (
    DECIDUOUS,
    PERMANENT,
    System,
    ToothTextError,
    bare_number,
    readings,
    tooth_from,
    tooth_name,
)


def test_the_two_systems_map_one_to_one() -> None:
    """52 teeth, each with one number in either system, and back again."""
    universal = [str(n) for n in range(1, 33)] + list("ABCDEFGHIJKLMNOPQRST")
    teeth = [tooth_from("universal", u) for u in universal]
    assert len({t.fdi for t in teeth}) == 52 == len(PERMANENT) + len(DECIDUOUS)
    assert [tooth_from("fdi", t.fdi) for t in teeth] == teeth
    assert [t.universal for t in teeth] == universal


@pytest.mark.parametrize(
    ("fdi", "name"),
    [
        ("36", "lower left first molar"),
        ("11", "upper right central incisor"),
        ("28", "upper left third molar"),
        ("45", "lower right second premolar"),
        ("53", "deciduous upper right canine"),
        ("75", "deciduous lower left second molar"),
        ("84", "deciduous lower right first molar"),
        ("62", "deciduous upper left lateral incisor"),
    ],
)
def test_names_in_words(fdi: str, name: str) -> None:
    """Jaw, side and kind, and deciduous where it is."""
    assert tooth_name(tooth_from("fdi", fdi)) == name


def test_letters_may_be_small() -> None:
    """``k`` is the deciduous tooth K; blanks around a number do not matter."""
    assert tooth_from("universal", " k ") == Tooth("75", "K")


NO_NUMBERS = "19 20 29 30 39 40 49 50 56 66 76 86 91 00 1 111 3.6 A ³6 ٣٦"


@pytest.mark.parametrize("text", ["", *NO_NUMBERS.split()])
def test_what_is_no_iso_number(text: str) -> None:
    """Only a quadrant 1 to 8 with a tooth that it has is a number."""
    with pytest.raises(ToothTextError) as caught:
        tooth_from("fdi", text)
    why, advice = caught.value.args
    assert why == "is no ISO 3950 tooth number"
    assert advice.startswith("write quadrant and tooth, 11 to 18, 21 to 28, 31 to 38 or 41 to 48 (")


@pytest.mark.parametrize("text", ["0", "33", "U", "01", "-1", "AB", "", "1d"])
def test_what_is_no_universal_number(text: str) -> None:
    """Only 1 to 32 and A to T are numbers."""
    with pytest.raises(ToothTextError, match="is no Universal tooth number"):
        tooth_from("universal", text)


@pytest.mark.parametrize(
    ("system", "text", "hint"),
    [
        ("fdi", "19", "{universal: 19} is the lower left first molar"),
        ("fdi", "k", "{universal: K} is the deciduous lower left second molar"),
        ("universal", "36", "{fdi: 36} is the lower left first molar"),
    ],
)
def test_a_number_of_the_other_system_is_recognised(system: System, text: str, hint: str) -> None:
    """A number that only the other system has is answered with what it means there."""
    with pytest.raises(ToothTextError) as caught:
        tooth_from(system, text)
    assert caught.value.args[1].endswith(f"; {hint}")


def test_numbers_that_mean_two_teeth() -> None:
    """11 to 18, 21 to 28, 31 and 32 stand in both systems, and never for the same tooth."""
    both = [str(n) for n in range(100) if len(readings(str(n))) == 2]
    assert both == [str(n) for n in [*range(11, 19), *range(21, 29), 31, 32]]
    assert all(len({tooth for _, tooth in readings(n)}) == 2 for n in both)


@pytest.mark.parametrize(
    ("text", "why", "advice"),
    [
        (
            "18",
            "does not say its system; it is the upper right third molar in ISO 3950 and the lower "
            "left second molar in the Universal system",
            "write {fdi: 18} or {universal: 18}",
        ),
        (
            "k",
            "does not say its system; it is the deciduous lower left second molar in the "
            "Universal system",
            "write {universal: K}",
        ),
        ("99", "names no tooth", "write {fdi: 36} or {universal: 19}"),
    ],
)
def test_a_bare_number_names_every_tooth_it_may_mean(text: str, why: str, advice: str) -> None:
    """Both meanings stand in the message, and what to write for each."""
    assert bare_number(text).args == (why, advice)
