"""What lies between anchors: heard again, laid by force, spread, or found not spoken.

In each gap, in this order: words are listened for again with a language model of the gap alone;
what is left is forced between its neighbours and kept where its pace is a speaker's; else the words
are spread over the speech there is, where that is about the right amount; else they were not spoken.

In a take that is heard well a judge compares what words explain of the sound with what any phones
would: so speech off script in the place of a skipped sentence is not taken for that sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from annotate.speech.board import Board, Gap
from annotate.speech.heard import HeardWord, shifted
from annotate.speech.mask import Span, SpeechMask, bridged, stretches, total_s
from annotate.speech.match import Run, match
from annotate.speech.sound import Pcm, Sound, between
from annotate.speech.spread import lay_over

Floats = NDArray[np.float64]

#: Seconds of speech a phone takes with a slow and a quick speaker, for forced and spread words.
_QUICKEST_S, _SLOWEST_S = 0.03, 0.20
#: Anchors: this many words in a row, or words of this many phones together.
ANCHOR_WORDS, ANCHOR_PHONES = 3, 12
#: Room on both sides of a gap that is listened to again.
_ROOM_S = 0.05
#: Speech at a gap's edge that is shorter is the rest of the word beside it.
_REST_S = 0.15
#: Two words alone are believed so near to the end of their gap.
_NEAR_S = 0.5
#: Longer gaps are not forced in one go.
_LONGEST_FORCED_S = 30.0
#: The least fit of words that were said; see ``ScriptEar.fit``.
_LEAST_FIT = 12.0
#: Where this share of the heard words are anchors, words that do not fit were not spoken.
_CLEAR = 0.8
#: In a quiet room sentences of so many words are doubted of which no larger share was heard, and
#: which fit worse than this.
_HARDLY = 1 / 3
_MILD_WORDS, _MILD_FIT = 6, 5.0
#: Longer anchors are never doubted.
_SHORT_ANCHOR = 5
#: A gap shorter than this is the border between two words.
_BORDER_S = 0.05


class Ear(Protocol):
    """What listens again: see sphinx.ScriptEar."""

    def hear_only(self, samples: Pcm, sentences: list[tuple[str, ...]]) -> list[HeardWord]:
        """Words heard by a language model of the sentences alone."""

    def force(
        self, samples: Pcm, words: tuple[str, ...], patient: bool = False
    ) -> list[HeardWord] | None:
        """The words laid over the samples; ``patient`` where they are surely there."""

    def fit(self, samples: Pcm, words: tuple[str, ...]) -> float | None:
        """How well the words explain the samples against any phones; 0 is as well."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """The take: its sound, speech and levels, and the ear that listens."""

    sound: Sound
    mask: SpeechMask
    levels: NDArray[np.float32]
    ear: Ear | None


def anchors(runs: list[Run], phones: Floats) -> list[Run]:
    """Runs long enough to be no accident."""
    return [
        run
        for run in runs
        if run.length >= ANCHOR_WORDS
        or phones[run.script : run.script + run.length].sum() >= ANCHOR_PHONES
    ]


def place(board: Board, heard: list[HeardWord], take: Surroundings) -> None:
    """Anchors first, then what can be placed between them."""
    found = anchors(match([word.text for word in heard], board.words), board.phones)
    for run in found:
        board.put_run(run, heard, 0, "matched")
    ear = take.ear
    refused: set[int] = set()
    mild: _Judge | None = None
    if ear is not None:
        strict = sum(run.length for run in found) >= _CLEAR * len(heard)
        judge = _Judge(take.sound, ear, _LEAST_FIT, ANCHOR_WORDS) if strict else None
        if judge is not None:
            _doubted(board, found, heard, judge)
        if take.mask.quiet:
            mild = _Judge(take.sound, ear, _MILD_FIT, _MILD_WORDS)
        refused = _listen(board, take, ear, judge)
    for gap in board.gaps():
        if gap.first not in refused:
            _spread(board, gap, take)
    if mild is not None:
        _second_thoughts(board, take.mask, mild)


def _listen(board: Board, take: Surroundings, ear: Ear, judge: _Judge | None) -> set[int]:
    """Place by listening again; the first words of gaps whose sound says that they are others."""
    for least in (ANCHOR_WORDS, 2):
        for gap in board.gaps():
            _hear_again(board, gap, take, ear, judge, least)
    for gap in board.gaps():
        _force_edges(board, gap, take, ear, judge)
    return {gap.first for gap in board.gaps() if not _force(board, gap, take, ear, judge)}


@dataclass(frozen=True, slots=True)
class _Judge:
    """Says whether words explain a piece of sound as well as said words do.

    In noise said words fit badly too, so it is asked about takes that are heard well and, mildly,
    about quiet ones.
    """

    sound: Sound
    ear: Ear
    least_fit: float
    least_words: int

    def accepts(self, words: tuple[str, ...], start_s: float, end_s: float) -> bool:
        """Whether the words may have been said between the times."""
        samples = between(self.sound, start_s - _ROOM_S, end_s + _ROOM_S)
        fit = self.ear.fit(samples, words)
        return fit is not None and fit >= self.least_fit

    def refuses(self, words: tuple[str, ...], start_s: float, end_s: float) -> bool:
        """Whether there are enough words to tell, and they do not fit."""
        return len(words) >= self.least_words and not self.accepts(words, start_s, end_s)


def _doubted(board: Board, found: list[Run], heard: list[HeardWord], judge: _Judge) -> None:
    """Take short anchors off again that stand alone and do not fit the sound.

    What is said off script is heard as words of the script, by chance as three in a row.
    """
    for run in found:
        first, stop = run.script, run.script + run.length
        alone = _open(board, first - 1) and _open(board, stop)
        if run.length > _SHORT_ANCHOR or not alone:
            continue
        start_s, end_s = heard[run.heard].start_s, heard[run.heard + run.length - 1].end_s
        if not judge.accepts(board.words[first:stop], start_s, end_s):
            board.clear(first, stop)


def _second_thoughts(board: Board, mask: SpeechMask, judge: _Judge) -> None:
    """Take sentences off again of which next to nothing was heard and which do not fit the sound."""
    for number in dict.fromkeys(board.sentence):
        words = [k for k, sentence in enumerate(board.sentence) if sentence == number]
        placed = [k for k in words if board.placed[k] != "none"]
        heard = [k for k in placed if board.placed[k].startswith("matched")]
        if not placed or len(heard) > _HARDLY * len(words):
            continue
        said = board.words[placed[0] : placed[-1] + 1]
        times = float(board.start_s[placed[0]]), float(board.end_s[placed[-1]])
        if not board.speakable.issuperset(said) or not mask.quiet_around(*times):
            continue
        if judge.refuses(said, *times):
            board.clear(words[0], words[-1] + 1)


def _open(board: Board, word: int) -> bool:
    """Whether the word beside an anchor has no place; there is none beyond the script's ends."""
    return not 0 <= word < len(board.words) or board.placed[word] == "none"


