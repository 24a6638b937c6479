"""Unsure sentences laid anew: what is taken over, and what keeps them as they were."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from annotate.speech.board import Board, Placed
from annotate.speech.gaps import Surroundings
from annotate.speech.heard import HeardWord
from annotate.speech.mask import SpeechMask
from annotate.speech.refine import refine
from annotate.speech.sound import RATE_HZ, ArraySound, Pcm, frame_levels

WORDS = ("dry", "it", "well", "now", "fill", "it")
#: Where the words are truly said, seconds.
TRUE_S = (1.0, 1.4, 1.7, 3.0, 3.4, 3.8)
LASTS_S = 0.3
HOW: dict[str, Placed] = {"m": "matched", "e": "estimated", "f": "forced", "-": "none"}


class FakeEar:
    """Forces words to where they are truly said; remembers what it was asked for."""

    def __init__(self, late_s: float = 0.0, finds: bool = True) -> None:
        self.late_s = late_s
        self.finds = finds
        self.asked: list[tuple[float, tuple[str, ...]]] = []

    def hear_only(self, samples: Pcm, sentences: list[tuple[str, ...]]) -> list[HeardWord]:
        """Not asked here."""
        raise AssertionError

    def fit(self, samples: Pcm, words: tuple[str, ...]) -> float | None:
        """Not asked here."""
        raise AssertionError

    def force(
        self, samples: Pcm, words: Sequence[str], patient: bool = False
    ) -> list[HeardWord] | None:
        """The words at their true places; the first sample tells where the sound begins."""
        start_s = float(samples[0]) / 100
        self.asked.append((len(samples) / RATE_HZ, tuple(words)))
        first = 0 if words[0] == "dry" else 3
        places = [t + self.late_s - start_s for t in TRUE_S[first : first + len(words)]]
        heard = [HeardWord(word, at, at + LASTS_S) for word, at in zip(words, places, strict=True)]
        return heard if self.finds else None


def take(ear: FakeEar) -> Surroundings:
    """Six seconds whose samples count hundredths of a second, so that a part tells where it lies."""
    pcm = (np.arange(6 * RATE_HZ) * 100 // RATE_HZ).astype(np.int16)
    levels = frame_levels(ArraySound(pcm))
    return Surroundings(ArraySound(pcm), SpeechMask(ArraySound(pcm), levels), levels, ear)


def board(placed: str, off_s: Sequence[float]) -> Board:
    """Both sentences on the board, a letter of ``HOW`` for each word, each off by so much."""
    out = Board(WORDS, [4] * 6, [0, 0, 0, 1, 1, 1], 6.0, frozenset(WORDS))
    for k, (letter, off) in enumerate(zip(placed, off_s, strict=True)):
        if HOW[letter] != "none":
            out.put(k, TRUE_S[k] + off, TRUE_S[k] + off + LASTS_S, HOW[letter])
    return out


def test_a_sentence_with_an_unsure_word_gets_the_times_of_the_whole() -> None:
    """The spread word comes to its place and is called forced; words heard there stay matched."""
    unsure = board("mmemmm", [0, 0.02, 0.3, 0, 0, 0])

    refine(unsure, take(FakeEar()))

    assert unsure.start_s == pytest.approx(TRUE_S, abs=0.011)
    assert unsure.placed == ["matched", "matched", "forced", "matched", "matched", "matched"]


def test_sure_sentences_and_those_with_a_lacking_word_are_left_alone() -> None:
    """Nothing is asked about a sentence all heard, nor about one that was not said as a whole."""
    ear = FakeEar()
    refine(board("mmmm-f", [0.02] * 6), take(ear))

    assert ear.asked == []


def test_unsure_neighbours_are_laid_together() -> None:
    """Two unsure sentences side by side are one piece, so that the pause between them is found."""
    ear = FakeEar()
    unsure = board("ffffff", [0, 0, 0.4, -0.8, 0, 0])

    refine(unsure, take(ear))

    assert [words for _, words in ear.asked] == [WORDS]
    assert unsure.start_s == pytest.approx(TRUE_S, abs=0.011)


@pytest.mark.parametrize("ear", [FakeEar(late_s=0.5), FakeEar(finds=False)])
def test_what_contradicts_the_words_heard_changes_nothing(ear: FakeEar) -> None:
    """Where heard words would move by half a second, or no way leads through, all stays."""
    unsure = board("mmemmm", [0, 0, 0.2, 0, 0, 0])
    before = unsure.start_s.copy()

    refine(unsure, take(ear))

    assert len(ear.asked) >= 1
    assert np.array_equal(unsure.start_s, before)
    assert unsure.placed[2] == "estimated"
