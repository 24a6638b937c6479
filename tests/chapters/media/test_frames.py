"""Frames by time: the right one at any instant, in any container, past any damage."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction as F
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest

from chapters.media.frames import FrameReader, small_luma
from chapters.media.probe import Damage, Probe, probe
from tests.clips import (
    Clip,
    SoundTrack,
    UnreadableNumber,
    VideoTrack,
    even_times,
    ffmpeg,
    numbered_planes,
    read_number,
    wavering_times,
    write_clip,
)

VARIED = [
    ("mp4", "libx264"), ("mkv", "libx264"), ("ts", "libx264"), ("mov", "libx265"),
    ("webm", "libvpx-vp9"), ("webm", "libvpx"),
]  # fmt: skip
EVEN = [("avi", "mpeg4"), ("mpg", "mpeg2video")]


def make(path: Path, codec: str, count: int = 240, gop: int = 50) -> tuple[Clip, Probe]:
    even = codec in ("mpeg4", "mpeg2video")
    times = even_times(count, 30) if even else wavering_times(count)
    clip = write_clip(path, VideoTrack(times, codec=codec, gop=gop))
    return clip, probe(clip.path, path.name)


def read_all(path: Path, found: Probe) -> tuple[list[tuple[F, int | None]], list[Damage]]:
    out: list[tuple[F, int | None]] = []
    size = (found.video.width_px, found.video.height_px)
    with FrameReader(path, found, size) as reader:
        for picture in reader.from_time(F(0)):
            try:
                out.append((picture.at, read_number(picture.y)))
            except UnreadableNumber:
                out.append((picture.at, None))
        return out, reader.damage


@pytest.mark.parametrize(("suffix", "codec"), VARIED + EVEN)
def test_every_frame_comes_at_its_own_time(tmp_path: Path, suffix: str, codec: str) -> None:
    """All frames in order, each at the time it was given, to the container's own tick."""
    clip, found = make(tmp_path / f"c.{suffix}", codec)
    shown, damage = read_all(clip.path, found)
    assert [n for _, n in shown] == list(clip.numbers)
    assert max(abs(at - t) for (at, _), t in zip(shown, clip.times, strict=True)) <= F(1, 2000)
    assert abs(found.length - clip.length) <= F(1, 1000)
    assert found.frame_count == len(clip.times)
    assert damage == []


@pytest.mark.parametrize(("suffix", "codec"), VARIED + EVEN)
def test_any_instant_gives_the_frame_on_screen(tmp_path: Path, suffix: str, codec: str) -> None:
    """Thirty random seeks, forward and backward: always the last frame not after the instant."""
    clip, found = make(tmp_path / f"c.{suffix}", codec)
    shown, _ = read_all(clip.path, found)
    draw = random.Random(2)
    with FrameReader(clip.path, found, (320, 192)) as reader:
        for _ in range(30):
            at = F(draw.randrange(int(clip.length * 1000)), 1000)
            picture = next(reader.from_time(at))
            want = [(t, n) for t, n in shown if t <= at][-1]
            assert (picture.at, read_number(picture.y)) == want


@pytest.mark.parametrize(
    "options",
    [
        {"x264-params": "open-gop=1:bframes=3:b-pyramid=normal"},
        {"x264-params": "intra-refresh=1:keyint=20:bframes=0"},
        {"x264-params": "keyint=12:min-keyint=12:scenecut=0:bframes=5"},
    ],
    ids=["open groups", "rolling refresh", "short groups"],
)
@pytest.mark.parametrize("suffix", ["mp4", "mkv", "ts"])
def test_a_seek_gives_the_very_pixels_of_a_reading_from_the_start(
    tmp_path: Path, suffix: str, options: dict[str, str]
) -> None:
    """Key frames that lean on earlier ones, or none at all: a seek is a seek into the same film."""
    clip = write_clip(
        tmp_path / f"c.{suffix}", VideoTrack(even_times(100, 30), gop=25, options=options)
    )
    found = probe(clip.path, clip.path.name)
    with FrameReader(clip.path, found, (320, 192)) as reader:
        whole = {p.at: p.y for p in reader.from_time(F(0))}
        assert len(whole) == 100
        for number in (1, 24, 25, 26, 47, 50, 73, 99):
            picture = next(reader.from_time(F(number, 30) + F(1, 1000)))
            assert read_number(picture.y) == number
            if "intra" not in options["x264-params"]:
                assert np.array_equal(picture.y, whole[picture.at])


