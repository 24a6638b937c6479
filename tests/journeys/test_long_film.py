"""Forty minutes in one film: sound and picture stay together to the end."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.cli import main
from tests.clips import SoundTrack, VideoTrack, even_times, find_ticks, write_clip

pytestmark = pytest.mark.timeout(900)

FPS = 10
LENGTH_S = 40 * 60
#: Instants with a flash and a tick at once: soon, at odd places, and close to the end.
INSTANTS = tuple(Fraction(n, FPS) for n in (17, 3003, 9001, 14407, 20011, 23987))
CASE = """\
case: long
title: Forty minutes
subject: simulated
sound: room
fps: 10
recordings: [part.mp4]
steps:
  - {id: all, title: Whole, from: 0}
"""


def flashing(number: int, width_px: int, height_px: int) -> tuple[NDArray[np.uint8], ...]:
    """Planes of a dark frame, bright at the instants."""
    level = 220 if Fraction(number, FPS) in INSTANTS else 40
    chroma = np.full((height_px // 2, width_px // 2), 128, np.uint8)
    return np.full((height_px, width_px), level, np.uint8), chroma, chroma


def flashes(film: Path) -> list[float]:
    """When a bright frame begins in the middle of the film's footage, in seconds."""
    found = []
    with av.open(str(film)) as box:
        for frame in box.decode(video=0):
            spot = frame.to_ndarray(format="gray")[40:60, 60:100]
            if spot.mean() > 150:
                found.append(float(frame.time))
    return found


def test_flash_and_tick_stay_within_twenty_milliseconds(tmp_path: Path) -> None:
    """At every place of a film of 40 minutes, from sound that was recorded at another rate."""
    write_clip(
        tmp_path / "part.mp4",
        VideoTrack(even_times(LENGTH_S * FPS, FPS), size_px=(160, 120), draw=flashing, gop=100),
        SoundTrack(INSTANTS, rate_hz=44100),
    )
    case = tmp_path / "case.yaml"
    case.write_text(CASE, encoding="utf-8")
    assert main(["make", str(case)]) == 0

    film = tmp_path / "out" / "long" / "teaching-cut.mp4"
    seen = flashes(film)
    with av.open(str(film)) as box:
        blocks = [f.to_ndarray().astype(np.float32) for f in box.decode(audio=0)]
    heard = find_ticks(np.concatenate(blocks, axis=1).T, 48000)

    assert len(seen) == len(heard) == len(INSTANTS)
    assert max(abs(s - h) for s, h in zip(seen, heard, strict=True)) < 0.020
    assert np.allclose(np.diff(seen), np.diff([float(t) for t in INSTANTS]), atol=1e-6)
