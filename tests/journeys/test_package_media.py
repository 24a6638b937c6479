"""Real recordings that other packages carry: each makes a teaching cut or is refused in one sentence."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from tests.clips import absent
from tests.journeys import trial
from tests.media_packages import cache_folder, package_media

pytestmark = [pytest.mark.media, pytest.mark.timeout(400)]

#: Name -> seconds of picture, as decoded and counted with another tool.
LASTS_S = {
    "bikes.mp4": 10.0,
    "face_noface.mov": 6.42,
    "no_face.mp4": 4.015,  # 24/s, its last picture stands for 0.098 s
    "cityCC0.mpg": 7.6,
    "breakdance.flv": 1.87,
    "10min.mkv": 600.0,
}
REFUSED = {"mp4-with-audio.mp4": "holds no video", "sample.mkv": "its beginning is damaged"}


@pytest.mark.parametrize("name", LASTS_S)
def test_a_packaged_recording_makes_a_film(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The film reads back as planned and its clinical time is the recording's length."""
    told = trial.make(package_media(name), tmp_path, LASTS_S[name], capsys)
    trial.check_made(told, LASTS_S[name])


@pytest.mark.parametrize("name", REFUSED)
def test_a_packaged_file_that_is_no_recording_is_refused(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence that names the file and says what is wrong with it; nothing is written."""
    told = trial.make(package_media(name), tmp_path, 5.0, capsys)
    trial.check_refused(told, name, REFUSED[name])


def test_a_truncated_recording_says_where_it_ends_and_which_step_it_touches(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is there is used; the note names the place, the promised length and the step."""
    told = trial.make(package_media("breakdance.flv"), tmp_path, 1.87, capsys, to_the_end=True)
    (note,) = [w for w in told.outcome["warnings"] if "ends here" in w]
    assert "at 0:01.8" in note
    assert "promises 0:47" in note
    assert note.endswith("it touches quick")


def test_a_recording_at_two_rates_keeps_its_times(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """30 then 24 pictures a second in one track: told as variable, and still 6.42 s of clinical time."""
    told = trial.make(package_media("face_noface.mov"), tmp_path, 6.42, capsys)
    assert [w for w in told.outcome["warnings"] if "variable frame rate" in w]
    ledger = json.loads((told.folder / "ledger.json").read_text("utf-8"))
    assert float(Fraction(ledger["total"])) == pytest.approx(6.42, abs=0.05)


def test_a_package_that_cannot_be_had_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With nothing to be skipped its absence is a failure, else a skip that says what was not checked."""
    monkeypatch.setenv("TEACHCUT_NO_SKIP", "1")
    with pytest.raises(pytest.fail.Exception, match="the moon is not there"):
        absent("the moon")
    monkeypatch.setenv("TEACHCUT_NO_SKIP", "0")
    with pytest.raises(pytest.skip.Exception, match="NOT CHECKED: the moon"):
        absent("the moon")
    monkeypatch.setenv("TEACHCUT_CACHE", str(tmp_path / "kept"))
    assert cache_folder() == tmp_path / "kept"
