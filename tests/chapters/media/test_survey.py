"""The fast pass gives the same frames at the same times, and its gate loses no cut."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from av.video.frame import VideoFrame

from chapters.media.decode import PacketDecoder
from chapters.media.frames import small_luma
from chapters.media.probe import Probe, probe
from chapters.media.survey import RUN_S, Tally, groups, key_survey, survey
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from tests.scenes import Grey, shot


def recording(path: Path, pictures: list[Grey], options: dict[str, str]) -> tuple[Path, Probe]:
    """The pictures at 30 frames a second as H.264 with the given encoder options."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30, options=options)
        stream.height, stream.width = pictures[0].shape
        stream.pix_fmt = "yuv420p"
        for n, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(np.repeat(picture[:, :, None], 3, 2), format="rgb24")
            frame.pts = n
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path, probe(path, path.name)


def steady(frames: int, seed: int = 1) -> list[Grey]:
    """A clamped view: nothing moves but the sensor's noise."""
    rng = np.random.default_rng(seed)
    base = shot(seed, 1, noise=0)[0].astype(np.float32)
    return [
        np.clip(base + rng.normal(0, 1.5, base.shape), 0, 255).astype(np.uint8)
        for _ in range(frames)
    ]


CLOSED = {"crf": "20", "g": "30", "sc_threshold": "0", "bf": "0"}
OPEN = {"crf": "20", "g": "30", "bf": "3", "x264-params": "open-gop=1:scenecut=0"}


@pytest.mark.parametrize("options", [CLOSED, {**CLOSED, "bf": "2"}, OPEN])
def test_every_frame_comes_once_in_order(tmp_path: Path, options: dict[str, str]) -> None:
    """Without the gate the times are those of the plain pass, open groups and B pictures included."""
    path, facts = recording(tmp_path / "a.mp4", shot(1, 200), options)
    plain = [time for time, _ in small_luma(path, facts)]

    assert [time for time, *_ in survey(path, facts, workers=2, care="every")] == plain
    assert len(plain) == 200


def test_the_pictures_are_those_of_their_times(tmp_path: Path) -> None:
    """Each small picture matches the plain pass's of the same time, within coding."""
    path, facts = recording(tmp_path / "a.mp4", shot(1, 130), OPEN)
    pairs = zip(small_luma(path, facts), survey(path, facts, workers=2, care="every"), strict=True)

    assert max(float(np.abs(a[1].astype(int) - b[1]).mean()) for a, b in pairs) < 3


def test_no_picture_is_decoded_only_to_be_put_aside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A group ends with its last picture, not with the key picture that follows."""
    path, facts = recording(tmp_path / "a.mp4", shot(1, 130), CLOSED)
    decoded, run = [], PacketDecoder.run

    def counted(self: PacketDecoder, key: int = 0) -> Iterator[tuple[int, VideoFrame]]:
        for number, frame in run(self, key):
            decoded.append(number)
            yield number, frame

    monkeypatch.setattr(PacketDecoder, "run", counted)

    assert len(list(survey(path, facts, workers=1, care="every"))) == 130
    assert sorted(decoded) == list(range(130))


def test_key_survey_gives_the_key_pictures(tmp_path: Path) -> None:
    """One picture a group, at the time of its key picture."""
    path, facts = recording(tmp_path / "a.mp4", shot(1, 130), CLOSED)

    assert [t for t, _ in key_survey(path, facts, workers=2)] == [Fraction(n) for n in range(5)]
    assert len(groups(facts)) == 5


def test_the_gate_leaves_out_a_steady_view(tmp_path: Path) -> None:
    """Where nothing moves, most groups give their key picture only."""
    path, facts = recording(tmp_path / "a.mp4", steady(600), CLOSED)
    tally = Tally()
    frames = list(survey(path, facts, workers=2, tally=tally))

    assert tally.groups == 20
    assert tally.skipped >= 14
    assert len(frames) == 600 - 29 * tally.skipped


@pytest.mark.parametrize(
    "options", [CLOSED, {**CLOSED, "b": "300k", "maxrate": "300k", "bufsize": "100k"}]
)
@pytest.mark.parametrize("away", [3, 10, 25])
def test_a_cut_away_and_back_inside_one_group_is_not_left_out(
    tmp_path: Path, options: dict[str, str], away: int
) -> None:
    """A steady view, another one for some frames inside one group: that group is decoded."""
    if "b" in options:
        options = {k: v for k, v in options.items() if k != "crf"}
    pictures = steady(600)
    pictures[301 : 301 + away] = steady(away, seed=2)
    path, facts = recording(tmp_path / "a.mp4", pictures, options)
    tally = Tally()
    times = {time for time, *_ in survey(path, facts, workers=2, tally=tally)}

    assert tally.skipped > 0
    assert {Fraction(n, 30) for n in range(300, 331)} <= times


@pytest.mark.parametrize("group", [22, 23, 24])
def test_the_border_between_two_runs_of_groups_hides_no_cut_away_and_back(
    tmp_path: Path, group: int
) -> None:
    """The last group of one worker's run and the first of the next are held to the same."""
    assert RUN_S == 24
    pictures = steady(30 * 28)
    pictures[30 * group + 8 : 30 * group + 20] = steady(12, seed=2)
    path, facts = recording(tmp_path / "a.mp4", pictures, CLOSED)
    tally = Tally()
    times = {time for time, *_ in survey(path, facts, workers=2, tally=tally)}

    assert tally.skipped > 14
    assert {Fraction(n, 30) for n in range(30 * group, 30 * group + 31)} <= times


@pytest.mark.parametrize("back", [True, False])
def test_a_small_jump_in_a_steady_view_is_not_left_out(tmp_path: Path, back: bool) -> None:
    """The whole view moves by a few pixels inside a group, for good or for half a second."""
    pictures = steady(600)
    for n in range(308, 323 if back else 600):
        pictures[n] = np.roll(pictures[n], (3, 4), (0, 1))
    path, facts = recording(tmp_path / "a.mp4", pictures, CLOSED)
    tally = Tally()
    times = {time for time, *_ in survey(path, facts, workers=2, tally=tally)}

    assert tally.skipped > 10
    assert {Fraction(n, 30) for n in range(300, 331)} <= times


def test_cuts_are_the_same_whatever_the_care(tmp_path: Path) -> None:
    """A steady recording with two cuts: care changes neither their number nor their times."""
    pictures = steady(250) + steady(200, seed=2) + steady(210, seed=3)
    path, facts = recording(tmp_path / "a.mp4", pictures, CLOSED)
    found = []
    for care in ("calm", "every", "hard"):
        reader = SignalReader()
        for time, luma, tint in survey(path, facts, workers=2, care=care):
            reader.feed(time, luma, tint)
        found.append([(c.at, c.kind) for c in find_cuts(reader.finish(facts.length))])

    assert found[0] == found[1] == found[2]
    assert [at for at, _ in found[0]] == [Fraction(250, 30), Fraction(450, 30)]


def test_another_files_probe_is_refused(tmp_path: Path) -> None:
    """A probe belongs to its file."""
    _, facts = recording(tmp_path / "a.mp4", shot(1, 10), CLOSED)

    with pytest.raises(ValueError, match="not the file that was probed"):
        next(survey(tmp_path / "b.mp4", facts))
