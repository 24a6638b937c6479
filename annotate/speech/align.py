"""Anchored alignment: when each written word of a script is spoken in a take.

1. Speech is found and cut at pauses into stretches of at most 25 s.
2. Each is heard with a trigram language model made of the script.
3. Heard and written words are matched; runs long enough are anchors, with the recogniser's times.
4. The gaps between anchors are heard again, forced, spread, or named as not spoken.
5. Borders that swallowed a pause are moved to the sound.

Every word says how it was placed. Memory does not grow with the sound, only with the words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray

from annotate.speech.alignment import Alignment, told
from annotate.speech.board import Board
from annotate.speech.gaps import Surroundings, place
from annotate.speech.heard import HeardWord, Recogniser, shifted
from annotate.speech.lexicon import Lexicon
from annotate.speech.mask import Span, SpeechMask, stretches
from annotate.speech.refine import refine
from annotate.speech.snap import snapped
from annotate.speech.sound import RATE_HZ, ArraySound, Pcm, Sound, between, frame_levels
from annotate.speech.sphinx import ScriptEar, available
from annotate.speech.spoken import Script, is_english, read_script
from annotate.speech.spread import lay_sentences
from annotate.speech.ways import chosen_ways, sentences_for_listening

Hear = Callable[[Pcm], list[HeardWord]]

#: The note of an alignment without recognition.
SENTENCES_ONLY = (
    "no recogniser for this language: the words are spread over the speech, good to the sentence"
)
#: The note of an alignment of which little was heard.
HARD_TO_HEAR = (
    "the take is hard to hear (noise, or another text): word times are rough, and sentences may be "
    "named as not spoken that were"
)
#: Less than this share of the placed words heard makes a take hard to hear.
_HEARD_WELL = 0.75


def align_take(
    take: Sound | Pcm,
    script: str,
    language: str = "en",
    lexicon: Mapping[str, str] | None = None,
    recogniser: Recogniser | None = None,
) -> Alignment:
    """Place every word of ``script`` in a take of 16 kHz mono int16 sound.

    ``lexicon`` has the user's pronunciations and readings. ``recogniser`` hears in the place of the
    one made of the script. Without it, in languages other than English, whole sentences are spread
    over the speech there is and every word is "estimated". Raises WorkError where pocketsphinx is
    needed and absent.
    """
    sound = ArraySound(take) if isinstance(take, np.ndarray) else take
    entries = Lexicon(lexicon)
    text = read_script(script, language, entries.said, entries.is_word)
    levels = frame_levels(sound)
    mask = SpeechMask(sound, levels)
    ear = None
    if is_english(language) and (recogniser is None or available()):
        ear = _ear(text, entries)
    hear = _plug(recogniser, language, entries) if recogniser else ear.hear if ear else None
    ways, heard = [token.ways[0] for token in text.tokens], []
    if hear is not None:
        heard = _heard(sound, hear, stretches(mask.spans, levels))
        ways = chosen_ways(text.tokens, [word.text for word in heard])
    board = _board(text, ways, entries, sound.count / RATE_HZ)
    if hear is None:
        lay_sentences(board, mask.spans)
    else:
        around = Surroundings(sound, mask, levels, ear)
        place(board, heard, around)
        refine(board, around)
    _snap(board, np.asarray(levels < mask.threshold_db))
    tokens = tuple(pairwise([0, *accumulate(map(len, ways))]))
    return told(board, text, tokens, mask, _notes(board, hear is not None))


def _notes(board: Board, listened: bool) -> tuple[str, ...]:
    if not listened:
        return (SENTENCES_ONLY,)
    spoken = [how for how in board.placed if how != "none"]
    heard = sum(how.startswith("matched") for how in spoken)
    return (HARD_TO_HEAR,) if heard < _HEARD_WELL * len(spoken) else ()


def _ear(script: Script, entries: Lexicon) -> ScriptEar | None:
    """An ear for the script, None where it has no word to listen for."""
    sentences = sentences_for_listening(script)
    known = entries.pronounce(word for sentence in sentences for word in sentence)
    speakable = [tuple(word for word in sentence if word in known) for sentence in sentences]
    kept = [sentence for sentence in speakable if sentence]
    return ScriptEar(known, kept) if kept else None


def _heard(sound: Sound, hear: Hear, spans: Sequence[Span]) -> list[HeardWord]:
    return [
        word for start, end in spans for word in shifted(hear(between(sound, start, end)), start)
    ]


def _plug(recogniser: Recogniser, language: str, entries: Lexicon) -> Hear:
    """The recogniser's words as spoken words: its figures and signs read out, its time shared."""

    def hear(samples: Pcm) -> list[HeardWord]:
        out: list[HeardWord] = []
        for word in recogniser.words(samples):
            tokens = read_script(word.text, language, entries.said, entries.is_word).tokens
            spoken = [text for token in tokens for text in token.ways[0]]
            step = (word.end_s - word.start_s) / max(1, len(spoken))
            for number, text in enumerate(spoken):
                start = word.start_s + number * step
                out.append(HeardWord(text, start, start + step, word.confidence))
        return out

    return hear


def _board(
    script: Script, ways: Sequence[Sequence[str]], entries: Lexicon, length_s: float
) -> Board:
    words = [word for way in ways for word in way]
    known = entries.pronounce(words)
    phones = [len(known[word][0]) if word in known else max(1, len(word)) for word in words]
    sentence = [t.sentence for t, way in zip(script.tokens, ways, strict=True) for _ in way]
    return Board(words, phones, sentence, length_s, frozenset(known))


def _snap(board: Board, quiet: NDArray[np.bool_]) -> None:
    for word, how in enumerate(board.placed):
        if how in ("matched", "matched2", "forced"):
            start, end = snapped(float(board.start_s[word]), float(board.end_s[word]), quiet)
            board.put(word, start, end, how)