def _speech(gap: Gap, take: Surroundings) -> list[Span]:
    """The gap's speech without what the neighbours' own sound leaves at its edges."""
    pieces = take.mask.between(gap.start_s, gap.end_s)
    if len(pieces) > 1 and pieces[0][0] <= gap.start_s and pieces[0][1] - pieces[0][0] < _REST_S:
        pieces = pieces[1:]
    if len(pieces) > 1 and pieces[-1][1] >= gap.end_s and pieces[-1][1] - pieces[-1][0] < _REST_S:
        pieces = pieces[:-1]
    return pieces


def _hear_again(
    board: Board, gap: Gap, take: Surroundings, ear: Ear, judge: _Judge | None, least: int
) -> None:
    if gap.stop - gap.first < least or gap.length_s < _BORDER_S:
        return
    speech = _speech(gap, take)
    if total_s(speech) < _QUICKEST_S * least:
        return
    sentences = board.sentences(gap.first, gap.stop)
    if not sentences:
        return
    heard: list[HeardWord] = []
    for start, end in stretches(speech, take.levels):
        first, last = max(gap.start_s - _ROOM_S, start), min(gap.end_s + _ROOM_S, end)
        heard += shifted(ear.hear_only(between(take.sound, first, last), sentences), first)
    words = board.words[gap.first : gap.stop]
    phones = board.phones[gap.first : gap.stop]
    for run in match([h.text for h in heard], words):
        said = words[run.script : run.script + run.length]
        if run.length < least or not _paced(run, heard, phones):
            continue
        if run.length < ANCHOR_WORDS and not (
            _beside(run, heard, gap, speech) or (judge is None and _about_right(speech, board, gap))
        ):
            continue
        start_s, end_s = heard[run.heard].start_s, heard[run.heard + run.length - 1].end_s
        if judge is None or judge.accepts(said, start_s, end_s):
            board.put_run(run, heard, gap.first, "matched2")


