"""The picture comes upright, with square pixels and whole, whatever the file stores."""

from __future__ import annotations

import itertools
import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from chapters.media.colour import place
from chapters.media.frames import FrameReader, Picture
from chapters.media.picture import Turn, display_size, even, turn_of, usable_sar
from chapters.media.probe import Probe, probe
from tests.clips import (
    VideoTrack,
    even_times,
    ffmpeg,
    numbered_planes,
    read_number,
    write_clip,
)

EIGHT = [Turn(*flags) for flags in itertools.product((False, True), repeat=3)]


def corners(number: int, width: int, height: int) -> list[NDArray[np.uint8]]:
    """Four quarters of different luma, so that each of the eight ways to lie looks different."""
    y = np.empty((height, width), np.uint8)
    half_h, half_w = height // 2, width // 2
    y[:half_h, :half_w], y[:half_h, half_w:] = 40, 90
    y[half_h:, :half_w], y[half_h:, half_w:] = 150, 220
    u = np.full((height // 2, width // 2), 110, np.uint8)
    u[:, : width // 4] = 150
    return [y, u, np.full_like(u, 128)]


def first_picture(path: Path, size_px: tuple[int, int] | None = None) -> tuple[Probe, Picture]:
    found = probe(path, path.name)
    size = size_px or (found.video.width_px, found.video.height_px)
    with FrameReader(path, found, size) as reader:
        return found, next(reader.from_time(Fraction(0)))


def matrix(turn: Turn) -> bytes:
    """The display matrix of a turn, straight from its meaning: where do x and y go?"""
    x, y = (-1 if turn.flip_x else 1), (-1 if turn.flip_y else 1)
    a, b, c, d = (0, y, x, 0) if turn.transpose else (x, 0, 0, y)
    return struct.pack("=9i", *(v * 65536 for v in (a, b, 0, c, d, 0, 0, 0)), 1 << 30)


@pytest.mark.parametrize("turn", EIGHT, ids=str)
def test_a_display_matrix_gives_its_turn_back(turn: Turn) -> None:
    """Each of the eight quarter turns and mirrorings is told apart."""
    assert turn_of(matrix(turn)) == (turn, "")


@pytest.mark.parametrize("turn", EIGHT, ids=str)
def test_rotation_and_mirroring_in_words_do_what_the_turn_does(turn: Turn) -> None:
    """Mirroring left to right, then turning clockwise, equals the turn on a picture."""
    plane = np.arange(12, dtype=np.uint8).reshape(3, 4)
    said = plane[:, ::-1] if turn.mirrored else plane
    assert np.array_equal(np.rot90(said, -turn.rotation_deg // 90), turn.apply(plane))


def test_an_impossible_matrix_leaves_the_picture_as_it_is_and_says_so() -> None:
    """A matrix of zeros, as broken writers make, is no turn; 30 degrees goes to the nearest."""
    assert turn_of(bytes(36)) == (Turn(), "a turning matrix without meaning")
    slanted = struct.pack("=9i", 56756, 32768, 0, -32768, 56756, 0, 0, 0, 1 << 30)
    assert turn_of(slanted) == (Turn(), "a turn by no right angle")


@pytest.mark.parametrize("degrees", [0, 90, 180, 270])
@pytest.mark.parametrize("mirror", [(False, False), (True, False), (False, True)])
def test_every_way_to_lie_comes_out_as_the_ffmpeg_binary_shows_it(
    tmp_path: Path, degrees: int, mirror: tuple[bool, bool]
) -> None:
    """All turns and mirrorings agree with an independent player's own turning, all three planes."""
    clip = write_clip(
        tmp_path / "c.mp4",
        VideoTrack(
            even_times(2, 30),
            size_px=(96, 64),
            turn=(degrees, *mirror),
            draw=corners,
            quality=1,
            tags={"colorspace": 1, "color_range": 1},
        ),
    )
    found, picture = first_picture(clip.path)
    width, height = found.video.width_px, found.video.height_px
    raw = ffmpeg(
        "-i", clip.path, "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-"
    )  # fmt: skip
    assert len(raw) == width * height * 3 // 2
    planes = np.frombuffer(raw, np.uint8)
    y = planes[: width * height].reshape(height, width)
    u = planes[width * height :][: width * height // 4].reshape(height // 2, width // 2)
    assert np.abs(picture.y.astype(int) - y).max() <= 1
    assert np.abs(picture.u.astype(int) - u).max() <= 1


def test_pixels_that_are_not_square_are_stretched_to_their_shape(tmp_path: Path) -> None:
    """A clip of 320 x 192 with pixels of 4:3 comes out 426 wide, its code still in place."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(3, 30), sar=Fraction(4, 3)))
    found, picture = first_picture(clip.path)
    assert (found.video.width_px, found.video.height_px) == (426, 192)
    assert picture.y.shape == (192, 426)
    assert read_number(picture.y) == 0


@pytest.mark.parametrize("sar", [Fraction(0), None, Fraction(1, 1000), Fraction(500)])
def test_an_impossible_pixel_shape_counts_as_square(sar: Fraction | None) -> None:
    """Nothing, zero and absurd ratios are read as 1."""
    assert usable_sar(sar) == 1


def test_odd_sizes_become_even() -> None:
    """161 x 121 is shown as 162 x 122; no size falls under two."""
    assert display_size((161, 121), Fraction(1), Turn()) == (162, 122)
    assert display_size((161, 121), Fraction(1), Turn(transpose=True)) == (122, 162)
    assert even(Fraction(1, 10)) == 2


def test_another_shape_is_set_in_black_and_keeps_its_proportions(tmp_path: Path) -> None:
    """A 320 x 192 clip in a square of 200 has black above and below and is 120 high."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(2, 30)))
    _, picture = first_picture(clip.path, (200, 200))
    spot = place((320, 192), (200, 200))
    assert (spot.x, spot.y, spot.width, spot.height) == (0, 40, 200, 120)
    assert np.all(picture.y[:40] == 16)
    assert np.all(picture.y[160:] == 16)
    assert np.all(picture.u[:20] == 128)
    assert read_number(picture.y, (spot.x, spot.y, spot.width, spot.height)) == 0


def test_a_change_of_size_in_mid_recording_is_followed(tmp_path: Path) -> None:
    """Two program streams of different size one after the other: every frame at the size asked."""
    one = write_clip(tmp_path / "1.ts", VideoTrack(even_times(20, 30), gop=10))
    two = write_clip(
        tmp_path / "2.ts",
        VideoTrack(even_times(20, 30), tuple(range(20, 40)), size_px=(480, 288), gop=10),
    )
    both = tmp_path / "both.ts"
    both.write_bytes(one.path.read_bytes() + two.path.read_bytes())
    found = probe(both, "both.ts")
    with FrameReader(both, found, (320, 192)) as reader:
        numbers = [read_number(p.y) for p in reader.from_time(Fraction(0))]
    assert numbers == list(range(40))


@pytest.mark.parametrize("pix_fmt", ["yuv420p", "yuv444p", "yuv422p", "yuv420p10le"])
def test_planes_belong_to_the_caller(tmp_path: Path, pix_fmt: str) -> None:
    """Writing all over a picture's planes spoils no later picture."""

    def draw(number: int, width: int, height: int) -> list[NDArray[np.generic]]:
        y, u, v = numbered_planes(number, width, height)
        if pix_fmt == "yuv444p":
            u, v = (np.repeat(np.repeat(c, 2, 0), 2, 1) for c in (u, v))
        elif pix_fmt == "yuv422p":
            u, v = np.repeat(u, 2, 0), np.repeat(v, 2, 0)
        elif pix_fmt.endswith("10le"):
            return [plane.astype(np.uint16) << 2 for plane in (y, u, v)]
        return [y, u, v]

    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(40, 30), pix_fmt=pix_fmt, draw=draw)
    )
    found = probe(clip.path, "c.mp4")
    numbers = []
    with FrameReader(clip.path, found, (320, 192)) as reader:
        for picture in reader.from_time(Fraction(0)):
            numbers.append(read_number(picture.y))
            for plane in (picture.y, picture.u, picture.v):
                assert plane.flags.c_contiguous
                plane[:] = 255
    assert numbers == list(range(40))
