"""Sound at exact times: offsets, priming, layouts, damage and silence."""

from __future__ import annotations

import tracemalloc
from contextlib import AbstractContextManager
from fractions import Fraction as F
from pathlib import Path

import av
import numpy as np
import pytest
from av.container import InputContainer

from chapters.media.opening import open_recording
from chapters.media.probe import Probe, probe
from chapters.media.samples import SampleReader, downmix_matrix, read_samples
from tests.clips import Clip, SoundTrack, VideoTrack, even_times, find_ticks, write_clip

TICKS = (F(1, 2), F(1), F(7, 4), F(3))
EXACT_MP4 = {"movie_timescale": "90000"}  # else the writer rounds an offset to milliseconds


def make(path: Path, start: F = F(0), video_start: F = F(0), **sound: object) -> tuple[Clip, Probe]:
    codec = "mpeg4" if path.suffix == ".avi" else "libx264"
    clip = write_clip(
        path,
        VideoTrack(even_times(120, 30, start=video_start), codec=codec),
        SoundTrack(ticks=TICKS, start=start, **sound),  # type: ignore[arg-type]
        EXACT_MP4 if path.suffix in (".mp4", ".mov") else None,
    )
    return clip, probe(clip.path, path.name)


def heard(clip: Clip, found: Probe) -> list[float]:
    return find_ticks(read_samples(clip.path, found, F(0), found.length), 48000)


@pytest.mark.parametrize(
    ("name", "codec", "rate", "layout", "start", "video_start"),
    [
        ("c.mp4", "aac", 48000, "stereo", F(0), F(0)),
        ("c.mp4", "aac", 44100, "mono", F(7, 10), F(0)),
        ("c.mp4", "aac", 48000, "stereo", F(0), F(1, 3)),
        ("c.mkv", "aac", 48000, "stereo", F(7, 10), F(0)),
        ("c.mkv", "libopus", 48000, "stereo", F(0), F(0)),
        ("c.mkv", "aac", 44100, "5.1", F(0), F(0)),
        ("c.mkv", "ac3", 48000, "5.1", F(0), F(0)),
        ("c.ts", "aac", 48000, "stereo", F(0), F(0)),
        ("c.mov", "pcm_s16le", 32000, "stereo", F(0), F(1)),
        ("c.avi", "pcm_s16le", 44100, "stereo", F(0), F(0)),
        ("c.mp4", "aac", 22050, "mono", F(0), F(0)),
    ],
)
def test_ticks_lie_where_the_picture_has_them(
    tmp_path: Path, name: str, codec: str, rate: int, layout: str, start: F, video_start: F
) -> None:
    """Late sound, late picture, encoder priming, any container: within one millisecond."""
    clip, found = make(
        tmp_path / name, start, video_start, codec=codec, rate_hz=rate, layout=layout
    )
    want = [float(t) for t in clip.ticks if 0 <= t < found.length]
    got = heard(clip, found)
    assert len(got) == len(want)
    assert max(abs(g - w) for g, w in zip(got, want, strict=True)) < 0.001


@pytest.mark.parametrize("name", ["c.mp4", "c.mkv", "c.ts"])
def test_reading_from_the_middle_gives_the_same_samples(tmp_path: Path, name: str) -> None:
    """A seek into the sound lands on the sample, as exactly as the container's stamps allow."""
    clip, found = make(tmp_path / name)
    whole = read_samples(clip.path, found, F(0), found.length)
    for start in (F(5, 2), F(2999, 1000), F(31, 10)):
        part = read_samples(clip.path, found, start, found.length)
        same = whole[round(start * 48000) :][: len(part)]
        if name == "c.mkv":  # stamps are whole milliseconds there, so no more can be known
            got, want = (find_ticks(sound, 48000) for sound in (part, same))
            assert got == pytest.approx(want, abs=0.001)
        else:
            assert np.abs(part[: len(same)] - same).max() < 1e-3


def test_a_stream_of_short_reads_equals_one_long_read(tmp_path: Path) -> None:
    """Reading frame by frame at an odd rate loses and repeats nothing."""
    clip, found = make(tmp_path / "c.mp4")
    whole = read_samples(clip.path, found, F(0), F(119 * 1001, 30000))
    with SampleReader(clip.path, found) as reader:
        pieces = [reader.read(F(i * 1001, 30000), F((i + 1) * 1001, 30000)) for i in range(119)]
    total = sum(map(len, pieces))
    assert abs(total - len(whole)) <= 119  # each piece is rounded by itself
    at = 0
    for i, piece in enumerate(pieces):
        at = round(F(i * 1001, 30000) * 48000)
        same = whole[at : at + len(piece)]
        assert np.array_equal(piece[: len(same)], same)


