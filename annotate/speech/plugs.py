"""Recognisers from a local folder that the user points at: sherpa-onnx, faster-whisper.

The kind is found from what the folder holds, never from its name. Nothing is ever downloaded: what
is no folder is refused, and the libraries are told to stay offline.

- ``tokens.txt`` and ``*.onnx``: sherpa-onnx. Three networks (encoder, decoder, joiner) are a
  transducer, encoder and decoder a Whisper export, one alone a CTC model, NeMo's unless the file's
  name says another family that the library knows.
- ``model.bin``, ``config.json`` and ``tokenizer.json``: faster-whisper (without the last it would
  ask the network for one, so such a folder is refused).

The word ``pocketsphinx`` in a folder's place asks for the recogniser inside that package, whose
text is a draft.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import numpy as np

from annotate.speech.heard import HeardWord, Recogniser
from annotate.speech.sound import RATE_HZ, Pcm
from annotate.speech.sphinx import ShippedRecogniser, available
from annotate.speech.spoken import is_english
from chapters.errors import RecordingError

#: What a user writes for the recogniser that pocketsphinx ships.
SHIPPED = "pocketsphinx"

Kind = Literal["sherpa-onnx", "faster-whisper"]
_HOLDS = (
    "name a folder that holds tokens.txt and *.onnx (sherpa-onnx), or model.bin, config.json and "
    "tokenizer.json (faster-whisper)"
)
#: The extra of this package that brings each library.
_EXTRAS: dict[Kind, str] = {"sherpa-onnx": "recognise", "faster-whisper": "whisper"}
#: A word's last token is given so long when nothing says more, and a word at most the second.
_LAST_TOKEN_S, _LONGEST_S = 0.12, 1.5


def kind_of(folder: Path, shown_as: str) -> Kind:
    """What recogniser the folder is for. Raises RecordingError where it is none."""
    if not folder.is_dir():
        raise RecordingError(shown_as, "is no folder; a model is never downloaded", _HOLDS)
    names = {path.name for path in folder.iterdir() if path.is_file()}
    if "tokens.txt" in names and any(name.endswith(".onnx") for name in names):
        return "sherpa-onnx"
    if {"model.bin", "config.json", "tokenizer.json"} <= names:
        return "faster-whisper"
    raise RecordingError(shown_as, "holds no model that is known", _HOLDS)


def check_recogniser(folder: Path, shown_as: str, language: str = "en") -> None:
    """Whether it can be loaded, as far as that shows without loading it. Raises RecordingError."""
    if shown_as == SHIPPED:
        if not is_english(language):
            raise RecordingError(shown_as, f"hears English, not {language}", _HOLDS)
        if not available():
            raise RecordingError(shown_as, "is not installed", "pip install 'teachcut[speech]'")
        return
    kind = kind_of(folder, shown_as)
    if importlib.util.find_spec(kind.replace("-", "_")) is None:
        raise RecordingError(
            shown_as, f"needs the package {kind}", f"pip install 'teachcut[{_EXTRAS[kind]}]'"
        )


def model_files(folder: Path) -> tuple[Path, ...]:
    """The files of a model's folder, by name, hidden ones left out; none for a recogniser that is no folder."""
    if not folder.is_dir():
        return ()
    return tuple(
        sorted(path for path in folder.iterdir() if path.is_file() and path.name[0] != ".")
    )


def load_recogniser(folder: Path, shown_as: str, language: str = "en") -> Recogniser:
    """The recogniser in a local folder. Raises RecordingError where it cannot be used."""
    check_recogniser(folder, shown_as, language)
    if shown_as == SHIPPED:
        return ShippedRecogniser()
    kind = kind_of(folder, shown_as)
    make: Callable[[Path, str], Recogniser] = (
        SherpaRecogniser if kind == "sherpa-onnx" else WhisperRecogniser
    )
    try:
        return make(folder, language)
    except (RuntimeError, ValueError, OSError, KeyError) as error:
        reason = str(error).strip().splitlines() or ["no reason given"]
        raise RecordingError(
            shown_as, f"could not be loaded by {kind}: {reason[0][:200]}", _HOLDS
        ) from error


