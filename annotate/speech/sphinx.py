"""pocketsphinx as it is used here: hearing with a script's own language model, and forced alignment.

The only module that imports pocketsphinx, but for its webrtc detector in ``mask``. The shipped
acoustic model and dictionary are American English; with its own language model it gets a third of
the words wrong, so its text is a draft. Nothing is downloaded.
"""

from __future__ import annotations

import importlib.util
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from annotate.speech.heard import HeardWord
from annotate.speech.lexicon import Sounds
from annotate.speech.ngram import Trigrams
from annotate.speech.sound import FRAME_S, RATE_HZ, Pcm
from chapters.errors import WorkError

_GAP, _PHONES = "gap", "phones"
#: The decoder's frames begin every 160 samples and are 410 long (0.025625 s): the border between
#: frames k-1 and k, half-way between their centres, lies this long after 10 ms times k.
_CENTRE_S = (410 - 160) / 2 / RATE_HZ
#: What each further word is worth when words are forced. The decoder gives up where some way through
#: half of the words scores better at the end than the way through all; a bonus mostly cures that.
_WORD_BONUS = (0.65, 100.0)
#: Sound shorter than this has no word in it for the decoder.
_SHORTEST = RATE_HZ // 20


def available() -> bool:
    """Whether pocketsphinx is installed."""
    return importlib.util.find_spec("pocketsphinx") is not None


def _pocketsphinx() -> Any:
    try:
        import pocketsphinx
    except ImportError as error:
        raise WorkError(
            "captions from a script need the package pocketsphinx; pip install 'teachcut[speech]'"
        ) from error
    return pocketsphinx


class ScriptEar:
    """Hears the words of one script. One stretch at a time; not for several threads.

    Words without a pronunciation must not be asked for. Raises WorkError where pocketsphinx is
    absent, ValueError without any word.
    """

    def __init__(
        self, pronunciations: Mapping[str, Sounds], sentences: Iterable[Sequence[str]]
    ) -> None:
        ps = _pocketsphinx()
        self._models = Path(ps.get_model_path()) / "en-us"
        model = Trigrams(sentences).arpa()
        with tempfile.TemporaryDirectory() as folder:
            dictionary = Path(folder) / "words.dict"
            dictionary.write_text(_dictionary(pronunciations), "utf-8", newline="\n")
            language = Path(folder) / "script.arpa"
            language.write_text(model, "utf-8", newline="\n")
            self._decoder = ps.Decoder(
                hmm=str(self._models / "en-us"),
                dict=str(dictionary),
                lm=str(language),
                fwdflat=False,  # a second search: a third slower, the same words
                loglevel="FATAL",
            )
        self._script = self._decoder.current_search()
        self._has_phones = False

    def hear(self, samples: Pcm) -> list[HeardWord]:
        """The words heard, any of the script's in any order."""
        return self._decode(samples)

    def hear_only(self, samples: Pcm, sentences: Iterable[Sequence[str]]) -> list[HeardWord]:
        """The words heard by a language model of ``sentences`` alone."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "gap.arpa"
            path.write_text(Trigrams(sentences).arpa(), "utf-8", newline="\n")
            self._decoder.add_lm_file(_GAP, str(path))
        self._decoder.activate_search(_GAP)
        try:
            return self._decode(samples)
        finally:
            self._decoder.activate_search(self._script)

    def force(
        self, samples: Pcm, words: Sequence[str], patient: bool = False
    ) -> list[HeardWord] | None:
        """Exactly these words laid over the samples, None where no path leads through.

        ``patient`` tries again before it gives up: for words that are known to be there.
        """
        for bonus in _WORD_BONUS if patient else _WORD_BONUS[:1]:
            heard = self._forced(samples, words, bonus)
            if [word.text for word in heard] == list(words):
                return heard
        return None

    def _forced(self, samples: Pcm, words: Sequence[str], bonus: float) -> list[HeardWord]:
        usual = self._decoder.config["wip"]
        try:
            self._decoder.config["wip"] = bonus
            self._decoder.set_align_text(" ".join(words))
            return self._decode(samples)
        except RuntimeError:
            return []
        finally:
            self._decoder.config["wip"] = usual
            self._decoder.activate_search(self._script)

    def fit(self, samples: Pcm, words: Sequence[str]) -> float | None:
        """How well the words explain the samples against any phones at all, None without a path.

        The score of the forced words less that of the best phones in any order, per 10 ms frame, in
        the decoder's own logarithm. Sentences of synthesised speech reach 20 to 35, other sentences
        of the same length find no path in two thirds of all cases and stay below 18 in the rest.
        """
        if not self._has_phones:
            phones = str(self._models / "en-us-phone.lm.bin")
            self._decoder.add_allphone_file(_PHONES, phones)
            self._has_phones = True
        try:
            self._decoder.set_align_text(" ".join(words))
            forced = self._score(samples)
            self._decoder.activate_search(_PHONES)
            free = self._score(samples)
        except RuntimeError:
            return None
        finally:
            self._decoder.activate_search(self._script)
        if forced is None or free is None:
            return None
        return (forced - free) / max(1, len(samples) / (FRAME_S * RATE_HZ))

    def _score(self, samples: Pcm) -> float | None:
        if not self._run(samples):
            return None
        return float(self._decoder.logmath.log(self._decoder.hyp().best_score))

    def _decode(self, samples: Pcm) -> list[HeardWord]:
        return _words(self._decoder) if self._run(samples) else []

    def _run(self, samples: Pcm) -> bool:
        return _run(self._decoder, samples)


def _run(decoder: Any, samples: Pcm) -> bool:
    """Decode; whether there is a result."""
    if len(samples) < _SHORTEST:
        return False
    decoder.start_utt()
    decoder.process_raw(samples.astype("<i2").tobytes(), full_utt=True)
    decoder.end_utt()
    return decoder.hyp() is not None


def _words(decoder: Any) -> list[HeardWord]:
    return [
        HeardWord(
            segment.word.partition("(")[0],
            segment.start_frame * FRAME_S + _CENTRE_S,
            (segment.end_frame + 1) * FRAME_S + _CENTRE_S,
        )
        for segment in decoder.seg()
        if segment.word[0] not in "<[("
    ]


def _dictionary(pronunciations: Mapping[str, Sounds]) -> str:
    lines = []
    for word, ways in pronunciations.items():
        for number, phones in enumerate(ways, 1):
            mark = "" if number == 1 else f"({number})"
            lines.append(f"{word}{mark} {' '.join(phones)}")
    return "\n".join([*lines, ""])


class ShippedRecogniser:
    """The recogniser inside pocketsphinx: good for a draft, never for a caption unread.

    Raises WorkError where pocketsphinx is absent.
    """

    name = "pocketsphinx, shipped model"
    draft = True

    def __init__(self) -> None:
        self._decoder = _pocketsphinx().Decoder(loglevel="FATAL", samprate=float(RATE_HZ))

    def words(self, samples: Pcm) -> list[HeardWord]:
        """The words heard in one stretch of speech of at most half a minute or so."""
        return _words(self._decoder) if _run(self._decoder, samples) else []