def test_reading_backward_and_far_ahead_works(tmp_path: Path) -> None:
    """The order of the questions does not matter."""
    clip, found = make(tmp_path / "c.mp4")
    whole = read_samples(clip.path, found, F(0), F(4))
    with SampleReader(clip.path, found) as reader:
        for start in (F(3), F(0), F(5, 2), F(1)):
            part = reader.read(start, start + F(1, 2))
            want = whole[int(start * 48000) :][:24000]
            assert np.abs(part - want).max() < 1e-3


def test_a_seek_does_not_open_the_file_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A film of a hundred stretches reads the index of a long recording once, not a hundred times."""
    opened: list[Path] = []

    def counting(path: Path, shown_as: str) -> AbstractContextManager[InputContainer]:
        opened.append(path)
        return open_recording(path, shown_as)

    clip = write_clip(
        tmp_path / "c.mp4",
        VideoTrack(even_times(60, 1), size_px=(64, 48), draw=_grey),
        SoundTrack(ticks=tuple(F(10 * n + 1) for n in range(1, 6))),
    )
    found = probe(clip.path, "c.mp4")
    monkeypatch.setattr("chapters.media.samples.open_recording", counting)
    with SampleReader(clip.path, found) as reader:
        for ten in (10, 40, 20, 50, 30):
            sound = reader.read(F(ten), F(ten + 2))
            assert find_ticks(sound, 48000) == pytest.approx([1.0], abs=0.001)
    assert len(opened) == 1


def test_outside_the_track_there_is_silence(tmp_path: Path) -> None:
    """Before a late start, after an early end and beyond the part: zeros, never fewer samples."""
    clip, found = make(tmp_path / "c.mkv", start=F(1), length=F(2))
    sound = read_samples(clip.path, found, F(-1), F(10))
    assert sound.shape == (11 * 48000, 2)
    assert sound.dtype == np.float32
    assert not sound[: int(1.97 * 48000)].any()
    assert not sound[int(4.1 * 48000) :].any()
    assert sound.any()


def test_a_recording_without_sound_is_silent(tmp_path: Path) -> None:
    """No track: the right number of zeros, and the notice says so."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(30, 30)))
    found = probe(clip.path, "c.mp4")
    assert found.sound is None
    assert any("no sound" in notice for notice in found.notices)
    sound = read_samples(clip.path, found, F(0), F(1))
    assert sound.shape == (48000, 2)
    assert not sound.any()


def test_damaged_sound_costs_only_the_damaged_part(tmp_path: Path) -> None:
    """Garbage in the middle of a track: the ticks before and after it are still in place."""
    clip, _ = make(tmp_path / "c.mkv", codec="ac3")
    data = bytearray(clip.path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 1500] = bytes(1500)
    clip.path.write_bytes(data)
    found = probe(clip.path, "c.mkv")
    got = heard(clip, found)
    for tick in (0.5, 1.0, 3.0):
        assert min(abs(g - tick) for g in got) < 0.001


def test_a_hole_in_the_sound_is_silence_and_what_follows_is_in_place(tmp_path: Path) -> None:
    """A stream whose stamps leap by a second: the later ticks keep their own time."""
    clip, _ = make(tmp_path / "c.mkv")
    with av.open(str(clip.path)) as old, av.open(str(tmp_path / "h.mkv"), "w") as new:
        streams = {s.index: new.add_stream_from_template(s, opaque=True) for s in old.streams}
        for packet in old.demux():
            if packet.size == 0:
                continue
            at = float((packet.pts or 0) * packet.time_base)
            if packet.stream.type == "audio" and 1.3 < at < 1.6:
                continue
            packet.stream = streams[packet.stream_index]
            new.mux(packet)
    found = probe(tmp_path / "h.mkv", "h.mkv")
    sound = read_samples(tmp_path / "h.mkv", found, F(0), F(4))
    assert find_ticks(sound, 48000) == pytest.approx([0.5, 1.0, 1.75, 3.0], abs=0.001)
    assert not sound[int(1.36 * 48000) : int(1.58 * 48000)].any()


