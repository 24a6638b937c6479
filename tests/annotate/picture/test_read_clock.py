"""The reader of clocks: right through compression, and able to say that it cannot read."""

from __future__ import annotations

import subprocess
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest

from annotate.picture.overlay import Overlay
from tests.annotate.picture.drawn import chain, face, noise
from tests.annotate.picture.read_clock import NotRead, read_clock


@pytest.mark.parametrize("size_px", [(320, 180), (640, 360), (1280, 720)])
def test_a_clock_survives_an_encoder(size_px: tuple[int, int], tmp_path: Path) -> None:
    """Clocks drawn over a restless picture read back from decoded H.264, every frame."""
    width, height = size_px
    made = Overlay(size_px, chain())
    clocks = [0, 59, 60, 725, 1234, 4567, 6789, 7890, 35999]
    raw = []
    for number, clock in enumerate(clocks):
        planes = tuple((p // 2 + 60).astype(np.uint8) for p in noise(size_px, number))
        made.draw(*planes, face(clock=clock))
        raw.append(b"".join(p.tobytes() for p in planes))
    film = tmp_path / "clock.mp4"
    size = f"{width}x{height}"
    run = [imageio_ffmpeg.get_ffmpeg_exe(), "-nostdin", "-v", "error", "-y"]
    frames = ["-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", size]
    subprocess.run(
        [*run, *frames, "-r", "10", "-i", "pipe:0", "-c:v", "libx264", "-crf", "26", str(film)],
        input=b"".join(raw),
        check=True,
    )
    done = subprocess.run(
        [*run, "-i", str(film), "-f", "rawvideo", "-pix_fmt", "yuv420p", "pipe:1"],
        check=True,
        capture_output=True,
    )
    decoded = np.frombuffer(done.stdout, np.uint8).reshape(len(clocks), height * 3 // 2, width)
    box = made.places(face(clock=0)).clock
    assert box is not None
    for clock, frame in zip(clocks, decoded, strict=True):
        read = read_clock(frame[box.y_px : box.bottom_px, box.x_px : box.right_px])
        assert read == f"{clock // 3600}:{clock // 60 % 60:02d}:{clock % 60:02d}"


def test_what_is_no_clock_is_not_read() -> None:
    """Bare plate, bars and letters are refused rather than guessed."""
    with pytest.raises(NotRead, match="no light marks"):
        read_clock(np.full((40, 200), 30, np.uint8))
    bars = np.full((40, 200), 30, np.uint8)
    bars[5:35, 20:180:14] = 235
    with pytest.raises(NotRead, match="no digit"):
        read_clock(bars)
    letters = np.full((60, 260), 30, np.uint8)
    mask = chain().draw("XYKWM", 40, "strong")
    letters[10 : 10 + mask.mask.shape[0], 10 : 10 + mask.mask.shape[1]] += (
        mask.mask // 2 + mask.mask // 4
    )
    with pytest.raises(NotRead, match="no digit"):
        read_clock(letters)
