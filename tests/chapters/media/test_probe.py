"""What a probe finds, and in which words it refuses."""

from __future__ import annotations

import pickle
from datetime import UTC, datetime
from fractions import Fraction as F
from pathlib import Path

import pytest

from chapters.errors import RecordingError
from chapters.media.files import check_input
from chapters.media.frames import FrameReader
from chapters.media.opening import top_boxes
from chapters.media.probe import probe
from tests.clips import (
    SoundTrack,
    VideoTrack,
    even_times,
    ffmpeg,
    read_number,
    wavering_times,
    write_clip,
)


def refusal(path: Path) -> str:
    """What the user is told, which must be one clear sentence."""
    with pytest.raises(RecordingError) as caught:
        probe(check_input(path, path.name), path.name)
    text = str(caught.value)
    assert text.startswith(f"{path.name}: ")
    assert len(text) < 300
    for word in ("Error", "Errno", "Traceback", "0x", "\n", str(path.parent)):
        assert word not in text, text
    return text


def test_a_plain_recording_has_nothing_odd_to_tell(tmp_path: Path) -> None:
    """Size, rate, length, key frames and sound as written; no notice, no damage."""
    tags = {"colorspace": 1, "color_range": 1, "color_primaries": 1, "color_trc": 1}
    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(90, 30), gop=30, tags=tags), SoundTrack()
    )
    found = probe(clip.path, "c.mp4")
    assert (found.video.width_px, found.video.height_px) == (320, 192)
    assert (found.video.codec, found.video.pix_fmt) == ("h264", "yuv420p")
    assert found.length == 3
    assert found.average_fps == 30
    assert found.shortest_gap == found.longest_gap == F(1, 30)
    assert not found.variable
    assert found.key_times == (F(0), F(1), F(2))
    assert found.sound is not None
    assert (found.sound.rate_hz, found.sound.layout, found.sound.start) == (48000, "stereo", F(0))
    assert found.notices == ()
    assert found.damage == ()
    assert found.gaps == ()


def test_a_variable_rate_is_told_with_its_range(tmp_path: Path) -> None:
    """Gaps of 33 to 100 ms are variable; whole milliseconds of a constant rate are not."""
    varied = probe(write_clip(tmp_path / "v.mp4", VideoTrack(wavering_times(90))).path, "v.mp4")
    assert varied.variable
    assert (varied.shortest_gap, varied.longest_gap) == (F(1, 30), F(1, 10))
    assert any("33 to 100 ms" in notice for notice in varied.notices)
    even = probe(write_clip(tmp_path / "e.mkv", VideoTrack(even_times(90, 30))).path, "e.mkv")
    assert not even.variable


def test_a_probe_can_be_handed_to_another_process(tmp_path: Path) -> None:
    """It survives pickling, and a reader made from the copy reads the same frame."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(30, 30)))
    copy = pickle.loads(pickle.dumps(probe(clip.path, "c.mp4")))
    with FrameReader(clip.path, copy, (320, 192)) as reader:
        assert read_number(next(reader.from_time(F(1, 2))).y) == 15


def test_a_cover_picture_is_not_the_recording(tmp_path: Path) -> None:
    """An attached picture in front of the video is passed over."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(30, 30)), SoundTrack())
    ffmpeg("-f", "lavfi", "-i", "color=red:s=600x400:d=1:r=1", "-frames:v", "1", tmp_path / "x.png")
    both = tmp_path / "both.mp4"
    ffmpeg("-i", tmp_path / "x.png", "-i", clip.path, "-map", "0:v", "-map", "1", "-c", "copy",
           "-disposition:v:0", "attached_pic", both)  # fmt: skip
    found = probe(both, "both.mp4")
    assert (found.video.width_px, found.frame_count) == (320, 30)
    assert not any("video tracks" in notice for notice in found.notices)


def test_of_two_video_tracks_the_default_one_is_used_and_told(tmp_path: Path) -> None:
    """The first default track, not the larger one."""
    small = write_clip(tmp_path / "s.mp4", VideoTrack(even_times(30, 30)))
    large = write_clip(tmp_path / "l.mp4", VideoTrack(even_times(40, 30), size_px=(640, 384)))
    both = tmp_path / "both.mkv"
    for default, count in ((0, 30), (1, 40)):
        ffmpeg("-i", small.path, "-i", large.path, "-map", "0", "-map", "1", "-c", "copy",
               "-disposition:v:0", "default" if default == 0 else "0",
               "-disposition:v:1", "default" if default == 1 else "0", both)  # fmt: skip
        found = probe(both, "both.mkv")
        assert found.frame_count == count
        assert any(
            f"2 video tracks; track {default + 1} is used" in notice for notice in found.notices
        )


