"""Files that a case names, and its letters: every fault has its place in the case file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from PIL import Image

from annotate.named import font_faults, letter_faults, recording_faults, still_faults
from annotate.picture.fonts import FontChain
from annotate.recording import RecordingErrors, open_recording
from chapters.casefile import LoadedCase, load_case
from chapters.errors import Mistake

CASE = """\
case: named
title: Seal 𒀀 tooth
subject: simulated
recordings:
  - no-such.mp4
  - {file: folder, away_before: 5, reason: a 𒀁 call}
fonts: [folder, words.ttf, none.ttf]
steps:
  - {id: one, title: Plain words, from: 0, stills: [words.ttf, good.png]}
  - {id: two, title: Isolate 𒀃, from: 5, stills: [{file: folder, caption: 𒀂}, none.png]}
"""


@pytest.fixture
def loaded(tmp_path: Path) -> LoadedCase:
    """A case whose files are none of what they should be, but for one picture."""
    (tmp_path / "case.yaml").write_text(CASE, encoding="utf-8")
    (tmp_path / "folder").mkdir()
    (tmp_path / "words.ttf").write_text("words", encoding="utf-8")
    Image.new("RGB", (8, 8)).save(tmp_path / "good.png")
    return load_case(tmp_path / "case.yaml")


def said(faults: Sequence[Mistake]) -> list[str]:
    """The faults without the folder in front."""
    return [str(fault).partition("case.yaml:")[2] for fault in faults]


def test_stills_that_are_no_pictures_have_their_place(loaded: LoadedCase) -> None:
    """Text, a folder, nothing at all; the picture that is one is not named."""
    assert said(still_faults(loaded)) == [
        "9:53: steps[1].stills[1]: words.ttf is not a PNG, JPEG, TIFF or WebP picture; save it as one "
        "of these",
        "10:58: steps[2].stills[1]: folder is a folder; name the picture inside it",
        "10:79: steps[2].stills[2]: none.png is not there; check the name and the folder",
    ]


def test_fonts_that_are_no_fonts_have_their_place(loaded: LoadedCase) -> None:
    """All three are named at the field."""
    assert said(font_faults(loaded)) == [
        "7:8: fonts: folder is a folder; name the font inside it",
        "7:8: fonts: words.ttf is not a font that can be read; give a .ttf or .otf file",
        "7:8: fonts: none.ttf is not there; check the name and the folder",
    ]


def test_letters_that_no_font_has_are_named_where_they_stand(loaded: LoadedCase) -> None:
    """Title, reason, step title and caption: the character, its number and its name."""
    told = said(letter_faults(loaded, FontChain([], "en")))
    assert [t.split(";")[0] for t in told] == [
        "2:8: title: no font here has “𒀀” U+12000 CUNEIFORM SIGN A",
        "6:44: recordings[2].reason: no font here has “𒀁” U+12001 CUNEIFORM SIGN A TIMES A",
        "10:22: steps[2].title: no font here has “𒀃” U+12003 CUNEIFORM SIGN A TIMES GAN2 TENU",
        "10:75: steps[2].stills[1].caption: no font here has “𒀂” U+12002 CUNEIFORM SIGN A TIMES BAD",
    ]
    assert all("fonts:" in t for t in told)


def test_letters_of_captions_are_looked_at_where_captions_are_drawn(tmp_path: Path) -> None:
    """Notes, scripts in the case and in files, sound labels and terms; none of them otherwise."""
    (tmp_path / "two.txt").write_text("Said 𒀄\nand done.", encoding="utf-8")
    text = (
        "case: c\ntitle: C\nsubject: simulated\nrecordings: [a.mp4]\ncaptions_in_picture: yes\n"
        "steps:\n"
        '  - {id: one, title: One, from: 0, note: "A 𒀀"}\n'
        '  - {id: two, title: Two, from: 5, note: "Two\\nlines"}\n'
        "narration:\n  one: {file: a.wav, script: B 𒀁}\n  two: {file: b.wav, script: two.txt}\n"
        "sound: room\nsound_labels: [{at: 3, label: C 𒀂}]\nterms: {d: D 𒀃}\n"
    )
    places = ["7:42: steps[1].note", "10:30: narration.one.script", "11:30: narration.two.script"]
    places += ["13:31: sound_labels[1].label", "14:8: terms"]
    for drawn, wanted in ((text, places), (text.replace("yes", "no"), [])):
        (tmp_path / "case.yaml").write_text(drawn, encoding="utf-8")
        told = said(letter_faults(load_case(tmp_path / "case.yaml"), FontChain([], "en")))
        assert [t.split(": no font")[0] for t in told] == wanted


def test_recordings_that_cannot_be_used_have_their_place(loaded: LoadedCase) -> None:
    """Both parts are named at once."""
    with pytest.raises(RecordingErrors) as caught:
        open_recording(loaded.case, loaded.path_of)
    assert said(recording_faults(loaded, caught.value)) == [
        "5:5: recordings[1]: no-such.mp4 is not there; check the name and the folder",
        "6:12: recordings[2]: folder is a folder; name the recording inside it",
    ]
