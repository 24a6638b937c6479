"""What an alignment says: every written word with its place, what was left out, what was added."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from annotate.captions.cues import TimedWord
from annotate.speech.board import ORDER, Board, Placed
from annotate.speech.mask import Span, SpeechMask, bridged
from annotate.speech.spoken import Script

#: A sentence is not spoken when this share of its phones has no place.
_UNSPOKEN = 0.5
#: Words in a row without a place are named where the rest of their sentence was spoken.
_WORDS_LACK = 3
#: Speech outside every word that lasts so long is named; pauses up to the second are bridged.
_UNSCRIPTED_S, _BRIDGED_S = 0.5, 0.8
#: What a word's border may be off before its neighbour's sound counts as unscripted.
_COLLAR_S = 0.12


@dataclass(frozen=True, slots=True)
class PlacedWord:
    """A word as written, punctuation included, and when it is spoken in the take.

    ``placed`` "none" is a word for which there is no speech; it has no length. ``sentence`` counts
    from 0.
    """

    text: str
    start_ms: int
    end_ms: int
    placed: Placed
    sentence: int


@dataclass(frozen=True, slots=True)
class NotSpoken:
    """A sentence of the script (its number from 0) that the take lacks, and where it was due.

    ``whole`` False: only the words in ``text`` are lacking.
    """

    sentence: int
    text: str
    at_ms: int
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Alignment:
    """Every word of the script with its place, what was left out, what was added.

    ``unscripted`` are spans in ms in which something is said that no script holds. ``notes`` are
    sentences for the user.
    """

    words: tuple[PlacedWord, ...]
    not_spoken: tuple[NotSpoken, ...]
    unscripted: tuple[tuple[int, int], ...]
    notes: tuple[str, ...] = ()

    def timed_words(self, from_ms: int = 0) -> tuple[TimedWord, ...]:
        """What captions show, later by ``from_ms``: every word but those named as not spoken."""
        left_out = {lack.sentence for lack in self.not_spoken if lack.whole}
        return tuple(
            TimedWord(word.text, from_ms + word.start_ms, from_ms + word.end_ms)
            for word in self.words
            if word.sentence not in left_out
        )

    def count(self, how: Placed) -> int:
        """How many words were placed so."""
        return sum(word.placed == how for word in self.words)


def told(
    board: Board,
    script: Script,
    tokens: Sequence[tuple[int, int]],
    mask: SpeechMask,
    notes: tuple[str, ...],
) -> Alignment:
    """The board as an alignment; ``tokens`` gives each token its words on the board."""
    words = _written(board, script, tokens)
    return Alignment(
        words, _not_spoken(words, script, tokens, board), _unscripted(board, mask), notes
    )


def _written(
    board: Board, script: Script, tokens: Sequence[tuple[int, int]]
) -> tuple[PlacedWord, ...]:
    """A written word spans its first to its last spoken word and is as sure as the least sure."""
    out: list[PlacedWord] = []
    at = 0.0
    for token, (first, stop) in zip(script.tokens, tokens, strict=True):
        known = [k for k in range(first, stop) if board.placed[k] != "none"]
        how: Placed = "none"
        start = at
        if known:
            start = max(at, float(board.start_s[known[0]]))
            at = max(start, float(board.end_s[known[-1]]))
            how = max((board.placed[k] for k in known), key=ORDER.index)
        elif first == stop and out:
            how = out[-1].placed  # a dash goes with the word before it
        out.append(
            PlacedWord(token.text, round(1000 * start), round(1000 * at), how, token.sentence)
        )
    return tuple(out)


def _not_spoken(
    words: Sequence[PlacedWord],
    script: Script,
    tokens: Sequence[tuple[int, int]],
    board: Board,
) -> tuple[NotSpoken, ...]:
    """Sentences mostly without a place, and runs of words without one in the others."""
    weight = [float(board.phones[first:stop].sum()) for first, stop in tokens]
    members: dict[int, list[int]] = {}
    for index, word in enumerate(words):
        members.setdefault(word.sentence, []).append(index)
    out: list[NotSpoken] = []
    for number, inside in members.items():
        lacks = [index for index in inside if words[index].placed == "none"]
        total = sum(weight[index] for index in inside)
        if total and sum(weight[index] for index in lacks) >= _UNSPOKEN * total:
            out.append(NotSpoken(number, script.sentences[number], words[inside[0]].start_ms))
            continue
        for run in _runs(lacks):
            if len(run) >= _WORDS_LACK:
                text = " ".join(words[index].text for index in run)
                out.append(NotSpoken(number, text, words[run[0]].start_ms, whole=False))
    return tuple(out)


def _runs(indices: Sequence[int]) -> list[list[int]]:
    out: list[list[int]] = []
    for index in indices:
        if out and index == out[-1][-1] + 1:
            out[-1].append(index)
        else:
            out.append([index])
    return out


def _unscripted(board: Board, mask: SpeechMask) -> tuple[tuple[int, int], ...]:
    """Speech in gaps that no word was placed over, in ms."""
    out: list[Span] = []
    for gap in board.gaps():
        if gap.length_s >= _UNSCRIPTED_S + 2 * _COLLAR_S:
            speech = mask.between(gap.start_s + _COLLAR_S, gap.end_s - _COLLAR_S)
            out += [(a, b) for a, b in bridged(speech, _BRIDGED_S) if b - a >= _UNSCRIPTED_S]
    return tuple((round(1000 * a), round(1000 * b)) for a, b in out)
