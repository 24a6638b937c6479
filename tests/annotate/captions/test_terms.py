"""Preferred spellings."""

from __future__ import annotations

from annotate.captions import TimedWord, fix_terms, fix_timed, terms_of


def test_a_list_corrects_capitals() -> None:
    """Whole words in any case take the preferred spelling."""
    terms = terms_of(["NaOCl", "EDTA", "gutta-percha"])

    assert fix_terms("naocl, then edta; GUTTA-PERCHA.", terms) == "NaOCl, then EDTA; gutta-percha."


def test_a_mapping_corrects_words_and_runs_of_words() -> None:
    """Longer keys go first, any white space matches a space, replaced text is not looked at again."""
    terms = terms_of({"gutta percha": "gutta-percha", "percha": "Percha", "hypo": "NaOCl"})

    assert fix_terms("gutta\n percha and percha in HYPO and naocl", terms) == (
        "gutta-percha and Percha in NaOCl and NaOCl"
    )


def test_parts_of_words_are_left_alone() -> None:
    """`mta` is no part of `mtas` or `emta`, but stands before a hyphen or a stop."""
    assert fix_terms("mtas emta mta-like (mta).", terms_of(["MTA"])) == "mtas emta MTA-like (MTA)."


def test_a_sentences_first_capital_stays() -> None:
    """Unless the preferred spelling has capitals of its own."""
    assert fix_terms("Sealer. SEALER. Ph 7.", terms_of(["sealer", "pH"])) == "Sealer. sealer. pH 7."


def test_signs_in_a_term_are_only_signs() -> None:
    """A term is text, not a pattern."""
    assert (
        fix_terms("use c+ file, not cc file", terms_of(["C+ file"])) == "use C+ file, not cc file"
    )


def test_no_terms_change_nothing() -> None:
    """Empty keys are ignored."""
    assert fix_terms("As it is.", {" ": "x", "": "y"}) == "As it is."


def test_a_letter_of_another_alphabet_is_no_match() -> None:
    """The dotted capital of Turkish is not the letter i, whatever a pattern says."""
    assert fix_terms("\u0130 i", {"i": "I"}) == "\u0130 I"


def test_spoken_words_that_make_one_term_become_one_word_with_their_time() -> None:
    """Punctuation stays, words of no term stay as they are, and no letter is lost."""
    terms = terms_of({"gutter perches": "gutta-percha", "m t a": "MTA", "sealer": "sealer"})
    texts = ["Warm", "gutter", "perches,", "M", "T", "A", "(SEALER)", "gutter."]
    words = [TimedWord(text, 100 * n, 100 * n + 90) for n, text in enumerate(texts)]
    assert fix_timed(words, terms) == (
        TimedWord("Warm", 0, 90),
        TimedWord("gutta-percha,", 100, 290),
        TimedWord("MTA", 300, 590),
        TimedWord("(sealer)", 600, 690),
        TimedWord("gutter.", 700, 790),
    )
    assert fix_timed(words, {}) == tuple(words)