def _beside(run: Run, heard: list[HeardWord], gap: Gap, speech: list[Span]) -> bool:
    """Whether a run touches an end of the gap, in the script and in time."""
    last = heard[run.heard + run.length - 1].end_s
    return (run.script == 0 and heard[run.heard].start_s - speech[0][0] < _NEAR_S) or (
        run.script + run.length == gap.stop - gap.first and speech[-1][1] - last < _NEAR_S
    )


def _paced(run: Run, heard: list[HeardWord], phones: Floats) -> bool:
    """Whether the run was said at a speaker's pace."""
    length = sum(h.end_s - h.start_s for h in heard[run.heard : run.heard + run.length])
    count = float(phones[run.script : run.script + run.length].sum())
    return _QUICKEST_S * count <= length <= 1.5 * _SLOWEST_S * count + 0.3


def _force(board: Board, gap: Gap, take: Surroundings, ear: Ear, judge: _Judge | None) -> bool:
    """Lay the words of a gap over its speech; False where the sound says that they are others."""
    if gap.stop == gap.first or not _BORDER_S <= gap.length_s <= _LONGEST_FORCED_S:
        return True
    speech = _speech(gap, take)
    words = board.words[gap.first : gap.stop]
    if not _about_right(speech, board, gap) or not board.speakable.issuperset(words):
        return True
    if judge is not None and judge.refuses(words, speech[0][0], speech[-1][1]):
        return False
    _lay(board, gap, speech, take, ear)
    return True


def _lay(board: Board, gap: Gap, speech: list[Span], take: Surroundings, ear: Ear) -> None:
    """Force the words of a gap onto its speech, where a path leads through at a speaker's pace."""
    first, last = max(0.0, speech[0][0] - _ROOM_S), speech[-1][1] + _ROOM_S
    words = board.words[gap.first : gap.stop]
    laid = ear.force(between(take.sound, first, last), words)
    run = Run(0, 0, len(words))
    if laid is not None and _paced(run, laid, board.phones[gap.first : gap.stop]):
        board.put_run(run, shifted(laid, first), gap.first, "forced")


def _force_edges(
    board: Board, gap: Gap, take: Surroundings, ear: Ear, judge: _Judge | None
) -> None:
    """The rest of the sentence before a gap, the beginning of the one after it, at its edges.

    So the last words before something off script are not lost with it.
    """
    speech = _speech(gap, take) if gap.stop - gap.first and gap.length_s > _NEAR_S else []
    if not speech or _about_right(speech, board, gap):
        return
    pieces = bridged(speech, _NEAR_S / 2)
    tail, head = gap.first, gap.stop
    while 0 < tail < gap.stop and board.sentence[tail] == board.sentence[gap.first - 1]:
        tail += 1
    while tail < head < len(board.words) and board.sentence[head - 1] == board.sentence[gap.stop]:
        head -= 1
    for part, piece in (
        (Gap(gap.first, tail, gap.start_s, pieces[0][1]), pieces[0]),
        (Gap(head, gap.stop, pieces[-1][0], gap.end_s), pieces[-1]),
    ):
        words = board.words[part.first : part.stop]
        near = piece[0] - gap.start_s < _NEAR_S if part.first < head else True
        if not words or not near or not _about_right([piece], board, part):
            continue
        if board.speakable.issuperset(words) and (judge is None or judge.accepts(words, *piece)):
            _lay(board, part, [piece], take, ear)


def _about_right(speech: list[Span], board: Board, gap: Gap) -> bool:
    count = float(board.phones[gap.first : gap.stop].sum())
    return _QUICKEST_S * count <= total_s(speech) <= _SLOWEST_S * count + 0.1


def _spread(board: Board, gap: Gap, take: Surroundings) -> None:
    """Lay the words of a gap over its speech, each as long as its phones ask."""
    if gap.stop == gap.first:
        return
    speech = _speech(gap, take)
    if not _about_right(speech, board, gap):
        return
    lay_over(board, gap.first, gap.stop, speech)
