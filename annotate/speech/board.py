"""Where each spoken word of a script has been placed so far, and the gaps between placed words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, get_args

import numpy as np

from annotate.speech.heard import HeardWord
from annotate.speech.match import Run

#: How a word was placed, best first: heard where the whole script was listened for; heard where only
#: the words of a gap were; laid between its neighbours by force; spread over the speech there is;
#: not at all, because there is no speech for it.
Placed = Literal["matched", "matched2", "forced", "estimated", "none"]
ORDER: tuple[Placed, ...] = get_args(Placed)


@dataclass(frozen=True, slots=True)
class Gap:
    """Unplaced words ``first`` to ``stop`` of the script, between two times in seconds."""

    first: int
    stop: int
    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Seconds between the placed words around it."""
        return self.end_s - self.start_s


class Board:
    """The spoken words of a script and their places; times are nan until placed.

    ``phones`` is how many phones each word has; ``sentence`` the sentence each stands in;
    ``speakable`` the words that have a pronunciation.
    """

    def __init__(
        self,
        words: Sequence[str],
        phones: Sequence[int],
        sentence: Sequence[int],
        length_s: float,
        speakable: frozenset[str],
    ) -> None:
        self.words = tuple(words)
        self.phones = np.array(phones, float)
        self.sentence = tuple(sentence)
        self.length_s = length_s
        self.speakable = speakable
        self.start_s = np.full(len(words), np.nan)
        self.end_s = np.full(len(words), np.nan)
        self.placed: list[Placed] = ["none"] * len(words)

    def put(self, word: int, start_s: float, end_s: float, how: Placed) -> None:
        """Place one word."""
        self.start_s[word], self.end_s[word] = start_s, end_s
        self.placed[word] = how

    def put_run(self, run: Run, heard: Sequence[HeardWord], offset: int, how: Placed) -> None:
        """Place the words of a run; ``offset`` is where its script words begin on the board."""
        for k in range(run.length):
            word = heard[run.heard + k]
            self.put(offset + run.script + k, word.start_s, word.end_s, how)

    def clear(self, first: int, stop: int) -> None:
        """Take words off the board."""
        self.start_s[first:stop] = self.end_s[first:stop] = np.nan
        self.placed[first:stop] = ["none"] * (stop - first)

    def gaps(self) -> list[Gap]:
        """Every gap, those without any script word between placed neighbours included."""
        known = [int(k) for k in np.flatnonzero(~np.isnan(self.start_s))]
        edges = [-1, *known, len(self.words)]
        out = []
        for a, b in pairwise(edges):
            start = float(self.end_s[a]) if a >= 0 else 0.0
            end = float(self.start_s[b]) if b < len(self.words) else self.length_s
            out.append(Gap(a + 1, b, start, max(start, end)))
        return out

    def sentences(self, first: int, stop: int) -> list[tuple[str, ...]]:
        """The words of a range that have a pronunciation, sentence by sentence, none empty."""
        out: list[list[str]] = []
        last = -1
        for word in range(first, stop):
            if self.words[word] not in self.speakable:
                continue
            if self.sentence[word] != last:
                out.append([])
                last = self.sentence[word]
            out[-1].append(self.words[word])
        return [tuple(sentence) for sentence in out]