@pytest.mark.parametrize(("suffix", "codec"), [("mp4", "libx264"), ("ts", "libx264")])
def test_pictures_follow_one_another_without_a_gap(tmp_path: Path, suffix: str, codec: str) -> None:
    """Each picture lasts until the next begins, the last until the part ends."""
    clip, found = make(tmp_path / f"c.{suffix}", codec)
    with FrameReader(clip.path, found, (320, 192)) as reader:
        spans = [(p.at, p.length) for p in reader.from_time(F(3))]
    for (at, length), (after, _) in pairwise(spans):
        assert at + length == after
    assert sum(spans[-1]) == found.length
    assert spans[0][0] <= 3 < sum(spans[0])


@pytest.mark.parametrize(
    ("b_frames", "options", "step", "most"),
    [
        (2, {"x264-params": "b-adapt=0:b-pyramid=none"}, 8, 0.5),
        (3, {"x264-params": "b-adapt=0:b-pyramid=strict"}, 8, 0.55),
        (0, {}, 16, 0.9),
        (2, {"x264-params": "open-gop=1"}, 5, 0.9),
        (0, {}, 100, 0.4),
        (2, {}, 1, 1.01),
    ],
)
def test_what_nobody_looks_at_is_not_decoded_and_changes_nothing(
    tmp_path: Path, b_frames: int, options: dict[str, str], step: int, most: float
) -> None:
    """Every step-th frame has the very pixels of a reading without leaving out; less is decoded."""
    track = VideoTrack(even_times(360, 30), gop=50, b_frames=b_frames, options=options)
    clip = write_clip(tmp_path / "c.mp4", track)
    found = probe(clip.path, "clip")
    whole = {p.at: p.y.copy() for p in FrameReader(clip.path, found, (320, 192)).from_time(F(0))}
    with FrameReader(clip.path, found, (320, 192), threads=1) as reader:
        come = 0
        frames = reader.undrawn_from(F(0))
        now = next(frames)
        for n in range(0, 360, step):
            reader.want(F(n, 30), F(n + step, 30))
            while now.at < F(n, 30):
                now = next(frames)
                come += 1
            assert now.at == F(n, 30)
            assert np.array_equal(now.picture().y, whole[now.at])
        assert come <= 360 * most
        assert reader.damage == []


def test_a_picture_is_drawn_into_planes_that_the_caller_has(tmp_path: Path) -> None:
    """The planes given are filled, whole or letterboxed, as fresh ones would be."""
    clip, found = make(tmp_path / "c.mp4", "libx264", count=3)
    for size in ((320, 192), (320, 384)):
        with FrameReader(clip.path, found, size) as reader:
            undrawn = next(reader.undrawn_from(F(0)))
            fresh = undrawn.picture()
            own = tuple(np.full_like(plane, 77) for plane in (fresh.y, fresh.u, fresh.v))
            drawn = undrawn.picture((own[0], own[1], own[2]))
            assert drawn.y is own[0] and drawn.u is own[1] and drawn.v is own[2]
            assert all(
                np.array_equal(a, b) for a, b in zip(own, (fresh.y, fresh.u, fresh.v), strict=True)
            )


def test_the_end_and_before_the_beginning_give_the_last_and_the_first(tmp_path: Path) -> None:
    """Instants outside the part are answered by its nearest frame."""
    clip, found = make(tmp_path / "c.mp4", "libx264")
    with FrameReader(clip.path, found, (320, 192)) as reader:
        assert read_number(next(reader.from_time(F(-5))).y) == 0
        assert read_number(next(reader.from_time(found.length)).y) == len(clip.times) - 1
        assert read_number(next(reader.from_time(F(10**6))).y) == len(clip.times) - 1


