"""The language model made of a script."""

from __future__ import annotations

import itertools
import math
import re

import pytest

from annotate.speech.ngram import END, START, Trigrams

SENTENCES = [("dry", "the", "canal"), ("fill", "the", "canal", "now"), ("dry", "it")]


def test_chances_after_any_history_sum_to_one() -> None:
    """The model is a distribution: seen and unseen histories alike."""
    model = Trigrams(SENTENCES)
    words = sorted({word for sentence in SENTENCES for word in sentence} | {END})
    for history in itertools.product([*words, START], repeat=2):
        if START in history[1:] and history[0] != START:
            continue
        total = sum(model.chance((*history, word)) for word in words)
        assert total == pytest.approx(1, abs=1e-6), history


def test_what_the_script_says_is_likelier_than_what_it_does_not() -> None:
    """The word that follows in the script leads."""
    model = Trigrams(SENTENCES)
    words = {word for sentence in SENTENCES for word in sentence}
    assert max(words, key=lambda w: model.chance(("dry", "the", w))) == "canal"
    assert model.chance((START, "dry")) > model.chance((START, "canal"))
    assert model.chance(("unknown",)) == 0


def test_the_file_says_what_the_model_says() -> None:
    """Counts in the head agree with the sections, logarithms with the chances."""
    model = Trigrams(SENTENCES)
    text = model.arpa()
    for length in (1, 2, 3):
        section = text.split(f"\\{length}-grams:\n")[1].split("\n\n")[0].splitlines()
        assert f"ngram {length}={len(section)}" in text
        for line in section:
            log, gram, *_ = line.split("\t")
            expected = model.chance(tuple(gram.split()))
            assert float(log) == pytest.approx(math.log10(expected) if expected else -99, abs=1e-4)
    assert re.search(r"\\end\\\n$", text)


def test_a_script_without_words_has_no_model() -> None:
    """It is an error of the caller, told as such."""
    with pytest.raises(ValueError, match="at least one word"):
        Trigrams([(), ()])