def test_of_two_sound_tracks_the_default_one_is_used_and_told(tmp_path: Path) -> None:
    """A second microphone is named, not mixed in."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(30, 30)), SoundTrack())
    both = tmp_path / "both.mkv"
    ffmpeg("-i", clip.path, "-map", "0:v", "-map", "0:a", "-map", "0:a", "-c", "copy",
           "-disposition:a:0", "0", "-disposition:a:1", "default", both)  # fmt: skip
    found = probe(both, "both.mkv")
    assert found.sound is not None
    assert found.sound.stream_index == 2
    assert any("2 sound tracks; track 3 is used" in notice for notice in found.notices)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("2025-03-14T14:22:05Z", datetime(2025, 3, 14, 14, 22, 5, tzinfo=UTC)),
        ("1904-01-01T00:00:00Z", None),
        ("1970-01-01T00:00:00Z", None),
        ("2001-05-05T00:00:00Z", None),
        ("2039-12-31T00:00:00Z", None),  # in the future: before the 32-bit epoch of 1904 runs over
        ("yesterday", None),
    ],
)
def test_only_a_plausible_creation_time_is_kept(
    tmp_path: Path, text: str, kept: datetime | None
) -> None:
    """Dead batteries, epochs and the future are no date of recording."""
    clip = write_clip(
        tmp_path / "c.mkv", VideoTrack(even_times(3, 30)), metadata={"creation_time": text}
    )
    assert probe(clip.path, "c.mkv").creation_time == kept


def test_a_missing_index_is_named_with_advice(tmp_path: Path) -> None:
    """A recorder that lost power: said so, not "unsupported format"."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(90, 30)))
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(clip.path.read_bytes()[: clip.path.stat().st_size * 7 // 10])
    text = refusal(cut)
    assert "has no index (moov)" in text
    assert "repair" in text


def test_an_index_that_breaks_off_is_named(tmp_path: Path) -> None:
    """The index is there, but not to its end."""
    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(300, 30)),
        container_options={"movflags": "+faststart"},
    )  # fmt: skip
    with clip.path.open("rb") as file:
        moov = next(box for box in top_boxes(file) if box.kind == "moov")
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(clip.path.read_bytes()[: moov.at + moov.size // 2])
    assert "(moov)" in refusal(cut)


def test_a_fragmented_recording_cut_inside_a_fragment_keeps_the_whole_ones(tmp_path: Path) -> None:
    """Cut in the header of fragment eight: seven fragments of thirty frames are read."""
    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(300, 30), gop=30),
        container_options={"movflags": "+frag_keyframe+empty_moov"},
    )  # fmt: skip
    with clip.path.open("rb") as file:
        parts = [box for box in top_boxes(file) if box.kind == "moof"]
    assert len(parts) == 10
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(clip.path.read_bytes()[: parts[7].at + parts[7].size // 2])
    found = probe(cut, "cut.mp4")
    with FrameReader(cut, found, (320, 192)) as reader:
        assert [read_number(p.y) for p in reader.from_time(F(0))] == list(range(210))
        assert read_number(next(reader.from_time(F(5))).y) == 150


def test_lists_that_pose_as_recordings_open_nothing(tmp_path: Path) -> None:
    """Also past the check of the first bytes, the media library opens no list."""
    write_clip(tmp_path / "secret.mp4", VideoTrack(even_times(3, 30)))
    bad = tmp_path / "case.mp4"
    for text in ("ffconcat version 1.0\nfile secret.mp4\n", "#EXTM3U\n#EXTINF:1,\nsecret.mp4\n"):
        bad.write_text(text, encoding="utf-8")
        assert "points to other files" in refusal(bad)
        with pytest.raises(RecordingError, match="no recording that can be read"):
            probe(bad, "case.mp4")


@pytest.mark.parametrize("size", [1, 7, 100, 5000])
def test_bytes_of_no_kind_are_refused(tmp_path: Path, size: int) -> None:
    """Noise of any length is no recording."""
    import random

    bad = tmp_path / "x.mp4"
    bad.write_bytes(b"\0" + random.Random(size).randbytes(size))
    assert refusal(bad)


def test_sound_alone_is_no_recording(tmp_path: Path) -> None:
    """A file without a picture is refused for that."""
    ffmpeg("-f", "lavfi", "-i", "sine=d=1", "-c:a", "aac", tmp_path / "a.mp4")
    assert "holds no video" in refusal(tmp_path / "a.mp4")


def test_a_picture_of_absurd_size_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    """48 megapixels are over the limit of 40."""
    ffmpeg("-f", "lavfi", "-i", "color=black:s=8000x6000:r=1:d=1", "-c:v", "libx264",
           "-preset", "ultrafast", "-threads", "1", tmp_path / "big.mp4")  # fmt: skip
    assert "over the limit of 40 megapixels" in refusal(tmp_path / "big.mp4")


def test_a_recording_without_a_single_whole_picture_is_refused(tmp_path: Path) -> None:
    """Everything in the picture's packets is noise: nothing decodes, told in one sentence."""
    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(60, 30)),
        container_options={"movflags": "+faststart"},
    )  # fmt: skip
    data = bytearray(clip.path.read_bytes())
    with clip.path.open("rb") as file:
        mdat = next(box for box in top_boxes(file) if box.kind == "mdat")
    data[mdat.at + 8 :] = bytes(255 for _ in data[mdat.at + 8 :])
    clip.path.write_bytes(data)
    assert "no picture can be decoded" in refusal(clip.path)


def test_metadata_of_no_encoding_hurts_nobody(tmp_path: Path) -> None:
    """A title that is no UTF-8 does not stop the probe."""
    clip = write_clip(tmp_path / "c.mkv", VideoTrack(even_times(5, 30)), metadata={"title": "AAAA"})
    clip.path.write_bytes(clip.path.read_bytes().replace(b"AAAA", b"\xff\xfe\xe4\xf6"))
    assert probe(clip.path, "c.mkv").frame_count == 5