@pytest.mark.parametrize("start", [F(1, 15), F(10), F(10**5)])
def test_streams_that_begin_late_still_begin_at_zero(tmp_path: Path, start: F) -> None:
    """A first stamp of 0.07 s, 10 s or a day: the first frame shown is part time zero."""
    clip = write_clip(
        tmp_path / "c.ts", VideoTrack(even_times(60, 30, start=start), gop=20),
        container_options={"output_ts_offset": "0"},
    )  # fmt: skip
    found = probe(clip.path, "c.ts")
    shown, _ = read_all(clip.path, found)
    assert shown == [(F(i, 30), i) for i in range(60)]


def test_frames_hidden_by_an_edit_list_do_not_count(tmp_path: Path) -> None:
    """A copy cut at 5.5 s keeps frames before the cut hidden: part zero is the first shown."""
    whole = write_clip(tmp_path / "w.mp4", VideoTrack(even_times(300, 30), gop=250))
    ffmpeg("-ss", "5.5", "-i", whole.path, "-c", "copy", tmp_path / "cut.mp4")
    found = probe(tmp_path / "cut.mp4", "cut.mp4")
    shown, damage = read_all(tmp_path / "cut.mp4", found)
    numbers = [n for _, n in shown]
    assert numbers[0] == 165
    assert numbers == list(range(165, 300))
    assert [at for at, _ in shown] == [F(i, 30) for i in range(135)]
    assert found.length == F(135, 30)
    assert damage == []


