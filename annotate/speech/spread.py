"""Words over speech without listening: by their length, sentences moved to pauses.

For languages without a recogniser, and for what no recogniser could place.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annotate.speech.board import Board
from annotate.speech.mask import Span

Floats = NDArray[np.float64]

#: How far, in seconds of speech, a sentence may begin from where its share says.
_DRIFT_S = 20.0
#: A sentence may well be this share longer or shorter than its letters say; the worth of a second
#: of pause before a sentence, up to the longest that counts.
_LOOSE, _PAUSE_WORTH, _LONGEST_PAUSE_S = 0.25, 2.0, 1.0


def lay_over(board: Board, first: int, stop: int, speech: Sequence[Span]) -> None:
    """Words ``first`` to ``stop`` spread over spans of speech, in proportion to their phones."""
    share = np.concatenate(([0.0], np.cumsum(board.phones[first:stop])))
    if not speech or share[-1] <= 0:
        return
    marks = _marks(speech)
    along = share / share[-1] * marks[-1]
    for k in range(stop - first):
        start = _time_of(along[k], speech, marks, 1e-9)
        end = _time_of(along[k + 1], speech, marks, -1e-9)
        board.put(first + k, start, max(start, end), "estimated")


def _marks(speech: Sequence[Span]) -> Floats:
    """How much speech there was before each span, and at the end."""
    return np.concatenate(([0.0], np.cumsum([b - a for a, b in speech])))


def _time_of(along: float, speech: Sequence[Span], marks: Floats, nudge: float) -> float:
    """The time at which so much speech has passed: after a pause with a nudge on, else before."""
    index = int(np.searchsorted(marks, along + nudge, "right")) - 1
    index = min(max(index, 0), len(speech) - 1)
    return min(speech[index][1], float(speech[index][0] + along - marks[index]))


def lay_sentences(board: Board, speech: Sequence[Span]) -> None:
    """All words of the board over all speech, each sentence from one pause to another.

    The pauses are chosen so that the sentences' lengths agree best with their letters and the
    pauses between them are long (dynamic programming). With fewer spans of speech than sentences
    the words are spread by their lengths alone.
    """
    edges = [0, *(k for k in range(1, len(board.words)) if _begins(board, k)), len(board.words)]
    weights = np.array([board.phones[a:b].sum() for a, b in itertools.pairwise(edges)])
    if len(board.words) == 0 or len(speech) < len(weights):
        lay_over(board, 0, len(board.words), speech)
        return
    cuts = _cuts(speech, weights)
    if len(cuts) != len(edges):
        lay_over(board, 0, len(board.words), speech)
        return
    for number in range(len(weights)):
        pieces = speech[cuts[number] : cuts[number + 1]]
        lay_over(board, edges[number], edges[number + 1], pieces)


def _begins(board: Board, word: int) -> bool:
    return board.sentence[word] != board.sentence[word - 1]


def _cuts(speech: Sequence[Span], weights: Floats) -> list[int]:
    """For every sentence the span it begins with, and the number of spans; empty without a way."""
    marks = _marks(speech)
    expected = weights / weights.sum() * marks[-1]
    due = np.concatenate(([0.0], np.cumsum(expected)))
    pauses = np.array([0.0, *(b[0] - a[1] for a, b in itertools.pairwise(speech)), 0.0])
    worth = _PAUSE_WORTH * np.minimum(pauses, _LONGEST_PAUSE_S)
    best = np.full(len(marks), np.inf)
    best[0] = 0.0
    ways = np.zeros((len(weights), len(marks)), np.int32)
    for number, length in enumerate(expected):
        following = np.full(len(marks), np.inf)
        for cut in _near(marks, due[number + 1], number + 1, len(weights)):
            lengths = marks[cut] - marks[:cut]
            costs = best[:cut] + ((lengths - length) / (_LOOSE * length + 0.2)) ** 2 - worth[cut]
            ways[number, cut] = int(np.argmin(costs))
            following[cut] = costs[ways[number, cut]]
        best = following
    if not np.isfinite(best[-1]):
        return []
    cuts = [len(marks) - 1]
    for number in range(len(weights) - 1, -1, -1):
        cuts.append(int(ways[number, cuts[-1]]))
    return cuts[::-1]


def _near(marks: Floats, due_s: float, least: int, sentences: int) -> range:
    """Cuts that a sentence may end at: near where it is due, with spans left for the others."""
    last = len(marks) - 1
    if least == sentences:
        return range(last, last + 1)
    low = max(least, int(np.searchsorted(marks, due_s - _DRIFT_S)))
    high = min(last - (sentences - least), int(np.searchsorted(marks, due_s + _DRIFT_S)))
    return range(min(low, last - (sentences - least)), max(low, high) + 1)
