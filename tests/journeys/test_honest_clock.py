"""The proof of the whole: every frame of the film shows what the time map says, and so does its clock."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.cli import main
from annotate.picture.fonts import FontChain
from annotate.picture.overlay import Overlay, OverlayFace
from chapters.times import ClinicalTime
from tests.annotate.picture.read_clock import read_clock
from tests.clips import find_ticks, read_number
from tests.journeys import honest


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> honest.Made:
    """The numbered case, made once by the command itself."""
    folder = tmp_path_factory.mktemp("honest")
    parts = honest.write_numbered_case(folder)
    assert main(["make", str(folder / "case.yaml")]) == 0
    return honest.Made(parts, folder / "out" / "numbered")


def test_every_frame_shows_the_recording_frame_of_its_instant(made: honest.Made) -> None:
    """Variable rate, two parts, time away, 8x with ramps, a skip, footage between steps: no frame is off."""
    values = honest.time_map(made.folder)
    fps = float(Fraction(values["fps"]))
    first, second = made.parts
    wrong, checked = [], 0
    for j, y in enumerate(honest.film_pictures(made.folder / "teaching-cut.mp4")):
        t = j / fps
        piece = honest.piece_at(values, t)
        if piece["kind"] != "footage":
            continue
        r = honest.recording_time(piece, t)
        # a float may fall a hair short of a frame's start: both sides of it are looked at
        shown = {_number_on_screen(first, second, r + hair) for hair in (-1e-7, 1e-7)}
        checked += 1
        if read_number(y) not in shown:
            wrong.append((j, read_number(y), shown))
    assert wrong == []
    assert checked > 450


def _number_on_screen(first: object, second: object, r: float) -> int:
    from tests.clips import Clip

    assert isinstance(first, Clip) and isinstance(second, Clip)
    at = Fraction(r)
    if at < first.length:
        return first.number_at(max(at, Fraction(0)))
    return second.number_at(at - first.length)


def test_the_clock_in_the_picture_says_the_clinical_time(made: honest.Made) -> None:
    """Read back from the pixels of every tenth footage frame: away time is on the clock, to the second."""
    values = honest.time_map(made.folder)
    fps = float(Fraction(values["fps"]))
    pictures = honest.film_pictures(made.folder / "teaching-cut.mp4")
    read = []
    for j in range(0, len(pictures), 10):
        t = j / fps
        piece = honest.piece_at(values, t)
        if piece["kind"] != "footage":
            continue
        clinical = honest.number(piece["clinical"][0]) + (
            honest.recording_time(piece, t) - honest.number(piece["recording"][0])
        )
        h, m, s = read_clock(_clock_of(pictures[j], str(piece["step"]))).split(":")
        seconds = int(h) * 3600 + int(m) * 60 + int(s)
        assert seconds in {int(clinical - 1e-6), int(clinical + 1e-6)}, (j, clinical)
        read.append(seconds)
    assert len(read) > 45
    assert read == sorted(read)
    assert read[-1] > 101 + 33  # both stretches away are on the clock


TITLES = {"first": "Seen in real time", "quick": "Eight times as fast", "last": "Real time again"}


def _clock_of(y: NDArray[np.uint8], step: str) -> NDArray[np.uint8]:
    """The rectangle of the clinical clock; only where it is comes from the overlay, not what it says."""
    height, width = y.shape
    number = {"first": 1, "quick": 2, "last": 4}[step]
    face = OverlayFace(number, 4, TITLES[step], ClinicalTime(Fraction(0)), Fraction(0))
    box = Overlay((width, height), FontChain()).places(face).clock
    assert box is not None
    return y[box.y_px : box.bottom_px, box.x_px : box.right_px]


def test_picture_and_sound_stay_within_twenty_milliseconds(made: honest.Made) -> None:
    """Each tick of a real-time step is heard where its instant is seen; nothing is heard elsewhere."""
    values = honest.time_map(made.folder)
    heard = find_ticks(honest.film_sound(made.folder / "teaching-cut.mp4"), 48000)
    first, second = made.parts
    ticks = [float(t) for t in first.ticks] + [float(first.length + t) for t in second.ticks]
    footage = [p for p in values["pieces"] if p["kind"] == "footage"]
    must = [t for p in footage if p["speed"] == ["1.000000000"] * 2 for t in seen(p, ticks, 0.01)]
    may = [t for p in footage for t in seen(p, ticks, 0.0)]
    assert len(must) > 10
    for t in must:
        assert min(abs(t - h) for h in heard) < 0.020
    for h in heard:
        assert min(abs(t - h) for t in may) < 0.020


def seen(piece: dict[str, Any], ticks: list[float], margin: float) -> list[float]:
    """When the instants of the ticks are on screen in a piece, where it runs at 2x at the most."""
    r0, r1 = map(honest.number, piece["recording"])
    t0, t1 = map(honest.number, piece["cut"])
    times = np.linspace(t0, t1, 20001)
    shown = np.array([honest.recording_time(piece, t) for t in times])
    speed = np.gradient(shown, times)
    found = []
    for tick in ticks:
        if r0 + margin <= tick < r1 - margin:
            at = int(np.argmin(np.abs(shown - tick)))
            if speed[at] <= 2.05:
                found.append(float(times[at]))
    return found


def test_the_step_times_add_up_to_the_clinical_time(made: honest.Made) -> None:
    """Both parts, both stretches away: the ledger file's four kinds make its total."""
    import json

    ledger = json.loads((made.folder / "ledger.json").read_text("utf-8"))
    kinds = [Fraction(ledger[k]) for k in ("real", "fast", "not_shown", "away")]
    first, second = made.parts
    assert sum(kinds) == Fraction(ledger["total"]) == first.length + second.length + 70 + 31


def test_nothing_is_left_beside_the_results(made: honest.Made) -> None:
    """Only finished names and the kept segments remain, and a second run finds all up to date."""
    left = sorted(p.name for p in made.folder.parent.iterdir())
    assert left == [".teachcut-kept", "numbered"]
    before = (made.folder / "teaching-cut.mp4").stat().st_mtime_ns
    assert main(["make", str(made.folder.parent.parent / "case.yaml")]) == 0
    assert (made.folder / "teaching-cut.mp4").stat().st_mtime_ns == before


def test_every_promised_output_is_there(made: honest.Made) -> None:
    """The names the format promises, all of them with something inside."""
    promised = (
        "teaching-cut.mp4 captions.vtt captions.srt chapters.vtt chapters.txt time-map.json "
        "step-times.csv step-times.json step-times.png ledger.json poster.jpg made.json"
    )
    for name in promised.split():
        assert (made.folder / name).stat().st_size > 0, name


def test_no_output_names_the_source(made: honest.Made, tmp_path: Path) -> None:
    """Neither the recordings' names nor any folder of this machine stand in any output."""
    for path in made.folder.iterdir():
        data = path.read_bytes()
        for secret in (b"part-1", b"part-2", str(made.folder.parent.parent).encode()):
            assert secret not in data, path.name