def test_a_recording_cut_in_mid_group_begins_with_its_first_whole_frame(tmp_path: Path) -> None:
    """A transport stream without its first key frame: part zero is the next key frame, noted."""
    clip = write_clip(tmp_path / "c.ts", VideoTrack(even_times(120, 30), gop=40, b_frames=0))
    data = clip.path.read_bytes()
    cut = tmp_path / "cut.ts"
    cut.write_bytes(data[: 188 * 3] + data[len(data) // 188 // 4 * 188 :])
    found = probe(cut, "cut.ts")
    shown, _ = read_all(cut, found)
    assert shown[0][0] == 0
    assert shown[0][1] in (40, 80)
    assert [n for _, n in shown] == list(range(shown[0][1], 120))
    assert any("cannot be decoded" in d.what for d in found.damage)


# Damage


def spoil(data: bytearray) -> None:
    rng = random.Random(3)
    for _ in range(40):
        data[int(len(data) * 0.4) + rng.randrange(len(data) // 10)] ^= 255


def cut_short(data: bytearray) -> None:
    del data[int(len(data) * 0.6) :]


def noise_all_over(data: bytearray) -> None:
    rng = random.Random(5)
    for _ in range(len(data) // 40):
        data[len(data) // 20 + rng.randrange(len(data) - len(data) // 20)] ^= 255


def hole(data: bytearray) -> None:
    at = int(len(data) * 0.45) // 188 * 188
    del data[at : at + 188 * 60]


def damaged(
    folder: Path, suffix: str, harm: Callable[[bytearray], None], *, in_front: bool = True
) -> Path:
    options = {"movflags": "+faststart"} if suffix == "mp4" and in_front else {}
    clip = write_clip(
        folder / f"whole.{suffix}",
        VideoTrack(even_times(450, 30), gop=60, quality=23),
        SoundTrack(ticks=(F(1), F(5))),
        options,
    )
    data = bytearray(clip.path.read_bytes())
    harm(data)
    out = folder / f"harmed.{suffix}"
    out.write_bytes(data)
    return out


@pytest.mark.parametrize("suffix", ["mp4", "mkv", "ts"])
@pytest.mark.parametrize("harm", [spoil, cut_short, noise_all_over, hole])
def test_damage_never_stops_the_reading_nor_turns_time_back(
    tmp_path: Path, suffix: str, harm: Callable[[bytearray], None]
) -> None:
    """Whatever is wrong with the bytes: growing times, and every readable frame at its own time."""
    path = damaged(tmp_path, suffix, harm)
    found = probe(path, path.name)
    shown, damage = read_all(path, found)
    times = [at for at, _ in shown]
    assert times == sorted(set(times))
    assert times[0] >= 0
    if harm is noise_all_over or (harm is hole and suffix != "ts"):
        return  # hardly a picture is whole (an index points past what is missing): that it ends counts
    hurt = [d.span for d in (*damage, *found.damage)]
    wrong = [
        (at, n)
        for at, n in shown
        if (n is None or abs(at - F(n, 30)) > F(1, 1000))
        and not any(s.start - F(1, 10) <= at <= s.end + F(1, 10) for s in hurt)
    ]
    assert len(wrong) <= 2, wrong  # concealed frames the decoder does not own up to
    good = sum(n is not None for _, n in shown)
    assert good > (200 if harm is cut_short else 330)


@pytest.mark.parametrize("suffix", ["mp4", "mkv"])
def test_a_cut_tail_is_told_from_the_header(tmp_path: Path, suffix: str) -> None:
    """The header promises 15 s, nine are there: the length is what is there, the rest is damage."""
    path = damaged(tmp_path, suffix, cut_short)
    found = probe(path, path.name)
    shown, damage = read_all(path, found)
    assert damage == []
    assert found.frame_count == len(shown)
    assert 7 < found.length < 11
    [lost] = [d for d in found.damage if "promises 0:15" in d.what]
    assert lost.span.start == found.length
    assert abs(lost.span.end - 15) < F(1, 10)


def test_a_hole_in_a_transport_stream_is_told(tmp_path: Path) -> None:
    """Sixty lost packets leave a gap in time: reported, and the time after it is right."""
    path = damaged(tmp_path, "ts", hole)
    found = probe(path, path.name)
    shown, _ = read_all(path, found)
    assert any("part of the data is missing" in d.what for d in found.damage)
    assert abs(found.length - 15) < F(1, 10)
    later = [(at, n) for at, n in shown if at > 12]
    assert later
    assert all(n is not None and abs(at - F(n, 30)) < F(1, 1000) for at, n in later)


def test_a_reader_tells_what_it_could_not_decode(tmp_path: Path) -> None:
    """A packet zeroed in the middle: the damage list names a span around it and no other."""
    clip = write_clip(tmp_path / "c.mkv", VideoTrack(even_times(120, 30), gop=30, b_frames=0))
    source = probe(clip.path, "c.mkv").source
    with av.open(str(clip.path)) as box:
        packets = [p for p in box.demux(video=0) if p.size]
        victim = bytes(packets[75])
    data = bytearray(clip.path.read_bytes())
    at = data.find(victim)
    data[at + 4 : at + len(victim)] = bytes(len(victim) - 4)
    clip.path.write_bytes(data)
    found = probe(clip.path, "c.mkv")
    shown, damage = read_all(clip.path, found)
    assert len(source.table) == 120
    assert damage
    assert min(d.span.start for d in damage) == pytest.approx(F(75, 30), abs=0.04)
    assert max(d.span.end for d in damage) <= F(90, 30) + F(1, 500)
    assert all(n == round(at * 30) for at, n in shown if at < F(74, 30) or at > F(91, 30))


def test_bad_packets_at_the_end_do_not_hide_the_good_ones_before(tmp_path: Path) -> None:
    """With decoder threads a late error must not swallow frames that were decoded already."""
    clip = write_clip(tmp_path / "c.mkv", VideoTrack(even_times(60, 30), gop=60, b_frames=0))
    with av.open(str(clip.path)) as box:
        victim = [bytes(p) for p in box.demux(video=0) if p.size][58]
    data = bytearray(clip.path.read_bytes())
    at = data.find(victim)
    data[at + 4 : at + len(victim)] = bytes(len(victim) - 4)
    clip.path.write_bytes(data)
    shown, _ = read_all(clip.path, probe(clip.path, "c.mkv"))
    assert [n for _, n in shown[:58]] == list(range(58))


def test_a_bad_end_of_a_file_without_stamps_gives_no_frame_twice(tmp_path: Path) -> None:
    """H.264 in AVI is timed by order, so a frame given twice would move all later ones."""
    clip = write_clip(tmp_path / "c.avi", VideoTrack(even_times(60, 30), gop=60, b_frames=2))
    with av.open(str(clip.path)) as box:
        victims = [bytes(p) for p in box.demux(video=0) if p.size][-2:]
    data = bytearray(clip.path.read_bytes())
    for victim in victims:
        at = data.find(victim)
        data[at + 5 : at + len(victim)] = bytes(255 for _ in range(len(victim) - 5))
    clip.path.write_bytes(data)
    found = probe(clip.path, "c.avi")
    assert found.timeline.by_order
    shown, _ = read_all(clip.path, found)
    numbers = [n for _, n in shown if n is not None]
    assert numbers == sorted(set(numbers))
    assert all(abs(at - F(n, 30)) <= F(1, 15) for at, n in shown if n is not None)
    assert len(numbers) >= 55


# Fields


def interlaced(folder: Path) -> Path:
    """Thirty frames a second of fields from sixty pictures of a bar that moves eight pixels each."""
    source = folder / "fields.mkv"

    def draw(number: int, width: int, height: int) -> list[np.typing.NDArray[np.uint8]]:
        y, u, v = numbered_planes(number // 2, width, height)
        x = 20 + 8 * number % (width - 60)
        y[100:180] = 60
        y[100:180, x : x + 20] = 220
        return [y, u, v]

    write_clip(source, VideoTrack(even_times(60, 60), quality=1, draw=draw))
    out = folder / "fields.mpg"
    ffmpeg("-i", source, "-vf", "tinterlace=interleave_top,setfield=tff", "-flags", "+ilme+ildct",
           "-c:v", "mpeg2video", "-q:v", "2", out)  # fmt: skip
    return out


def combing(y: np.typing.NDArray[np.uint8]) -> float:
    """How much neighbouring lines differ beyond the lines two apart, in the moving part."""
    part = y[104:176].astype(float)
    odd = np.abs(part[1:-1] - (part[:-2] + part[2:]) / 2)
    return float(odd.mean())


def test_interlaced_recordings_come_out_without_combs(tmp_path: Path) -> None:
    """Two fields of different instants make combs; after joining there are hardly any."""
    path = interlaced(tmp_path)
    found = probe(path, "fields.mpg")
    assert found.video.interlaced
    assert any("interlaced" in notice for notice in found.notices)
    raw = np.frombuffer(
        ffmpeg("-i", path, "-f", "rawvideo", "-pix_fmt", "gray", "-"), np.uint8
    ).reshape(-1, 192, 320)
    with FrameReader(path, found, (320, 192)) as reader:
        ours = [(p.at, p.y) for p in reader.from_time(F(0))]
    assert len(ours) == len(raw) == 30
    assert [at for at, _ in ours] == [F(i, 30) for i in range(30)]
    before = float(np.mean([combing(y) for y in raw[2:-2]]))
    after = float(np.mean([combing(y) for _, y in ours[2:-2]]))
    assert before > 5
    assert after < before / 5
    assert [read_number(y) for _, y in ours] == list(range(30))


# Small pictures for the signals


@pytest.mark.parametrize("size_px", [(320, 192), (1280, 768)])
def test_small_luma_gives_every_frame_small_and_nearly_right(
    tmp_path: Path, size_px: tuple[int, int]
) -> None:
    """All frames at their times, 160 wide, the code still readable."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(wavering_times(60), size_px=size_px))
    found = probe(clip.path, "c.mp4")
    small = list(small_luma(clip.path, found))
    assert [at for at, _ in small] == list(clip.times)
    assert all(luma.shape == (96, 160) and luma.dtype == np.uint8 for _, luma in small)
    assert [read_number(luma) for _, luma in small] == list(clip.numbers)


@pytest.mark.parametrize("degrees", [0, 90, 180, 270])
def test_small_luma_is_upright(tmp_path: Path, degrees: int) -> None:
    """The small picture lies as the large one does."""
    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(3, 30), turn=(degrees, False, False))
    )
    found = probe(clip.path, "c.mp4")
    _, small = next(iter(small_luma(clip.path, found)))
    with FrameReader(
        clip.path, found, (small.shape[1] // 2 * 2, small.shape[0] // 2 * 2)
    ) as reader:
        large = next(reader.from_time(F(0))).y
    rows, columns = min(small.shape[0], large.shape[0]), min(small.shape[1], large.shape[1])
    gap = small[:rows, :columns].astype(float) - large[:rows, :columns]
    assert abs(gap).mean() < 12
