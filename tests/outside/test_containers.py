"""Containers read and written, against the ffmpeg binary of imageio-ffmpeg and the formats' own text.

The binary is another build of other sources than the libraries inside PyAV. Formats: ISO/IEC
14496-12 (boxes, ``tref``), QuickTime File Format (chapter tracks); ``chpl`` has no standard, its
layout is common practice.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from chapters.media.frames import FrameReader
from chapters.media.probe import probe
from chapters.media.samples import read_samples
from chapters.media.writer import FilmWriter
from tests.clips import (
    SoundTrack,
    VideoTrack,
    even_times,
    ffmpeg,
    find_ticks,
    numbered_planes,
    ticks_sound,
    wavering_times,
    write_clip,
)

pytestmark = pytest.mark.outside

TAGS = {"colorspace": 1, "color_range": 1, "color_primaries": 1, "color_trc": 1}


def theirs(path: Path) -> list[tuple[Fraction, str]]:
    """Time from the first frame and MD5 of the planes of every frame, as the binary decodes them."""
    text = ffmpeg("-copyts", "-i", path, "-map", "0:v:0", "-fps_mode", "passthrough",
                  "-enc_time_base", "demux", "-pix_fmt", "yuv420p", "-f", "framemd5", "-")  # fmt: skip
    base, out = Fraction(1), []
    for line in text.decode().splitlines():
        if line.startswith("#tb"):
            base = Fraction(line.split()[-1])
        elif not line.startswith("#"):
            _, _, pts, _, _, digest = (part.strip() for part in line.split(","))
            out.append((int(pts) * base, digest))
    return [(at - out[0][0], digest) for at, digest in out]


def ours(path: Path) -> list[tuple[Fraction, str]]:
    found = probe(path, path.name)
    with FrameReader(path, found, (found.video.width_px, found.video.height_px)) as reader:
        return [
            (p.at, hashlib.md5(p.y.tobytes() + p.u.tobytes() + p.v.tobytes()).hexdigest())
            for p in reader.from_time(Fraction(0))
        ]


@pytest.mark.parametrize(
    ("name", "codec", "options"),
    [
        ("c.mp4", "libx264", {}),
        ("c.mp4", "libx264", {"movflags": "+frag_keyframe+empty_moov"}),
        ("c.mkv", "libx264", {}),
        ("c.ts", "libx264", {}),
        ("c.mov", "libx265", {}),
        ("c.mpg", "mpeg2video", {}),
    ],
)
def test_every_frame_and_its_time_are_those_another_decoder_gives(
    tmp_path: Path, name: str, codec: str, options: dict[str, str]
) -> None:
    """Times to the tick and pixels to the bit, in containers with and without an index."""
    times = wavering_times(90) if codec != "mpeg2video" else even_times(90, 30)
    clip = write_clip(
        tmp_path / name, VideoTrack(times, codec=codec, gop=30, tags=TAGS), None, options
    )
    assert ours(clip.path) == theirs(clip.path)


@pytest.mark.parametrize("start", ["0.5", "1.37"])
def test_a_copied_cut_shows_what_another_player_shows(tmp_path: Path, start: str) -> None:
    """An edit list in the middle of a group of pictures: the same frames, the same times."""
    clip = write_clip(tmp_path / "w.mp4", VideoTrack(even_times(90, 30), gop=90, tags=TAGS))
    ffmpeg("-ss", start, "-i", clip.path, "-c", "copy", tmp_path / "cut.mp4")
    assert ours(tmp_path / "cut.mp4") == theirs(tmp_path / "cut.mp4")


def test_an_edit_that_ends_early_hides_what_comes_after_it(tmp_path: Path) -> None:
    """The edit list's duration halved by hand: frames after it are stored, but not shown."""
    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(60, 30), tags=TAGS), None,
        {"movie_timescale": "90000"},
    )  # fmt: skip
    data = bytearray(clip.path.read_bytes())
    [(at, _)] = find(bytes(data), b"moov", b"trak", b"edts", b"elst")
    assert data[at] == 0  # version 0: duration, media time and rate of 4 bytes after a count
    assert struct.unpack_from(">II", data, at + 4) == (1, 180000)
    struct.pack_into(">I", data, at + 8, 90000)
    clip.path.write_bytes(data)
    found = probe(clip.path, "c.mp4")
    assert found.frame_count == 30
    assert found.length == 1
    assert ours(clip.path) == theirs(clip.path)


@pytest.mark.parametrize("offset", ["0.7", "-0.4"])
def test_the_offset_of_sound_is_the_one_another_tool_wrote(tmp_path: Path, offset: str) -> None:
    """Sound shifted by the binary is heard shifted by as much against the picture."""
    clip = write_clip(
        tmp_path / "w.mp4", VideoTrack(even_times(90, 30)), SoundTrack((Fraction(1), Fraction(2)))
    )
    ffmpeg("-i", clip.path, "-itsoffset", offset, "-i", clip.path, "-map", "0:v", "-map", "1:a",
           "-c", "copy", tmp_path / "late.mkv")  # fmt: skip
    found = probe(tmp_path / "late.mkv", "late.mkv")
    heard = find_ticks(read_samples(found.source.path, found, Fraction(0), Fraction(4)), 48000)
    want = [t + float(offset) for t in (1, 2)]
    assert heard == pytest.approx(want, abs=0.002)  # Matroska stamps are whole milliseconds


# The film we write


@dataclass(frozen=True)
class Chapter:
    start: Fraction
    end: Fraction
    title: str


