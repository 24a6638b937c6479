"""An alignment against the truth: start errors, words lost and found wrongly, sentences named."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annotate.speech.alignment import Alignment
from tests.annotate.speech.narration import Narration


@dataclass(frozen=True)
class Score:
    """Start errors in ms of placed words that were said; the rest are counts and sentences."""

    errors_ms: NDArray[np.float64]
    said: int
    lost: int
    unsaid_placed: int
    skipped: frozenset[str]
    named: frozenset[str]

    @property
    def median_ms(self) -> float:
        """Half of the words start no further off."""
        return float(np.median(np.abs(self.errors_ms)))

    @property
    def p95_ms(self) -> float:
        """95 of 100 words start no further off."""
        return float(np.percentile(np.abs(self.errors_ms), 95))

    @property
    def worst_ms(self) -> float:
        """The word that is furthest off."""
        return float(np.abs(self.errors_ms).max())


def score(alignment: Alignment, narration: Narration) -> Score:
    """Score word by word; words without a true start of their own (units) count as said only."""
    assert [w.text for w in alignment.words] == [w.text for w in narration.words]
    errors, said, lost, wrong = [], 0, 0, 0
    sentences: dict[int, list[str]] = {}
    silent: set[int] = set()
    for placed, true in zip(alignment.words, narration.words, strict=True):
        sentences.setdefault(true.sentence, []).append(true.text)
        if true.start_s is None:
            silent.add(true.sentence)
            wrong += placed.placed != "none"
            continue
        said += 1
        if placed.placed == "none":
            lost += 1
        elif not math.isnan(true.start_s):
            errors.append(placed.start_ms - 1000 * true.start_s)
    return Score(
        np.array(errors),
        said,
        lost,
        wrong,
        frozenset(" ".join(sentences[number]) for number in silent),
        frozenset(lack.text for lack in alignment.not_spoken if lack.whole),
    )
