"""Which heard word is which written one."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from annotate.speech import match as matching
from annotate.speech.match import Run, match

_WORDS = st.lists(st.sampled_from("abcde"), max_size=14)


def test_words_left_out_and_added_part_the_runs() -> None:
    """A skipped sentence and a slip leave the rest matched."""
    heard = ["now", "the", "um", "canal", "is", "dry", "we", "fill", "it"]
    script = [
        "now",
        "the",
        "canal",
        "is",
        "dry",
        "rinse",
        "it",
        "well",
        "again",
        "we",
        "fill",
        "it",
    ]
    assert match(heard, script) == [Run(0, 0, 2), Run(3, 2, 3), Run(6, 9, 3)]


def test_a_lone_word_comes_home_to_its_sentence() -> None:
    """``the`` before a skipped sentence that ends in ``the`` belongs to what follows it."""
    script = ["see", "the", "one", "here", "and", "the", "canal", "is", "dry"]
    heard = ["see", "the", "canal", "is", "dry"]
    assert match(heard, script)[-1] == Run(1, 5, 4)


@given(_WORDS, _WORDS)
def test_runs_are_equal_words_in_order(heard: list[str], script: list[str]) -> None:
    """No word is used twice and both sides only go forward."""
    i = j = 0
    for run in match(heard, script):
        assert run.heard >= i and run.script >= j and run.length >= 1
        i, j = run.heard + run.length, run.script + run.length
        assert heard[run.heard : i] == script[run.script : j]


@given(_WORDS, _WORDS)
def test_the_halving_is_as_good_as_the_whole_table(heard: list[str], script: list[str]) -> None:
    """Hirschberg's way finds an alignment of the same score as the plain one."""
    number = {word: n for n, word in enumerate("abcde")}
    a = np.array([number[w] for w in script], np.int32)
    b = np.array([number[w] for w in heard], np.int32)
    if not len(a) or not len(b):
        return
    whole = matching._small(a, b)
    cells, matching._CELLS = matching._CELLS, 8
    try:
        halved = matching._align(a, b)
    finally:
        matching._CELLS = cells
    assert _worth(whole, a, b) == _worth(halved, a, b)


def _worth(pairs: list[tuple[int, int]], a: np.ndarray, b: np.ndarray) -> int:
    equal = sum(int(a[i] == b[j]) for i, j in pairs)
    return 2 * equal - 2 * (len(pairs) - equal) - (len(a) + len(b) - 2 * len(pairs))


def test_an_hour_of_speech_is_matched_in_flat_memory() -> None:
    """9000 words with every tenth left out: all others are found."""
    rng = np.random.default_rng(1)
    script = [f"w{n}" for n in rng.integers(0, 700, 9000)]
    heard = [word for n, word in enumerate(script) if n % 10]
    assert sum(run.length for run in match(heard, script)) >= 8090
