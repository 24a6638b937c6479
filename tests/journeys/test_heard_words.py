"""Captions of takes and talks from what was said: drafts by a recogniser, words checked before a film is made."""

from __future__ import annotations

import importlib.util
import json
import wave
from pathlib import Path

import numpy as np
import pytest
import webvtt

import annotate.spokencues
from annotate.cli import main
from annotate.words import DRAFT_CAPTIONS, HEARD_TEXT
from tests.annotate.sound.clips import needed
from tests.annotate.speech.models import WORDS, sherpa_folder, whisper_folder
from tests.annotate.speech.voices import flite
from tests.clips import VideoTrack, even_times, write_clip

RATE_HZ = 16_000
CASE = """\
case: spoken
title: Spoken steps
subject: simulated
height: 128
recordings: [scope.mp4]
steps:
  - {id: look, title: Look, from: 0, to: 8, note: What the note says.}
  - {id: close, title: Close, from: 8}
"""
SCRIPT = "Check the seal with a gentle stream of air. Then look for the dark edge."


def write_wav(path: Path, pcm: np.ndarray) -> None:
    """16-bit mono at 16 kHz."""
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(pcm.astype("<i2").tobytes())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Sixteen seconds of recording and a take of two sentences, with 0.3 s of silence first."""
    write_clip(tmp_path / "scope.mp4", VideoTrack(even_times(16 * 25, 25), size_px=(160, 128)))
    write_wav(
        tmp_path / "look.wav", np.concatenate([np.zeros(4800, np.int16), flite(SCRIPT, "slt").pcm])
    )
    return tmp_path


def run(command: str, folder: Path, more: str, capsys: pytest.CaptureFixture[str]) -> str:
    """Write the case, run a command that must go well, and return what it printed."""
    (folder / "case.yaml").write_text(CASE + more, encoding="utf-8")
    assert main([command, "--json", str(folder / "case.yaml")]) == 0
    (values,) = json.loads(capsys.readouterr().out)
    return "\n".join(values["warnings"])


def shown(folder: Path) -> list[str]:
    """The text of each caption."""
    read = webvtt.read(str(folder / "out/spoken/captions.vtt")).captions
    return [" ".join(cue.text.split()) for cue in read]


def package(name: str) -> None:
    """Leave or fail where a package is absent."""
    if importlib.util.find_spec(name) is None:
        needed(name, f"pip install {name}")


def test_a_take_without_a_script_has_a_draft_by_the_recogniser_that_is_named(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The words heard; marked in the first caption, the note, the report and on the terminal."""
    package("sherpa_onnx")
    sherpa_folder(folder / "models/en")
    more = "narration: {look: look.wav}\nrecogniser: models/en\ncaptions_in_picture: yes\n"
    before = run("check", folder, more, capsys)
    said = run("make", folder, more, capsys)
    marked = "captions of step look are a draft, not drawn into the picture, heard in look.wav by "
    assert marked + "sherpa-onnx, en; correct heard-look.txt in the results" in said
    assert marked in before
    made = folder / "out/spoken"
    mark, *rest = shown(folder)
    assert mark == DRAFT_CAPTIONS
    assert " ".join(rest) == " ".join(WORDS)
    assert f"{DRAFT_CAPTIONS}: step look" in (made / "captions.vtt").read_text("utf-8")
    assert "Draft captions" in (made / "captions.srt").read_text("utf-8")
    heard = (made / "heard-look.txt").read_text("utf-8")
    assert heard == f"{HEARD_TEXT}\n{' '.join(WORDS)}\n"
    steps = json.loads((made / "step-times.json").read_text("utf-8"))["steps"]
    assert [step["captions_from"] for step in steps] == ["draft", None]
    assert "captions of step look are a draft; correct heard" in run("make", folder, more, capsys)