@pytest.mark.parametrize(("swing", "lasting"), [(11, False), (8, True)])
def test_stamps_that_swing_are_ridden_out_and_those_that_stay_away_followed(
    tmp_path: Path, swing: int, lasting: bool
) -> None:
    """Stamps 11 ms late for a moment change nothing; 8 ms late for good, the sound follows."""
    clip, found = make(tmp_path / "c.mkv", codec="pcm_s16le")
    with av.open(str(clip.path)) as old, av.open(str(tmp_path / "s.mkv"), "w") as new:
        streams = {s.index: new.add_stream_from_template(s, opaque=True) for s in old.streams}
        for packet in old.demux():
            if packet.size == 0:
                continue
            late = packet.stream.type == "audio" and (packet.pts or 0) > 1300
            if late and (lasting or (packet.pts or 0) < 1500):
                packet.pts, packet.dts = (packet.pts or 0) + swing, (packet.pts or 0) + swing
            packet.stream = streams[packet.stream_index]
            new.mux(packet)
    after = probe(tmp_path / "s.mkv", "s.mkv")
    before = read_samples(clip.path, found, F(0), F(4))
    sound = read_samples(tmp_path / "s.mkv", after, F(0), F(4))
    assert find_ticks(sound, 48000)[-1] == pytest.approx(3.008 if lasting else 3, abs=0.0015)
    if not lasting:
        assert np.array_equal(sound, before)


def test_sound_follows_the_picture_when_the_clock_was_set_back(tmp_path: Path) -> None:
    """Two recordings in one stream, each from zero: the ticks of the second come after the first."""
    one, _ = make(tmp_path / "1.ts")
    two, _ = make(tmp_path / "2.ts")
    both = tmp_path / "both.ts"
    both.write_bytes(one.path.read_bytes() + two.path.read_bytes())
    found = probe(both, "both.ts")
    assert found.length == 8
    got = find_ticks(read_samples(both, found, F(0), F(8)), 48000)
    want = [float(t + part) for part in (0, 4) for t in TICKS]
    assert got == pytest.approx(want, abs=0.002)
    assert find_ticks(read_samples(both, found, F(6), F(8)), 48000) == pytest.approx(
        [1.0], abs=0.002
    )


def test_one_channel_goes_to_both_sides_at_its_own_level(tmp_path: Path) -> None:
    """Mono is not turned down, left and right are the same."""
    clip, found = make(tmp_path / "c.mkv", codec="flac", layout="mono")
    sound = read_samples(clip.path, found, F(0), F(4))
    assert np.array_equal(sound[:, 0], sound[:, 1])
    assert float(np.abs(sound).max()) == pytest.approx(0.8, abs=0.02)


def test_channels_are_mixed_as_bt_775_says_and_cannot_clip() -> None:
    """Centre and surrounds at 0.7071 beside the front, low frequencies left out, sum at most 1."""
    weights = downmix_matrix(("FL", "FR", "FC", "LFE", "SL", "SR"))
    scale = 1 + 2 * 2**-0.5
    assert weights[:, 0] * scale == pytest.approx([1, 0, 2**-0.5, 0, 2**-0.5, 0])
    assert weights[:, 1] * scale == pytest.approx([0, 1, 2**-0.5, 0, 0, 2**-0.5])
    assert downmix_matrix(("FL", "FR")).tolist() == [[1, 0], [0, 1]]
    assert downmix_matrix(("FC",)).tolist() == [[1, 1]]
    assert downmix_matrix(("?", "?")).tolist() == [[1, 0], [0, 1]]
    for names in (("FL", "FR", "FC"), ("FL", "FR", "BL", "BR"), ("FC", "BC"), ("?",) * 8):
        assert downmix_matrix(names).sum(axis=0).max() <= 1 + 1e-6


def test_a_long_recording_does_not_fill_the_memory(tmp_path: Path) -> None:
    """Streaming through six minutes of sound keeps to some megabytes."""
    clip = write_clip(
        tmp_path / "c.mkv",
        VideoTrack(even_times(360, 1), size_px=(64, 48), gop=60, draw=_grey),
        SoundTrack(codec="flac", layout="mono", length=F(360)),
    )
    found = probe(clip.path, "c.mkv")
    with SampleReader(clip.path, found) as reader:
        reader.read(F(0), F(1))
        tracemalloc.start()
        for second in range(1, 360):
            reader.read(F(second), F(second + 1))
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert peak < 8_000_000


def _grey(number: int, width: int, height: int) -> list[np.typing.NDArray[np.uint8]]:
    half = np.full((height // 2, width // 2), 128, np.uint8)
    return [np.full((height, width), 100, np.uint8), half, half]