class SherpaRecogniser:
    """A sherpa-onnx model folder."""

    draft = False

    def __init__(self, folder: Path, language: str) -> None:
        self._recogniser = _sherpa(folder, language)
        self.name = f"sherpa-onnx, {folder.name}"

    def words(self, samples: Pcm) -> list[HeardWord]:
        """The words in 16 kHz mono int16 samples."""
        stream = self._recogniser.create_stream()
        stream.accept_waveform(RATE_HZ, samples.astype(np.float32) / 32768)
        self._recogniser.decode_stream(stream)
        result = stream.result
        length_s = len(samples) / RATE_HZ
        return words_of_tokens(list(result.tokens), list(result.timestamps), result.text, length_s)


def _sherpa(folder: Path, language: str) -> Any:
    import sherpa_onnx

    tokens = str(folder / "tokens.txt")
    names = sorted(path.name for path in folder.glob("*.onnx"))
    for name in names:
        if (folder / name).stat().st_size == 0:
            raise ValueError(f"{name} is empty")
    encoder, decoder, joiner = (_named(folder, names, part) for part in _NETWORKS)
    offline = sherpa_onnx.OfflineRecognizer
    if encoder and decoder and joiner:
        return offline.from_transducer(
            encoder=encoder, decoder=decoder, joiner=joiner, tokens=tokens
        )
    if encoder and decoder:
        return offline.from_whisper(
            encoder=encoder, decoder=decoder, tokens=tokens, language=language.partition("-")[0]
        )
    single = _preferred(names)
    for family, argument in _FAMILIES.items():
        if family.removeprefix("from_").partition("_")[0] in single.casefold():
            return getattr(offline, family)(**{argument: str(folder / single)}, tokens=tokens)
    return offline.from_nemo_ctc(model=str(folder / single), tokens=tokens)


_NETWORKS = ("encoder", "decoder", "joiner")
#: Ways of the library to read one network, told by the file's name: way, its argument.
_FAMILIES = {
    "from_paraformer": "paraformer",
    "from_zipformer_ctc": "model",
    "from_wenet_ctc": "model",
}


def _named(folder: Path, names: list[str], part: str) -> str:
    found = [name for name in names if part in name.casefold()]
    return str(folder / _preferred(found)) if found else ""


def _preferred(names: list[str]) -> str:
    """The full network where a smaller one (int8) stands beside it."""
    return next((name for name in names if "int8" not in name), names[0])


def words_of_tokens(
    tokens: list[str], starts_s: list[float], text: str, length_s: float
) -> list[HeardWord]:
    """Word pieces with start times as words; without times the text's words share the length.

    A piece that begins with a space or ``▁`` begins a word; where none does every piece is a
    letter of ``text`` or a word of its own.
    """
    if not tokens or len(tokens) != len(starts_s):
        words = text.split()
        step = length_s / max(1, len(words))
        return [HeardWord(w, k * step, (k + 1) * step, 0.5) for k, w in enumerate(words)]
    plain = [token.replace("▁", " ") for token in tokens]
    marked = any(token.startswith(" ") for token in plain)
    whole = not marked and len(tokens) == len(text.split())
    out: list[tuple[str, float, float]] = []
    fresh = True
    for token, start in zip(plain, starts_s, strict=True):
        piece = token.strip()
        if not piece:
            fresh = True
            continue
        if out and not (fresh or whole or token.startswith(" ")):
            out[-1] = (out[-1][0] + piece, out[-1][1], start)
        else:
            out.append((piece, start, start))
        fresh = False
    nexts = [start for _, start, _ in out[1:]] + [length_s]
    return [
        HeardWord(word, start, min(following, last + _LAST_TOKEN_S, start + _LONGEST_S))
        for (word, start, last), following in zip(out, nexts, strict=True)
    ]


class WhisperRecogniser:
    """A faster-whisper (CTranslate2) model folder."""

    draft = False

    def __init__(self, folder: Path, language: str) -> None:
        from faster_whisper import WhisperModel

        self._model = WhisperModel(
            str(folder), device="cpu", compute_type="int8", local_files_only=True
        )
        self._language = language.partition("-")[0]
        self.name = f"faster-whisper, {folder.name}"

    def words(self, samples: Pcm) -> list[HeardWord]:
        """The words in 16 kHz mono int16 samples."""
        segments, _ = self._model.transcribe(
            samples.astype(np.float32) / 32768,
            language=self._language,
            word_timestamps=True,
            condition_on_previous_text=False,
        )
        return [
            HeardWord(
                word.word.strip(), float(word.start), float(word.end), float(word.probability)
            )
            for segment in segments
            for word in segment.words or ()
            if word.word.strip()
        ]