CHAPTERS = (
    Chapter(Fraction(0), Fraction(3, 2), "Isolate the tooth"),
    Chapter(Fraction(3, 2), Fraction(5, 2), "IOP < 21 & CDR > 0.7; x=#1\\"),
    Chapter(Fraction(5, 2), Fraction(3003, 1000), "Größe – μ – 歯"),
)


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ninety frames at 30000/1001 with chapters and ticks at 0.5 s and 2.75 s."""
    path = tmp_path_factory.mktemp("film") / "film.mp4"
    mono = ticks_sound((Fraction(1, 2), Fraction(11, 4)), Fraction(3003, 1000), 48000)
    with FilmWriter(
        path, (320, 192), Fraction(30000, 1001), "Sealing", CHAPTERS, sound=True
    ) as writer:
        for i in range(90):
            writer.write(*numbered_planes(i, 320, 192))
        writer.write_sound(np.stack([mono, mono], axis=1))
    return path


def test_another_decoder_finds_our_frames_at_their_exact_times(film: Path) -> None:
    """Frame i at i · 1001 / 30000 s, as the binary sees it, and the same pixels."""
    seen = theirs(film)
    assert [at for at, _ in seen] == [Fraction(1001 * i, 30000) for i in range(90)]
    assert seen == ours(film)


def test_another_decoder_hears_our_sound_in_step(film: Path) -> None:
    """The binary decodes the ticks within a millisecond and as many samples as the picture lasts."""
    raw = np.frombuffer(
        ffmpeg("-i", film, "-map", "0:a", "-f", "f32le", "-ac", "1", "-"), np.float32
    )
    assert find_ticks(raw, 48000) == pytest.approx([0.5, 2.75], abs=0.001)
    assert abs(len(raw) - 3.003 * 48000) <= 1024


def test_another_reader_lists_our_chapters(film: Path) -> None:
    """Starts, ends and titles as the binary writes them out as ffmetadata, unescaped."""
    text = ffmpeg("-i", film, "-f", "ffmetadata", "-").decode()
    blocks = text.split("[CHAPTER]\n")[1:]
    assert len(blocks) == 3
    for block, meant in zip(blocks, CHAPTERS, strict=True):
        entry = dict(line.split("=", 1) for line in block.splitlines() if "=" in line)
        base = Fraction(entry["TIMEBASE"])
        assert abs(int(entry["START"]) * base - meant.start) <= Fraction(1, 1000)
        assert abs(int(entry["END"]) * base - meant.end) <= Fraction(1, 1000)
        title = entry["title"]
        for special in "\\=;#":
            title = title.replace("\\" + special, special)
        assert title.replace("\\\\", "\\") == meant.title


def boxes(data: bytes, start: int, end: int) -> list[tuple[bytes, int, int]]:
    """(type, first byte of content, end) of the boxes in a stretch (ISO/IEC 14496-12, 4.2)."""
    out, at = [], start
    while at + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, at)
        out.append((kind, at + 8, at + size))
        at += max(8, size)
    return out


def find(data: bytes, *path: bytes) -> list[tuple[int, int]]:
    """Content of every box at a path of types."""
    spans = [(0, len(data))]
    for kind in path:
        spans = [(a, b) for s, e in spans for k, a, b in boxes(data, s, e) if k == kind]
    return spans


def test_chapters_stand_in_both_of_the_ways_players_read(film: Path) -> None:
    """A text track named by ``tref/chap`` of the picture, and a ``chpl`` list with the same times."""
    data = film.read_bytes()
    named = {
        struct.unpack(">I", data[start:end])
        for start, end in find(data, b"moov", b"trak", b"tref", b"chap")
    }
    [(track,)] = named  # picture and sound name the same text track
    numbers = [
        struct.unpack_from(">I", data, a + 12)[0] for a, _ in find(data, b"moov", b"trak", b"tkhd")
    ]
    assert track in numbers
    [(at, _)] = find(data, b"moov", b"udta", b"chpl")
    count = data[at + 8]
    at += 9
    listed = []
    for _ in range(count):
        [stamp] = struct.unpack_from(">Q", data, at)
        length = data[at + 8]
        listed.append((stamp / 10**7, data[at + 9 : at + 9 + length].decode()))
        at += 9 + length
    assert [title for _, title in listed] == [c.title for c in CHAPTERS]
    assert [t for t, _ in listed] == pytest.approx([float(c.start) for c in CHAPTERS], abs=0.001)


def test_the_index_stands_in_front_and_names_no_time_of_making(film: Path) -> None:
    """``moov`` before ``mdat``; creation and modification times in every header are zero."""
    data = film.read_bytes()
    order = [kind for kind, _, _ in boxes(data, 0, len(data))]
    assert order.index(b"moov") < order.index(b"mdat")
    headers = [*find(data, b"moov", b"mvhd"), *find(data, b"moov", b"trak", b"tkhd"),
               *find(data, b"moov", b"trak", b"mdia", b"mdhd")]  # fmt: skip
    assert len(headers) == 7
    for at, _ in headers:
        width = 16 if data[at] == 1 else 8
        assert data[at + 4 : at + 4 + width] == bytes(width)


def test_colour_is_tagged_in_the_container_too(film: Path) -> None:
    """``colr`` of kind ``nclx``: primaries, transfer and matrix 1 (BT.709, ITU-T H.273), not full."""
    data = film.read_bytes()
    at = data.index(b"colrnclx")
    assert struct.unpack_from(">HHHB", data, at + 8) == (1, 1, 1, 0)
