"""Our tooth tables against ISO 3950 as DICOM prints it, and against SNOMED CT's names.

DICOM PS3.16, CID 4018 (permanent) and CID 4019 (deciduous dentition, designation of teeth) give
for each SNOMED CT concept its ISO 3950 designation of quadrant and of tooth. The order and the
designations below are those of the two tables; the concepts' names and codes come from the
dictionaries of pydicom, which are made from the standard.
"""

from __future__ import annotations

from typing import cast

import pytest
from pydicom.sr._cid_dict import cid_concepts
from pydicom.sr._concepts_dict import concepts

from chapters.teeth import tooth_from, tooth_name

pytestmark = pytest.mark.outside

#: CID 4018: per quadrant, in table order, the ISO 3950 designations of tooth and the SNOMED words.
PERMANENT_QUADRANTS = (
    ("1", "Permanent maxillary right", "87654321"),
    ("2", "Permanent maxillary left", "12345678"),
    ("3", "Mandibular left", "87654321"),
    ("4", "Mandibular right", "12345678"),
)
#: CID 4019.
DECIDUOUS_QUADRANTS = (
    ("5", "Deciduous maxillary right", "12345"),
    ("6", "Deciduous maxillary left", "12345"),
    ("7", "Deciduous mandibular left", "12345"),
    ("8", "Deciduous mandibular right", "12345"),
)
PERMANENT_WORDS = {
    "1": "central incisor",
    "2": "lateral incisor",
    "3": "canine",
    "4": "first premolar",
    "5": "second premolar",
    "6": "first molar",
    "7": "second molar",
    "8": "third molar",
}
DECIDUOUS_WORDS = {
    "1": "central incisor",
    "2": "lateral incisor",
    "3": "canine",
    "4": "first molar",
    "5": "second molar",
}
#: CID 4018 prints this concept without the word incisor (SNOMED CT 423331005).
AS_PRINTED = {"Mandibular left lateral incisor tooth": "Mandibular left lateral tooth"}

#: Codes of single rows of the two tables, as printed there: designation -> SNOMED CT code.
PRINTED_CODES = {
    "18": "68085002",
    "17": "863902006",
    "16": "865995000",
    "15": "36492000",
    "14": "57826002",
    "13": "860767006",
    "12": "424877001",
    "51": "88824007",
}


def meanings(cid: int) -> dict[str, str]:
    """SNOMED CT name -> code of every concept in one of DICOM's context groups, by pydicom."""
    found: dict[str, str] = {}
    for keyword in cid_concepts[cid]["SCT"]:
        coded = cast(dict[str, tuple[str, list[int]]], concepts["SCT"][keyword])
        found |= {meaning: code for code, (meaning, groups) in coded.items() if cid in groups}
    return found


def table(quadrants: tuple[tuple[str, str, str], ...], words: dict[str, str]) -> dict[str, str]:
    """ISO 3950 designation -> SNOMED CT name, row by row."""
    rows = {}
    for quadrant, where, teeth in quadrants:
        for tooth in teeth:
            name = f"{where} {words[tooth]} tooth"
            rows[quadrant + tooth] = AS_PRINTED.get(name, name)
    return rows


@pytest.mark.parametrize(
    ("cid", "rows"),
    [
        (4018, table(PERMANENT_QUADRANTS, PERMANENT_WORDS)),
        (4019, table(DECIDUOUS_QUADRANTS, DECIDUOUS_WORDS)),
    ],
)
def test_names_agree_with_snomed(cid: int, rows: dict[str, str]) -> None:
    """Every designation of the table is a tooth of ours, and our words are SNOMED CT's words."""
    known = meanings(cid)
    assert set(rows.values()) == set(known)
    for designation, meaning in rows.items():
        words = set(meaning.lower().split()) - {"tooth", "permanent"}
        ours = set(tooth_name(tooth_from("fdi", designation)).split())
        jaw = {"maxillary": "upper", "mandibular": "lower"}
        theirs = {jaw.get(word, word) for word in words}
        if meaning in AS_PRINTED.values():
            theirs.add("incisor")
        assert ours == theirs, designation


def test_single_rows_as_printed() -> None:
    """The codes printed beside eight designations are those pydicom has for our names' concepts."""
    rows = table(PERMANENT_QUADRANTS, PERMANENT_WORDS) | table(DECIDUOUS_QUADRANTS, DECIDUOUS_WORDS)
    known = meanings(4018) | meanings(4019)
    assert {d: known[rows[d]] for d in PRINTED_CODES} == PRINTED_CODES


def test_universal_order() -> None:
    """Universal: 1 is the upper right third molar, 16 the upper left, 17 the lower left, 32 the
    lower right; A to T run the same way from second molar to second molar (American Dental
    Association, Universal/National Tooth Designation System, common practice)."""
    arch = (
        [f"1{n}" for n in range(8, 0, -1)]
        + [f"2{n}" for n in range(1, 9)]
        + [f"3{n}" for n in range(8, 0, -1)]
        + [f"4{n}" for n in range(1, 9)]
    )
    assert [tooth_from("universal", str(n)).fdi for n in range(1, 33)] == arch
    milk = [q + str(n) for q, ns in (("5", (5, 4, 3, 2, 1)), ("6", (1, 2, 3, 4, 5)),
            ("7", (5, 4, 3, 2, 1)), ("8", (1, 2, 3, 4, 5))) for n in ns]  # fmt: skip
    assert [tooth_from("universal", c).fdi for c in "ABCDEFGHIJKLMNOPQRST"] == milk
