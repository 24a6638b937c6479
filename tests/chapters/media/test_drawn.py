"""Recordings written from drawn pictures: time stamps, colours and sound arrive as given."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from chapters.errors import EncoderError
from chapters.media.drawn import SOUND_RATE_HZ, write_recording

TICK = Fraction(1, 90000)
SIZE = (96, 64)
STAMPS = (0, 3600, 7155, 13200, 13201, 40000, 46007)
LENGTH = 52000


def pictures() -> Iterator[tuple[int, NDArray[np.uint8]]]:
    """Grey pictures, each 20 levels lighter than the one before."""
    for i, at in enumerate(STAMPS):
        yield at, np.full((SIZE[1], SIZE[0], 3), 40 + 20 * i, np.uint8)


def write(path: Path, frames: Iterator[tuple[int, NDArray[np.uint8]]], **more: object) -> Path:
    """A recording of ``LENGTH`` ticks."""
    write_recording(
        path, frames, size_px=SIZE, time_base=TICK, length_ticks=LENGTH, quality=1, **more
    )  # type: ignore[arg-type]
    return path


def test_every_frame_keeps_its_time_stamp_and_the_last_one_its_length(tmp_path: Path) -> None:
    """Irregular time stamps come back tick for tick, and the track is as long as was asked."""
    path = write(tmp_path / "c.mp4", pictures())
    with av.open(str(path)) as found:
        stream = found.streams.video[0]
        stamps = [frame.pts * stream.time_base for frame in found.decode(stream)]
        length = stream.duration * stream.time_base
    assert stamps == [at * TICK for at in STAMPS]
    assert length == LENGTH * TICK


def test_colours_come_back_on_the_bt709_path(tmp_path: Path) -> None:
    """Patches are within 2 levels after BT.709 decoding, and the stream says BT.709, limited."""
    patch = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    colours = [(200, 40, 40), (40, 160, 60), (0, 114, 178), (235, 230, 220)]
    for i, colour in enumerate(colours):
        patch[:, i * 24 : (i + 1) * 24] = colour
    path = write(tmp_path / "c.mp4", iter([(0, patch), (3600, patch)]))
    with av.open(str(path)) as found:
        frame = next(found.decode(video=0))
        context = found.streams.video[0].codec_context
        tags = (context.color_primaries, context.color_trc, context.colorspace)
        assert tags == (1, 1, 1)
        assert int(context.color_range) == 1
        seen = frame.reformat(format="rgb24", src_colorspace=1, dst_colorspace=1).to_ndarray()
    for i, colour in enumerate(colours):
        middle = seen[16:48, i * 24 + 6 : i * 24 + 18].reshape(-1, 3).mean(axis=0)
        assert np.abs(middle - colour).max() <= 2


def test_planes_are_written_as_they_are(tmp_path: Path) -> None:
    """A planar 4:2:0 picture reaches the file without a change of colour."""
    planes = np.full((SIZE[1] * 3 // 2, SIZE[0]), 128, np.uint8)
    planes[: SIZE[1]] = 90
    planes[SIZE[1] : SIZE[1] * 5 // 4] = 150
    path = write(tmp_path / "c.mp4", iter([(0, planes)]))
    with av.open(str(path)) as found:
        frame = next(found.decode(video=0))
        assert frame.format.name == "yuv420p"
        seen = frame.to_ndarray()
    assert np.abs(seen.astype(int) - planes).max() <= 1


def test_a_click_in_the_sound_is_where_it_was_put(tmp_path: Path) -> None:
    """The sound starts at zero with the picture: a click at 0.4 s is heard there within 1 ms."""
    sound = np.zeros((round(LENGTH * TICK * SOUND_RATE_HZ), 2), np.float32)
    at = round(0.4 * SOUND_RATE_HZ)
    sound[at : at + 240] = 0.8
    path = write(tmp_path / "c.mp4", pictures(), sound=np.array_split(sound, 7))
    with av.open(str(path)) as found:
        stream = found.streams.audio[0]
        heard = [(f.pts * stream.time_base, f.to_ndarray()[0]) for f in found.decode(stream)]
    start = heard[0][0]
    samples = np.concatenate([block for _, block in heard])
    first = np.flatnonzero(np.abs(samples) > 0.4)[0]
    assert abs(float(start) + first / SOUND_RATE_HZ - 0.4) < 0.001


def test_an_odd_size_is_an_error_of_the_encoder(tmp_path: Path) -> None:
    """What the encoder refuses becomes one EncoderError that names the file."""
    odd = np.zeros((63, 95, 3), np.uint8)
    with pytest.raises(EncoderError, match=r"^c\.mp4: the encoder failed") as caught:
        write_recording(
            tmp_path / "c.mp4", [(0, odd)], size_px=(95, 63), time_base=TICK, length_ticks=3600
        )
    assert caught.value.place == "c.mp4"
