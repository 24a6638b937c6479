"""One real recording through the command: a small case is written, made, and the film read back.

Lengths given here were measured by other means (decoded and counted with another tool), so that
the clinical time of a film is held against something the project did not compute.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import pytest

from annotate.cli import main

CASE = """\
case: trial
title: A recording of another kind
subject: simulated
height: 240
ramp: 0.5
sound: room
recordings: ["{name}"]
steps:
  - {{id: real, title: In real time, from: 0, to: {real}, note: Seen as it was recorded.}}
  - {{id: quick, title: Sixteen times as fast, from: {real}, {to}show: 16x}}
"""

#: A film of this much recording is enough to see that a file can be used.
MOST_SHOWN_S = 20.0
LONGEST_MESSAGE = 400


@dataclass(frozen=True)
class Told:
    """What the command said: its exit code, the values of its JSON, everything on standard error."""

    code: int
    outcome: dict[str, Any]
    beside: str
    folder: Path


def make(
    recording: Path,
    folder: Path,
    length_s: float,
    capsys: pytest.CaptureFixture[str],
    *,
    to_the_end: bool = False,
) -> Told:
    """Make a short film of a recording: 1.5 s in real time, then 16x, the rest not shown.

    ``to_the_end`` lets the second step run on to where the recording ends.
    """
    end = min(length_s * 0.98, MOST_SHOWN_S)
    real = min(1.5, end / 2)
    try:
        (folder / recording.name).symlink_to(recording)
    except OSError:
        (folder / recording.name).write_bytes(recording.read_bytes())
    to = "" if to_the_end else f"to: {end:.3f}, "
    text = CASE.format(name=recording.name, real=f"{real:.3f}", to=to)
    (folder / "case.yaml").write_text(text, encoding="utf-8")
    capsys.readouterr()
    code = main(["make", "--json", str(folder / "case.yaml")])
    said = capsys.readouterr()
    return Told(code, json.loads(said.out)[0], said.err, folder / "out" / "trial")


def check_made(told: Told, length_s: float) -> None:
    """The film reads back as planned and its clinical time is the recording's length."""
    assert told.code == 0, told.outcome["why"]
    check_tone(told)
    values = json.loads((told.folder / "time-map.json").read_text("utf-8"))
    fps, length = Fraction(values["fps"]), Fraction(values["length"])
    with av.open(str(told.folder / "teaching-cut.mp4")) as box:
        picture, sound = box.streams.video[0], box.streams.audio[0]
        stamps = sorted(f.pts for f in box.decode(picture) if f.pts is not None)
        assert picture.duration is not None and sound.duration is not None
        unit, sound_unit = Fraction(picture.time_base or 0), Fraction(sound.time_base or 0)
        assert len(stamps) == length * fps
        assert [s * unit for s in stamps] == [n / fps for n in range(len(stamps))]
        assert picture.duration * unit == length
        assert abs(sound.duration * sound_unit - length) < Fraction(1, 20)
        assert (picture.height, picture.width % 2) == (240, 0)
        chapters = [
            (c["start"] * unit, c["end"] * unit, c["metadata"]["title"])
            for c in box.chapters()
            for unit in [Fraction(c["time_base"] or 0)]
        ]
    check_chapters(chapters, length, told.folder / "chapters.txt")
    ledger = json.loads((told.folder / "ledger.json").read_text("utf-8"))
    assert float(Fraction(ledger["total"])) == pytest.approx(length_s, abs=0.06, rel=0.002)
    made = json.loads((told.folder / "made.json").read_text("utf-8"))
    for output in made["outputs"]:
        assert (told.folder / output["name"]).stat().st_size == output["bytes"]


def check_chapters(
    chapters: Sequence[tuple[Fraction, Fraction, str]], length: Fraction, listed: Path
) -> None:
    """From zero to the film's end without a hole, named as in the list; no step's name is lost.

    Steps that are shown for less than a second share a chapter.
    """
    assert chapters[0][0] == 0
    assert abs(chapters[-1][1] - length) < Fraction(1, 500)
    assert all(abs(a[1] - b[0]) < Fraction(1, 500) for a, b in pairwise(chapters))
    lines = [x for x in listed.read_text("utf-8").splitlines() if x[:1].isdigit()]
    assert [title for *_, title in chapters] == [line.split(" ", 1)[1] for line in lines]
    assert " · ".join(title for *_, title in chapters).split(" · ") == [
        "A recording of another kind",
        "1. In real time",
        "2. Sixteen times as fast",
        "Where the time went",
    ]


def check_refused(told: Told, name: str, why: str = "") -> None:
    """Refused in one sentence with the place in the case file and the file's name; nothing was made."""
    assert told.code in (1, 2)
    check_tone(told)
    said = told.outcome["why"]
    assert said.startswith(f"{told.outcome['case']}:7:14: recordings[1]: {name} ")
    assert why in said
    assert "\n" not in said
    assert not told.folder.parent.exists()


def check_tone(told: Told) -> None:
    """Nothing that is said is a traceback, a fault of the program's own, or longer than it need be."""
    for text in (told.outcome["why"], told.beside, *told.outcome["warnings"]):
        assert "Traceback" not in text
        assert "fault of its own" not in text
        assert "Error" not in text
    for text in (told.outcome["why"], *told.outcome["warnings"]):
        assert len(text) < LONGEST_MESSAGE
