"""The working case that tests of wrong input spoil."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from tests.clips import SoundTrack, VideoTrack, even_times, write_clip
from tests.journeys.places import CASE, Place


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of a recording of ten seconds."""
    path = tmp_path_factory.mktemp("good") / "good.mp4"
    write_clip(path, VideoTrack(even_times(250, 25), size_px=(320, 240)), SoundTrack())
    return path.read_bytes()


@pytest.fixture
def place(tmp_path: Path, good: bytes, capsys: pytest.CaptureFixture[str]) -> Place:
    """A folder with the working case."""
    (tmp_path / "good.mp4").write_bytes(good)
    Image.new("RGB", (64, 48), "white").save(tmp_path / "good.png")
    here = Place(tmp_path, capsys)
    here.write(CASE)
    return here
