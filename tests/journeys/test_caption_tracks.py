"""Captions inside the film: a text track per language, and drawn into the picture where asked for."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
import webvtt

from annotate.cli import main
from tests.clips import VideoTrack, even_times, write_clip
from tests.journeys.honest import film_pictures

CASE = """\
case: told
title: Told twice
subject: simulated
height: 360
captions_in_picture: {burnt}
recordings: [scope.mp4]
steps:
  - id: look
    title: Look
    from: 0
    note: "pH < 7 & warm. Then the second sentence."
    notes_in: {{de: "Kleiner als sieben und warm. Danach der zweite Satz."}}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Ten plain seconds."""
    write_clip(tmp_path / "scope.mp4", VideoTrack(even_times(250, 25), size_px=(640, 360)))
    return tmp_path


def make(folder: Path, burnt: str) -> Path:
    """Make the case and return its folder of results."""
    (folder / "case.yaml").write_text(CASE.format(burnt=burnt), encoding="utf-8")
    assert main(["make", str(folder / "case.yaml")]) == 0
    return folder / "out" / "told"


def ffmpeg(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The ffmpeg program that imageio-ffmpeg ships."""
    exe = imageio_ffmpeg.get_ffmpeg_exe()
    return subprocess.run(
        [exe, "-nostdin", "-hide_banner", "-y", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_each_language_is_a_text_track_of_the_film(folder: Path) -> None:
    """ffmpeg finds both tracks with their languages, and reads the same words at the same times."""
    made = make(folder, "no")
    streams = ffmpeg("-i", str(made / "teaching-cut.mp4")).stderr
    assert re.findall(r"Stream #0:\d+\[\w+\]\((\w+)\): Subtitle: mov_text", streams) == [
        "eng",
        "deu",
    ]
    for number, name in enumerate(("captions.vtt", "captions.de.vtt")):
        back = folder / f"back{number}.vtt"
        assert (
            ffmpeg(
                "-i", str(made / "teaching-cut.mp4"), "-map", f"0:s:{number}", str(back)
            ).returncode
            == 0
        )
        track = [
            (c.start, c.end, " ".join(c.text.split()))
            for c in webvtt.read(str(back)).captions
            if c.text.strip()
        ]
        own = [
            (c.start, c.end, " ".join(c.text.replace("&lt;", "<").replace("&amp;", "&").split()))
            for c in webvtt.read(str(made / name)).captions
        ]
        assert [t[:2] for t in track] == [o[:2] for o in own]
        assert [re.sub(r"&\w+;|<", "", t[2])[-12:] for t in track] == [o[2][-12:] for o in own]


def test_burnt_in_captions_stand_at_the_top_and_leave_the_clock_alone(folder: Path) -> None:
    """Frames differ from those without captions only in the upper third, while a caption is due."""
    plain = film_pictures(make(folder, "no") / "teaching-cut.mp4")
    burnt = film_pictures(make(folder, "yes") / "teaching-cut.mp4")
    assert len(plain) == len(burnt)
    during = np.abs(plain[4 * 25 + 30].astype(int) - burnt[4 * 25 + 30].astype(int))
    height = during.shape[0]
    assert during[: height // 3].max() > 60
    assert during[height // 2 :].mean() < 1.5
    before = np.abs(plain[50].astype(int) - burnt[50].astype(int))
    assert before.max() == 0
