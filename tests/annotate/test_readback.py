"""Finished files are read again: a cue that a reader would drop, or another time, is a fault."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

from annotate.captions.cues import Cue
from annotate.captions.files import cues_to_vtt
from annotate.readback import check_captions, check_chapters
from chapters.errors import WorkError
from chapters.markers import Chapter, chapters_vtt
from chapters.times import CutTime

CUES = (
    Cue(200, 2200, ("pH < 7 & warm", "over 60 s --> rinse")),
    Cue(2200, 5000, ("שלב שני",)),
)
CHAPTERS = (
    Chapter(CutTime(F(0)), CutTime(F(4)), "A & B"),
    Chapter(CutTime(F(4)), CutTime(F(1001, 30)), "<C>"),
)


def test_what_was_written_reads_back(tmp_path: Path) -> None:
    """Signs, arrows, two lines, right-to-left text, with and without a notice."""
    path = tmp_path / "captions.vtt"
    for notice in ("", "NOT FOR PUBLICATION"):
        path.write_text(cues_to_vtt(CUES, notice), encoding="utf-8")
        check_captions(path, CUES, notice)
    chapters = tmp_path / "chapters.vtt"
    chapters.write_text(chapters_vtt(CHAPTERS), encoding="utf-8")
    check_chapters(chapters, CHAPTERS)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            ("00:00:02.200 -->", "00:00:02,200 -->"),
            "captions.vtt: the finished file is not as planned: 1 cues, 2 written",
        ),
        (
            ("00:00:05.000", "00:00:05.001"),
            "captions.vtt: the finished file is not as planned: cue 2 reads",
        ),
        (("WEBVTT", "VTT"), "captions.vtt: cannot be read back"),
    ],
)
def test_a_damaged_file_is_named(tmp_path: Path, change: tuple[str, str], said: str) -> None:
    """A dropped cue, a shifted time and a lost header are three different sentences."""
    path = tmp_path / "captions.vtt"
    path.write_text(cues_to_vtt(CUES).replace(*change), encoding="utf-8")
    with pytest.raises(WorkError, match=said.replace(".", r"\.")):
        check_captions(path, CUES, "")
