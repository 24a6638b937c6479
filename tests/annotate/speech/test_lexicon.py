"""Pronunciations: where they come from and how a user's lexicon is read."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from annotate.speech.ipa import arpabet, espeak_phones, espeak_program
from annotate.speech.letters import PHONES, letters_to_phones
from annotate.speech.lexicon import (
    Lexicon,
    other_spellings,
    read_lexicon,
    shipped_words,
    trade_terms,
)
from chapters.errors import CaseFileError
from tests.annotate.sound.clips import needed


def spoken(word: str, lexicon: Lexicon | None = None) -> str:
    """The first pronunciation of a word."""
    return " ".join((lexicon or Lexicon(use_espeak=False)).pronounce([word])[word][0])


def distance(a: tuple[str, ...], b: tuple[str, ...]) -> int:
    """Levenshtein distance."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        new = [i]
        for j, y in enumerate(b, 1):
            new.append(min(new[-1] + 1, row[j] + 1, row[j - 1] + (x != y)))
        row = new
    return row[-1]


def dictionary() -> dict[str, tuple[str, ...]]:
    """The dictionary inside pocketsphinx."""
    if importlib.util.find_spec("pocketsphinx") is None:
        needed("pocketsphinx", "pip install pocketsphinx")
    return dict(shipped_words())


def test_the_order_is_user_terms_dictionary_rules() -> None:
    """Each source answers only what those before it cannot."""
    dictionary()
    own = Lexicon({"pulp": "P UH1 L P", "obturation": "AA B T"}, use_espeak=False)
    assert spoken("pulp", own) == "P UH L P"
    assert spoken("obturation", own) == "AA B T"
    assert spoken("obturation") == "AA B T ER EY SH AH N"
    assert spoken("tooth") == "T UW TH"
    assert spoken("e.") == "IY"
    assert spoken("blorvic").split()[0] == "B"


def test_british_spellings_and_regular_endings_lead_to_the_dictionary() -> None:
    """colour as color, a plural with the right s, a past form with the right d."""
    dictionary()
    assert "color" in other_spellings("colour")
    assert spoken("colour") == spoken("color")
    lexicon = Lexicon({"blorv": "B L AO R V", "plit": "P L IH T"}, use_espeak=False)
    assert spoken("blorvs", lexicon) == "B L AO R V Z"
    assert spoken("plits", lexicon) == "P L IH T S"
    assert spoken("plited", lexicon) == "P L IH T IH D"


def test_every_own_term_is_made_of_phones() -> None:
    """No line of the shipped list of terms would be refused by the recogniser."""
    assert len(trade_terms()) > 150
    for word, ways in trade_terms().items():
        assert word == word.casefold()
        assert all(phone in PHONES for way in ways for phone in way.split()), word


def test_letter_rules_are_near_the_dictionary() -> None:
    """Under 0.25 wrong phones a phone on 400 dictionary words, and every word gets some."""
    words = {w: ways for w, ways in dictionary().items() if w.isalpha() and len(w) > 4}
    chosen = sorted(words)[:: len(words) // 400]
    wrong = sum(
        min(distance(letters_to_phones(w), tuple(way.split())) for way in words[w]) for w in chosen
    )
    total = sum(len(words[w][0].split()) for w in chosen)
    assert wrong / total < 0.25
    assert all(letters_to_phones(w) for w in chosen)
    assert letters_to_phones("h") and letters_to_phones("e")
    assert letters_to_phones("123") == ()


def test_espeak_is_nearer_and_is_asked_as_a_process_of_its_own() -> None:
    """The program's IPA becomes phones that agree with the dictionary for nine phones of ten."""
    program = espeak_program()
    if program is None:
        needed("espeak-ng", "apt-get install espeak-ng")
    words = {w: ways for w, ways in dictionary().items() if w.isalpha() and len(w) > 4}
    chosen = sorted(words)[:: len(words) // 300]
    answers = espeak_phones(chosen, str(program))
    assert len(answers) >= 0.95 * len(chosen)
    wrong = sum(min(distance(answers[w], tuple(x.split())) for x in words[w]) for w in answers)
    assert wrong / sum(len(words[w][0].split()) for w in answers) < 0.15
    assert set(phone for phones in answers.values() for phone in phones) <= PHONES


def test_an_espeak_that_fails_gives_no_pronunciation(tmp_path: Path) -> None:
    """A program that is not there leaves the letter rules to answer."""
    assert espeak_phones(["tooth"], str(tmp_path / "no-program")) == {}


def test_ipa_becomes_arpabet() -> None:
    """Stress and length marks go, long symbols win over their first letters."""
    assert arpabet("ˌɑːbtʃɚˈeɪʃən") == ("AA", "B", "CH", "ER", "EY", "SH", "AH", "N")
    assert arpabet("ɡˈʌɾə") == ("G", "AH", "T", "AH")


def test_words_without_latin_letters_have_no_pronunciation() -> None:
    """They are absent, so that nobody asks the recogniser for them."""
    assert Lexicon(use_espeak=False).pronounce(["歯", "123"]) == {}


def test_a_lexicon_file_is_read(tmp_path: Path) -> None:
    """Phones or words after an equals sign, remarks and blank lines left out."""
    path = tmp_path / "words.txt"
    path.write_text(
        "# our words\n\nobturation = AA1 B T ER0\n#10 = size ten\nNaOCl = bleach\n", "utf-8"
    )
    entries = read_lexicon(path, "words.txt")
    assert entries == {"obturation": "AA1 B T ER0", "#10": "size ten", "NaOCl": "bleach"}
    assert Lexicon(entries, use_espeak=False).said == {"#10": "size ten", "NaOCl": "bleach"}


def test_every_fault_of_a_lexicon_is_told_with_its_line(tmp_path: Path) -> None:
    """All at once; a file that is none, too large or no text likewise."""
    path = tmp_path / "words.txt"
    path.write_text("pulp P AH L P\ngutta = \n= a\ngood = words here\n", "utf-8")
    with pytest.raises(CaseFileError) as caught:
        read_lexicon(path, "words.txt")
    assert [mistake.line for mistake in caught.value.mistakes] == [1, 2, 3]
    for bad in (tmp_path, tmp_path / "none.txt"):
        with pytest.raises(CaseFileError, match="is no file"):
            read_lexicon(bad, "x")
    path.write_bytes(b"\xff\xfe\x00 = a")
    with pytest.raises(CaseFileError, match="UTF-8"):
        read_lexicon(path, "x")
