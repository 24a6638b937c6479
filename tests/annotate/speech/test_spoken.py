"""Written text and what is said for it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.speech.spoken import plain_word, read_script, ways_of


def first(text: str) -> str:
    """The likeliest reading of a text, letters as capitals."""
    script = read_script(text, is_word=lambda word: word in {"wall", "floor"})
    words = [word for token in script.tokens for word in token.ways[0]]
    return " ".join(w[0].upper() if w.endswith(".") else w for w in words)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("Rinse with NaOCl at 2.5 % for 20 s.", "rinse with sodium hypochlorite at two point five percent for twenty seconds"),
        ("A rinse with EDTA (17%).", "a rinse with E D T A seventeen percent"),
        ("MB2 was found.", "M B two was found"),
        ("Use a #10 K-file.", "use a number ten K file"),
        ("At 1:30 or 5-7 mm.", "at one to thirty or five to seven millimetres"),
        ("No. 36 took approx. 1 mm.", "number thirty six took approximately one millimetre"),
        ("The 2nd and the 21st.", "the second and the twenty first"),
        ("1,204 rpm at 37 °C", "one thousand two hundred four R P M at thirty seven degrees celsius"),
        ("WALL AND FLOOR!", "wall and floor"),
        ("Set max. torque to 3 Ncm.", "set maximum torque to three newton centimetres"),
        ("An X-ray, e.g. of no. 11.", "an X ray for example of number eleven"),
        ("It is ½ full — or 3/4.", "it is a half full or three quarters"),
        ("gutta-percha isn’t naïve", "gutta percha isn't naive"),
        ("0.04 taper, 25/.06", "zero point zero four taper twenty five point zero six"),
        ("No, max is not here.", "no max is not here"),
        ("The pH and CBCTs", "the P H and C B C T"),
    ],
)  # fmt: skip
def test_text_is_read_aloud(written: str, said: str) -> None:
    """Numbers, units, signs, abbreviations, formulae and initials as a clinician says them."""
    assert first(written) == said


def test_further_readings_follow_the_likeliest() -> None:
    """A ratio may be a time, a figure may be said digit by digit, a year is no plain number."""
    assert ("one", "thirty") in ways_of("1:30", ("", ""), {}, lambda word: False)
    assert ("two", "five") in ways_of("25", ("", ""), {}, lambda word: False)
    assert ("twenty", "twenty", "five") in ways_of("2025", ("", ""), {}, lambda word: False)
    assert ("point", "oh", "four") in ways_of("0.04", ("", ""), {}, lambda word: False)


def test_the_users_reading_goes_first() -> None:
    """An entry of the lexicon decides over every table."""
    script = read_script("NaOCl now.", said={"NaOCl": "the bleach"})
    assert script.tokens[0].ways == (("the", "bleach"),)


def test_tokens_are_the_words_as_written() -> None:
    """Joined by spaces the tokens are the sentences; each knows the sentence it stands in."""
    script = read_script("Etch it. Wait 20 s — then rinse!")
    for number, sentence in enumerate(script.sentences):
        assert " ".join(t.text for t in script.tokens if t.sentence == number) == sentence


def test_other_languages_are_left_as_they_are() -> None:
    """No English is read into a German text."""
    script = read_script("Die 2 Kanäle (ca. 5 mm).", "de")
    assert [token.ways[0] for token in script.tokens] == [
        ("die",), ("2",), ("kanale",), ("ca",), ("5",), ("mm",),
    ]  # fmt: skip


@given(st.text(max_size=60))
def test_any_text_has_a_reading(text: str) -> None:
    """No text is refused, every spoken word is small and without a space."""
    for token in read_script(text).tokens:
        assert token.ways
        for way in token.ways:
            assert all(word and not word.isspace() and " " not in word for word in way)


def test_words_are_compared_without_case_accents_and_marks() -> None:
    """Letters of other scripts keep their marks."""
    assert plain_word("“Café’s”") == "cafe's"
    assert plain_word("ÉMAIL,") == "email"
    assert plain_word("दाँत।") == "दाँत"
    assert plain_word("—") == ""
