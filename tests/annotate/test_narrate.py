"""Files of the narration: each fault at its place, all of them at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from annotate.narrate import listen, narration_faults, script_text
from annotate.progress import silent
from annotate.words import HEARD_TEXT
from chapters.casefile import LoadedCase, load_case
from chapters.errors import CaseFileError, Mistake

CASE = """\
case: spoken
title: Spoken
subject: simulated
recordings: [a.mp4]
steps:
  - {id: one, title: One, from: 0}
  - {id: two, title: Two, from: 5}
  - {id: three, title: Three, from: 9}
narration:
  one: {file: none.wav, script: none.txt}
  two: {file: case.yaml, script: wide.txt}
  three: {file: folder, script: empty.txt}
talk: {file: none.m4a, cut: case.yaml}
"""


@pytest.fixture
def loaded(tmp_path: Path) -> LoadedCase:
    """A case of which no file is what it should be."""
    (tmp_path / "case.yaml").write_text(CASE, encoding="utf-8")
    (tmp_path / "wide.txt").write_bytes("wide".encode("utf-16"))
    (tmp_path / "empty.txt").write_text(f"{HEARD_TEXT}\n\n", encoding="utf-8")
    (tmp_path / "folder").mkdir()
    return load_case(tmp_path / "case.yaml")


def said(faults: Sequence[Mistake]) -> list[str]:
    """The faults without the folder in front."""
    return [str(fault).partition("case.yaml:")[2] for fault in faults]


def test_what_shows_without_listening_is_told_at_once(loaded: LoadedCase) -> None:
    """Takes and scripts that are not there, scripts that are no text or empty, a cut that is none."""
    assert said(narration_faults(loaded)) == [
        "10:15: narration.one: none.wav is not there; check the name and the folder",
        "10:33: narration.one.script: none.txt is not there; check the name, or write the words "
        "themselves",
        "11:34: narration.two.script: wide.txt: the text is UTF-16; save it as plain text in UTF-8, "
        "at most 1 MB",
        "12:33: narration.three.script: empty.txt holds no words; write what is said, or leave "
        "script: out",
        "13:14: talk: none.m4a is not there; check the name and the folder",
        "13:29: talk.cut: case.yaml is no time-map.json of a finished cut; copy the time-map.json "
        "beside the cut that was spoken over",
    ]


def test_files_that_are_no_sound_are_told_at_once(loaded: LoadedCase) -> None:
    """A text and a folder, each with its place."""
    for name in ("wide.txt", "empty.txt", "none.txt"):
        (loaded.folder / name).write_text("Words.", encoding="utf-8")
    with pytest.raises(CaseFileError) as caught:
        listen(loaded.case, loaded, silent)
    assert [line.split(";")[0] for line in said(caught.value.mistakes)] == [
        "10:15: narration.one: none.wav is not there",
        "11:15: narration.two: case.yaml is no sound file that can be read",
        "12:17: narration.three: folder is a folder",
        "13:14: talk: none.m4a is not there",
    ]


def test_remarks_at_the_top_of_a_script_are_not_spoken(tmp_path: Path) -> None:
    """Only there, and only with a blank after the sign: a file of size 10 is no remark."""
    (tmp_path / "one.txt").write_text("# heard\n# again\n#10 K-file.\n# Last.\n", "utf-8")
    assert script_text("one.txt", lambda name: tmp_path / name) == "#10 K-file.\n# Last.\n"
    assert script_text("# spoken", lambda name: tmp_path / name) == "# spoken"
