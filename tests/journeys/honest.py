"""A case over a numbered recording, and an independent reading of the finished film.

The expected recording time of every output frame is worked out here from ``time-map.json`` by the
published formula alone, in floating point, without a line of the code under test.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

from tests.clips import Clip, SoundTrack, VideoTrack, even_times, wavering_times, write_clip

Plane = NDArray[np.uint8]

CASE = """\
case: numbered
title: Numbered frames
subject: simulated
sound: room
recordings:
  - file: part-1.mp4
  - {file: part-2.mp4, away_before: 1:10, reason: radiograph}
away:
  - {at: 6, lasted: 0:31, reason: telephone}
steps:
  - {id: first, title: Seen in real time, from: 1, to: 5.5, note: Frames pass one by one.}
  - {id: quick, title: Eight times as fast, from: 8.25, to: 31, show: 8x}
  - {id: left-out, title: Left out, from: 31, to: 33, show: skip}
  - {id: last, title: Real time again, from: 33}
"""


@dataclass(frozen=True)
class Made:
    """The two parts with their truth, and the folder of results."""

    parts: tuple[Clip, Clip]
    folder: Path


def write_numbered_case(folder: Path, size_px: tuple[int, int] = (640, 360)) -> tuple[Clip, Clip]:
    """Part 1 at a wavering rate, part 2 at 25 frames a second; ticks once a second in both."""
    first_times = wavering_times(420)
    first = write_clip(
        folder / "part-1.mp4",
        VideoTrack(first_times, size_px=size_px, tags={"color_range": 1, "colorspace": 1}),
        SoundTrack(tuple(Fraction(n) + Fraction(1, 4) for n in range(int(first_times[-1])))),
    )
    second = write_clip(
        folder / "part-2.mp4",
        VideoTrack(
            even_times(440, 25),
            tuple(range(1000, 1440)),
            size_px=size_px,
            last_lasts=Fraction(1, 25),
            tags={"color_range": 1, "colorspace": 1},
        ),
        SoundTrack(tuple(Fraction(n) + Fraction(1, 2) for n in range(17))),
    )
    (folder / "case.yaml").write_text(CASE, encoding="utf-8")
    return first, second


def time_map(folder: Path) -> dict[str, Any]:
    """``time-map.json`` as it stands on disk."""
    values: dict[str, Any] = json.loads((folder / "time-map.json").read_text("utf-8"))
    return values


def piece_at(values: dict[str, Any], t: float) -> dict[str, Any]:
    """The piece of the film at cut time ``t``."""
    found = [p for p in values["pieces"] if number(p["cut"][0]) <= t + 1e-9]
    piece: dict[str, Any] = found[-1]
    return piece


def number(text: str) -> float:
    """An exact time of the file as a float."""
    return float(Fraction(text))


def recording_time(piece: dict[str, Any], t: float) -> float:
    """r(u) = r0 + d (s0 u + (s1 - s0) (u^3 - u^4 / 2)), the formula that the format states."""
    t0, t1 = map(number, piece["cut"])
    s0, s1 = map(number, piece["speed"])
    d = t1 - t0
    u = (t - t0) / d
    return number(piece["recording"][0]) + d * (s0 * u + (s1 - s0) * (u**3 - u**4 / 2))


def film_pictures(path: Path) -> list[Plane]:
    """The luma of every frame of a film, in order of its time stamps."""
    with av.open(str(path)) as box:
        frames = [(f.pts, f.to_ndarray(format="yuv420p")[: f.height]) for f in box.decode(video=0)]
    return [y for _, y in sorted(frames, key=lambda pair: pair[0] or 0)]


def film_sound(path: Path) -> NDArray[np.float32]:
    """The film's sound as (n, 2) at its own rate, from the first sample that is presented."""
    with av.open(str(path)) as box:
        blocks = [f.to_ndarray() for f in box.decode(audio=0)]
    return np.concatenate(blocks, axis=1).T.astype(np.float32)