def test_a_draft_that_was_read_and_named_as_the_script_is_none_any_more(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The mark goes, and so does the file that asked to be corrected."""
    package("sherpa_onnx")
    package("pocketsphinx")
    sherpa_folder(folder / "model")
    run("make", folder, "narration: {look: look.wav}\nrecogniser: model\n", capsys)
    (folder / "look.txt").write_text(f"{HEARD_TEXT}\n{SCRIPT}\n", encoding="utf-8")
    more = "narration: {look: {file: look.wav, script: look.txt}}\nrecogniser: model\n"
    assert "draft" not in run("make", folder, more, capsys)
    assert " ".join(shown(folder)) == SCRIPT
    assert not (folder / "out/spoken/heard-look.txt").exists()
    steps = json.loads((folder / "out/spoken/step-times.json").read_text("utf-8"))["steps"]
    assert steps[0]["captions_from"] == "script"


def test_another_model_in_the_folder_is_heard_anew(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a recogniser heard is kept by the model's own content."""
    package("sherpa_onnx")
    tokens = sherpa_folder(folder / "model") / "tokens.txt"
    more = "narration: {look: look.wav}\nrecogniser: model\n"
    run("make", folder, more, capsys)
    tokens.write_text(tokens.read_text("utf-8").replace("hello", "good"), encoding="utf-8")
    run("make", folder, more, capsys)
    assert shown(folder)[1].startswith("good dental")


@pytest.mark.parametrize("name", ["tiny", "openai/whisper-tiny", "scope.mp4"])
def test_a_recogniser_that_is_no_folder_is_a_mistake_with_its_place(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """Line, column, what to name instead; nothing is fetched by a name."""
    text = CASE + f"narration: {{look: look.wav}}\nrecogniser: {name}\n"
    (folder / "case.yaml").write_text(text, encoding="utf-8")
    for command in ("check", "make"):
        assert main([command, "--json", str(folder / "case.yaml")]) == 2
        said = capsys.readouterr().out
        assert (
            f"case.yaml:10:13: recogniser: {name} is no folder; a model is never downloaded; name "
            "a folder that holds tokens.txt and *.onnx"
        ) in said


def test_a_model_that_cannot_be_loaded_is_a_mistake_with_its_place(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An unfinished copy is told by ``check``, before anything is drawn."""
    package("sherpa_onnx")
    (sherpa_folder(folder / "model") / "model.onnx").write_bytes(b"")
    text = CASE + "narration: {look: look.wav}\nrecogniser: model\n"
    (folder / "case.yaml").write_text(text, encoding="utf-8")
    assert main(["check", str(folder / "case.yaml")]) == 2
    assert "case.yaml:10:13: recogniser: model could not be loaded" in capsys.readouterr().out


def test_the_shipped_recogniser_writes_a_draft_where_it_is_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the name of its package; how much of it is wrong is said."""
    package("pocketsphinx")
    more = "narration: {look: look.wav}\nrecogniser: pocketsphinx\n"
    said = run("check", folder, more, capsys)
    assert "about every third word of such a draft is wrong" in said
    assert "captions of step look are a draft, heard in look.wav by pocketsphinx" in said


def test_a_take_without_script_and_recogniser_keeps_the_note(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is guessed unasked; what to write is said."""
    said = run("make", folder, "narration: {look: look.wav}\n", capsys)
    assert "look.wav: no script to make captions from, so step look has those of its note;" in said
    assert shown(folder) == ["What the note says."]


def test_check_tells_what_make_tells_and_listens_once(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not spoken, not scripted, and what the profile forbids; kept words are not listened for again."""
    package("pocketsphinx")
    write_wav(folder / "look.wav", flite("The field is clean and dry now. " + SCRIPT, "slt").pcm)
    script = SCRIPT + " Nothing of this was ever said aloud."
    more = (
        f"narration: {{look: {{file: look.wav, script: {script}}}}}\n"
        "captions: dcmp-lower\nterms: {gentle stream: trickle}\n"
    )
    told = run("check", folder, more, capsys)
    assert "the sentence “Nothing of this was ever said aloud.” cannot be heard" in told
    assert "are spoken that the script does not hold; they have no captions" in told
    assert "reading speed: found " in told and "Presentation Rate: lower level, at most 130" in told
    monkeypatch.setattr(annotate.spokencues, "align_take", None)
    made = run("make", folder, more, capsys)
    assert {line for line in told.splitlines() if "look" in line} == {
        line for line in made.splitlines() if "look" in line
    }
    assert " ".join(shown(folder)) == SCRIPT.replace("gentle stream", "trickle")


def test_a_scripted_talk_gives_each_step_its_own_words(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No step shows what was said over another, nor over one that has a take of its own."""
    package("pocketsphinx")
    run("make", folder, "", capsys)
    made = folder / "out/spoken"
    (folder / "map.json").write_bytes((made / "time-map.json").read_bytes())
    steps = json.loads((made / "step-times.json").read_text("utf-8"))["steps"]
    starts = [float(step["cut"][0]) for step in steps]
    sentences = SCRIPT.split(". ", 1)[0] + ".", SCRIPT.split(". ", 1)[1]
    talk = np.zeros(round((starts[1] + 7) * RATE_HZ), np.int16)
    for start, sentence in zip(starts, sentences, strict=True):
        said, at = flite(sentence, "slt").pcm, round((start + 0.5) * RATE_HZ)
        talk[at : at + len(said)] = said
    write_wav(folder / "talk.wav", talk)
    more = f"talk: {{file: talk.wav, cut: map.json, script: {SCRIPT}}}\n"
    run("make", folder, more, capsys)
    read = webvtt.read(str(made / "captions.vtt")).captions
    border = starts[1]
    over = [
        " ".join(" ".join(c.text.split()) for c in read if (c.start_in_seconds >= border) == late)
        for late in (False, True)
    ]
    assert over == list(sentences)
    run(
        "make",
        folder,
        more + f"narration: {{look: {{file: look.wav, script: {SCRIPT}}}}}\n",
        capsys,
    )
    assert " ".join(shown(folder)) == f"{SCRIPT} {sentences[1]}"


def test_a_script_in_a_language_without_an_ear_is_heard_by_the_recogniser(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where it says the script's words each has its time; without it they are spread over the speech."""
    package("sherpa_onnx")
    sherpa_folder(folder / "model")
    words = f"Also, {' '.join(WORDS)}."
    more = f'language: de\nnarration: {{look: {{file: look.wav, script: "{words}"}}}}\n'
    assert "no recogniser for this language" in run("check", folder, more, capsys)
    told = run("check", folder, more + "recogniser: model\n", capsys)
    assert "no recogniser for this language" not in told


def test_an_edit_of_the_lexicon_makes_the_film_anew(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is one of the files that the result rests on; one that is not there is a mistake."""
    package("pocketsphinx")
    more = f"narration: {{look: {{file: look.wav, script: {SCRIPT}}}}}\nlexicon: words.txt\n"
    (folder / "case.yaml").write_text(CASE + more, encoding="utf-8")
    assert main(["check", "--quick", str(folder / "case.yaml")]) == 2
    assert "case.yaml:10:10: lexicon: words.txt is not there" in capsys.readouterr().out
    states = []
    for line in ("seal = S IY L", "seal = S IY L", "edge = EH JH"):
        (folder / "words.txt").write_text(line + "\n", encoding="utf-8")
        assert main(["make", "--json", str(folder / "case.yaml")]) == 0
        states += [json.loads(capsys.readouterr().out)[0]["status"]]
    assert states == ["made", "up to date", "made"]


def test_a_whisper_folder_is_heard_too(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The second kind of model, known by what its folder holds; it says its words again every second or so."""
    package("faster_whisper")
    whisper_folder(folder / "models/w")
    more = "narration: {look: look.wav}\nrecogniser: models/w\nterms: {hello dental: Good}\n"
    told = run("check", folder, more, capsys)
    assert "captions of step look are a draft, heard in look.wav by faster-whisper, w;" in told
    run("make", folder, more, capsys)
    said = " ".join(shown(folder)[1:])
    assert said and not said.replace(f"Good {WORDS[-1]}", "").strip()
