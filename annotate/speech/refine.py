"""Sentences with an unsure word laid anew as a whole, between neighbours that are sure.

Words beside something misheard get its error: their borders were found together with words that
were not said. Where all of a sentence is on the board, its words are forced once more over the
whole of its sound; what was heard clearly before must come out where it was, else nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np

from annotate.speech.board import Board
from annotate.speech.gaps import Ear, Surroundings
from annotate.speech.heard import HeardWord, shifted
from annotate.speech.mask import total_s
from annotate.speech.sound import between

#: Sentences side by side are laid together up to this length.
_LONGEST_S = 25.0
#: Sound given on both sides; with off-script speech beside the sentence, this much at most.
_ROOM_S, _CLOSE_S = 0.05, 0.25
#: More speech than this between a sentence and its neighbour belongs to neither.
_OFF_SCRIPT_S = 0.3
#: Heard words must come out so near to where they were: half of them, and every one.
_HALF_S, _EVERY_S = 0.06, 0.4
#: No word takes longer than this a phone, and this on top (a pause it swallowed is cut later).
_PHONE_S, _WORD_S = 0.3, 1.0

Words = tuple[int, int]


def refine(board: Board, take: Surroundings) -> None:
    """Lay every sentence that has an unsure word anew, alone or with unsure neighbours."""
    ear = take.ear
    if ear is None:
        return
    for group in _groups(board):
        if len(group) > 1 and _laid(board, (group[0][0], group[-1][1]), take, ear):
            continue
        for sentence in group:
            _laid(board, sentence, take, ear)


def _groups(board: Board) -> list[list[Words]]:
    """Unsure sentences, side by side ones together."""
    out: list[list[Words]] = []
    first = 0
    for _, words in groupby(board.sentence):
        stop = first + len(list(words))
        if _unsure(board, first, stop):
            joins = bool(out) and out[-1][-1][1] == first
            if joins and board.end_s[stop - 1] - board.start_s[out[-1][0][0]] <= _LONGEST_S:
                out[-1].append((first, stop))
            else:
                out.append([(first, stop)])
        first = stop
    return out


def _unsure(board: Board, first: int, stop: int) -> bool:
    ways = set(board.placed[first:stop])
    return ways != {"matched"} and "none" not in ways


def _laid(board: Board, words: Words, take: Surroundings, ear: Ear) -> bool:
    """Whether the words could be laid anew, in agreement with what was heard."""
    first, stop = words
    said = board.words[first:stop]
    if not board.speakable.issuperset(said):
        return False
    start_s, end_s = _room(board, words, take)
    if end_s - start_s > _LONGEST_S + 2:
        return False
    laid = ear.force(between(take.sound, start_s, end_s), said, patient=True)
    if laid is None:
        return False
    laid = shifted(laid, start_s)
    if not _agrees(board, words, laid):
        return False
    for word, found in enumerate(laid, first):
        how = board.placed[word]
        moved = abs(found.start_s - board.start_s[word])
        sure = how.startswith("matched") and moved <= _HALF_S
        board.put(word, found.start_s, found.end_s, how if sure else "forced")
    return True


def _room(board: Board, words: Words, take: Surroundings) -> tuple[float, float]:
    """From the neighbour before to the neighbour after, without speech that belongs to neither."""
    first, stop = words
    placed = ~np.isnan(board.start_s)
    before = np.flatnonzero(placed[:first])
    after = np.flatnonzero(placed[stop:])
    low = float(board.end_s[before[-1]]) if len(before) else 0.0
    high = float(board.start_s[stop + after[0]]) if len(after) else board.length_s
    start, end = float(board.start_s[first]), float(board.end_s[stop - 1])
    if total_s(take.mask.between(low, start)) > _OFF_SCRIPT_S:
        low = max(low, start - _CLOSE_S)
    if total_s(take.mask.between(end, high)) > _OFF_SCRIPT_S:
        high = min(high, end + _CLOSE_S)
    return max(0.0, low - _ROOM_S), min(board.length_s, high + _ROOM_S)


def _agrees(board: Board, words: Words, laid: Sequence[HeardWord]) -> bool:
    """Whether words heard before come out where they were, and none is drawn out."""
    first = words[0]
    lengths = np.array([word.end_s - word.start_s for word in laid])
    if (lengths > _PHONE_S * board.phones[first : words[1]] + _WORD_S).any():
        return False
    moved = [
        abs(word.start_s - board.start_s[k])
        for k, word in enumerate(laid, first)
        if board.placed[k] == "matched"
    ]
    return not moved or (float(np.median(moved)) <= _HALF_S and max(moved) <= _EVERY_S)
