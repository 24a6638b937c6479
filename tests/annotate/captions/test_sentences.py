"""Where sentences end."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.captions.sentences import sentence_ends, split_sentences

#: Each text with its sentence borders written as ``|``.
CLINICAL = [
    "Irrigate with approx. 20 ml of saline.| Use file no. 36.| It fits.",
    "Set max. torque to 2.0 N cm.| Do not exceed 300 rpm.| Go on.",
    "Torque at max.| Then start.",
    "The pH is 7.4.| pH above 9 is wrong.",
    "Use 2.5 % NaOCl, 17 % EDTA etc.| Rinse between.",
    "See Fig. 2.| The arrow marks it (cf. Fig. 3).",
    "Is it sealed?| No.| Then repeat!| Really?",
    "The fourth canal, i.e. MB2, is missed often.| Look for it.",
    "Wait 5 min.| Rinse for 20 sec.| Dry.",
    "Heat to temp. 60 °C.| Hold 20 s.",
    "File size .04 taper.| Next: 25/.04.| Then 30/.06.",
    "Rinse...| Then dry … and wait.",
    "Rinse (approx. 20 ml).| Dry (two points).|  “Stop.”| Go on.",
    "(Repeat twice.)| Go on.",
    "She said “stop.” and stopped.",
    "1. Clamp first.| 2. Then the sheet.",
    "Open canal B.| Rinse canal A.| Dry.",
    "Dr. A. Example's technique.| It holds.",
    "Wait: e.g. 20 s.| Dry vs. wet bonding.",
    "Dry . . . then wait.",
    "Dry. (",
    "Warm it at 9 a.m. and at 5 p.m. every day.",
    "Deutsch: ca. 20 ml, z.B. Kochsalz.| Danach trocknen.",
    "仮封材を除去する。|髄腔を確認する！|よいか？",
    "اغسل لمدة ٢٠ ثانية.| هل جفت؟| نعم.",
    "ड्राई करें।| फिर धोएँ।",
]


@pytest.mark.parametrize("marked", CLINICAL)
def test_clinical_sentences(marked: str) -> None:
    """Decimals, units, labels, initials, brackets, quotes and other scripts."""
    expected = tuple(part.strip() for part in marked.split("|"))

    assert split_sentences(marked.replace("|", "")) == expected


def test_a_user_can_add_abbreviations() -> None:
    """With and without the full stop, in any case."""
    text = "Use a GP. cone. Then Prep. Nr. two."

    assert split_sentences("Take the prox. Box first.") == ("Take the prox.", "Box first.")
    assert split_sentences("Take the prox. Box first.", ["PROX."]) == ("Take the prox. Box first.",)
    assert split_sentences(text, ["prep", "nr"]) == ("Use a GP. cone.", "Then Prep. Nr. two.")


def test_blank_lines_and_bullets_end_sentences_and_other_line_breaks_do_not() -> None:
    """A note typed over several lines is still prose; a list is a list."""
    text = "Dry the\ncanal\n\nThen:\n- clamp\n- sheet\n  and frame\r\n\r\nDone"

    assert split_sentences(text) == ("Dry the canal", "Then:", "clamp", "sheet and frame", "Done")


def test_nothing_gives_nothing() -> None:
    """White space holds no sentence."""
    assert split_sentences(" \n\n\t") == ()


def test_ends_are_offsets_behind_the_last_character() -> None:
    """For timed words: the place right after each end mark, and the line's end."""
    assert sentence_ends("Dry. Rinse") == {4, 10}


@settings(deadline=None, derandomize=True)
@given(st.text(alphabet='aB .!?)"1。\n-', max_size=40))
def test_splitting_loses_nothing_but_space_and_bullets(text: str) -> None:
    """Every letter, digit and end mark is in some sentence, in its order."""
    kept = [c for c in text if c in "aB1.!?。"]

    assert [c for s in split_sentences(text) for c in s if c in "aB1.!?。"] == kept
