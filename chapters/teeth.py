"""Tooth designation: ISO 3950 two-digit numbers, their Universal twins and their names in words.

ISO 3950 (Dentistry, Designation system for teeth and areas of the oral cavity): the first digit
is the quadrant, clockwise from the upper right as one looks at the patient, 1 to 4 permanent and
5 to 8 deciduous; the second counts from the midline. The Universal system counts 1 to 32 (A to T
for deciduous teeth) from the upper right last molar along the upper arch and back along the lower.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final, Literal

from chapters.case import Tooth

System = Literal["fdi", "universal"]

#: ISO 3950 numbers in the Universal order: the upper arch from right to left, the lower back again.
PERMANENT: Final = (
    18, 17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27, 28,
    38, 37, 36, 35, 34, 33, 32, 31, 41, 42, 43, 44, 45, 46, 47, 48,
)  # fmt: skip
DECIDUOUS: Final = (
    55, 54, 53, 52, 51, 61, 62, 63, 64, 65,
    75, 74, 73, 72, 71, 81, 82, 83, 84, 85,
)  # fmt: skip

_BY_UNIVERSAL: Final = MappingProxyType(
    {str(n): Tooth(str(fdi), str(n)) for n, fdi in enumerate(PERMANENT, start=1)}
    | {chr(ord("A") + n): Tooth(str(fdi), chr(ord("A") + n)) for n, fdi in enumerate(DECIDUOUS)}
)
_BY_FDI: Final = MappingProxyType({t.fdi: t for t in _BY_UNIVERSAL.values()})

_QUADRANTS: Final = ("upper right", "upper left", "lower left", "lower right")
_PERMANENT_NAMES: Final = (
    "central incisor",
    "lateral incisor",
    "canine",
    "first premolar",
    "second premolar",
    "first molar",
    "second molar",
    "third molar",
)
_DECIDUOUS_NAMES: Final = (
    "central incisor",
    "lateral incisor",
    "canine",
    "first molar",
    "second molar",
)


class ToothTextError(ValueError):
    """A text that names no tooth; ``args[0]`` says why, ``args[1]`` what to write."""


def tooth_from(system: System, text: str) -> Tooth:
    """The tooth that ``text`` names in one system: ``"36"`` in ``fdi`` is ``"19"`` in ``universal``.

    Letters may be small. Raises ToothTextError.
    """
    word = text.strip().upper()
    table = _BY_FDI if system == "fdi" else _BY_UNIVERSAL
    if word in table:
        return table[word]
    if system == "fdi":
        reason = "is no ISO 3950 tooth number"
        advice = (
            "write quadrant and tooth, 11 to 18, 21 to 28, 31 to 38 or 41 to 48 "
            "(deciduous: 51 to 55, 61 to 65, 71 to 75, 81 to 85)"
        )
    else:
        reason = "is no Universal tooth number"
        advice = "write 1 to 32, or A to T for a deciduous tooth"
    other: System = "universal" if system == "fdi" else "fdi"
    if word in (_BY_UNIVERSAL if system == "fdi" else _BY_FDI):
        advice += f"; {{{other}: {word}}} is the {tooth_name(tooth_from(other, word))}"
    raise ToothTextError(reason, advice)


def readings(text: str) -> tuple[tuple[System, Tooth], ...]:
    """Every tooth that a number without its system may mean, ISO 3950 first; at most two."""
    word = text.strip().upper()
    found: list[tuple[System, Tooth]] = []
    if word in _BY_FDI:
        found.append(("fdi", _BY_FDI[word]))
    if word in _BY_UNIVERSAL:
        found.append(("universal", _BY_UNIVERSAL[word]))
    return tuple(found)


def bare_number(text: str) -> ToothTextError:
    """Why a number without its system is no tooth, with every tooth that it may mean."""
    found = readings(text)
    if not found:
        return ToothTextError("names no tooth", "write {fdi: 36} or {universal: 19}")
    meanings = " and ".join(
        f"the {tooth_name(tooth)} in {'ISO 3950' if system == 'fdi' else 'the Universal system'}"
        for system, tooth in found
    )
    word = text.strip().upper()
    choices = " or ".join(f"{{{system}: {word}}}" for system, _ in found)
    return ToothTextError(f"does not say its system; it is {meanings}", f"write {choices}")


def tooth_name(tooth: Tooth) -> str:
    """``lower left first molar``; a deciduous tooth says so: ``deciduous upper right canine``."""
    quadrant, position = int(tooth.fdi[0]), int(tooth.fdi[1])
    where = _QUADRANTS[(quadrant - 1) % 4]
    if quadrant > 4:
        return f"deciduous {where} {_DECIDUOUS_NAMES[position - 1]}"
    return f"{where} {_PERMANENT_NAMES[position - 1]}"
