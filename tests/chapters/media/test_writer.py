"""Films: exact rate, sound in step to the end, chapters inside, nothing said about the source."""

from __future__ import annotations

import gc
import sys
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from chapters.errors import DiskFull, EncoderError
from chapters.media.encode import VideoEncoder, without_settings_note
from chapters.media.frames import FrameReader
from chapters.media.mux import FilmMuxer, read_back
from chapters.media.opening import top_boxes
from chapters.media.probe import probe
from chapters.media.samples import read_samples
from chapters.media.writer import EncoderSettings, FilmWriter
from tests.clips import find_ticks, numbered_planes, read_number, ticks_sound

SIZE = (320, 192)
NTSC = Fraction(30000, 1001)


@dataclass(frozen=True)
class Chapter:
    start: Fraction
    end: Fraction
    title: str


def chapters_of(*ends: Fraction | int) -> tuple[Chapter, ...]:
    starts = [Fraction(0), *map(Fraction, ends)]
    return tuple(
        Chapter(a, Fraction(b), f"Step {i} – {i} < 9 & “ü”")
        for i, (a, b) in enumerate(zip(starts, ends, strict=False), 1)
    )


def write_film(
    path: Path,
    count: int,
    fps: Fraction,
    sound_s: Fraction | None = None,
    ticks: tuple[Fraction, ...] = (),
    title: str = "",
    chapters: tuple[Chapter, ...] = (),
    settings: EncoderSettings | None = None,
) -> Path:
    with FilmWriter(path, SIZE, fps, title, chapters, sound_s is not None, settings) as film:
        sound = None
        if sound_s is not None:
            mono = ticks_sound(ticks, sound_s, 48000)
            sound = np.stack([mono, mono], axis=1)
        for i in range(count):
            film.write(*numbered_planes(i, *SIZE))
            if sound is not None:
                film.write_sound(sound[i * 1600 : (i + 1) * 1600])
        if sound is not None:
            film.write_sound(sound[count * 1600 :])
    return path


@pytest.mark.parametrize(
    "fps", [Fraction(24000, 1001), Fraction(24), Fraction(25), NTSC, Fraction(30), Fraction(60)]
)
def test_a_film_has_its_rate_exactly_and_every_frame_in_order(
    tmp_path: Path, fps: Fraction
) -> None:
    """Rates over 1001 are no decimals: frame i lies at i / fps, to the last."""
    path = write_film(tmp_path / "f.mp4", 90, fps)
    film = read_back(path)
    assert film.fps == fps
    assert film.constant_rate
    assert film.frame_count == 90
    assert film.duration("video") == 90 / fps
    found = probe(path, "f.mp4")
    with FrameReader(path, found, SIZE) as reader:
        shown = [(p.at, read_number(p.y)) for p in reader.from_time(Fraction(0))]
    assert shown == [(i / fps, i) for i in range(90)]


def test_a_film_is_what_every_player_takes(tmp_path: Path) -> None:
    """H.264 High 8-bit 4:2:0 with BT.709 limited tags, AAC-LC 48 kHz stereo, index in front."""
    path = write_film(tmp_path / "f.mp4", 30, Fraction(30), Fraction(1))
    film = read_back(path)
    assert (film.profile, film.pix_fmt, film.size_px) == ("High", "yuv420p", SIZE)
    assert (film.matrix, film.primaries, film.transfer, film.colour_range) == (1, 1, 1, 1)
    assert (film.sound_profile, film.sound_rate_hz, film.sound_channels) == ("LC", 48000, 2)
    with path.open("rb") as file:
        kinds = [box.kind for box in top_boxes(file)]
    assert kinds.index("moov") < kinds.index("mdat")


@pytest.mark.parametrize("preset", ["ultrafast", "superfast", "veryfast", "medium"])
def test_every_preset_gives_the_high_profile(tmp_path: Path, preset: str) -> None:
    """The fastest preset too: a film is High 8-bit 4:2:0 whatever the haste."""
    path = write_film(tmp_path / "f.mp4", 12, Fraction(30), settings=EncoderSettings(preset=preset))
    assert read_back(path).profile == "High"


@pytest.mark.parametrize("fps", [Fraction(25), NTSC])
def test_sound_is_in_step_from_the_first_tick_to_the_last(tmp_path: Path, fps: Fraction) -> None:
    """Ticks come back within a millisecond, without the encoder's priming, to the film's end."""
    length = 600 / fps
    ticks = tuple(Fraction(i) for i in range(1, int(length)))
    path = write_film(tmp_path / "f.mp4", 600, fps, length, ticks)
    found = probe(path, "f.mp4")
    heard = find_ticks(read_samples(path, found, Fraction(0), found.length), 48000)
    assert len(heard) == len(ticks)
    assert max(abs(h - float(t)) for h, t in zip(heard, ticks, strict=True)) < 0.001


@pytest.mark.parametrize("sound_s", [Fraction(0), Fraction(1), Fraction(2), Fraction(7, 2)])
def test_sound_lasts_exactly_as_long_as_the_picture(tmp_path: Path, sound_s: Fraction) -> None:
    """Too little is filled with silence, too much is cut, whatever the caller delivers."""
    film = read_back(write_film(tmp_path / "f.mp4", 60, NTSC, sound_s))
    assert abs(film.duration("audio") - film.duration("video")) < Fraction(1, 48000)


def test_sound_written_ahead_waits_for_its_picture(tmp_path: Path) -> None:
    """All the sound first, then the picture: nothing lost, nothing beyond the end."""
    mono = ticks_sound((Fraction(1, 2),), Fraction(2), 48000)
    with FilmWriter(tmp_path / "f.mp4", SIZE, Fraction(30), sound=True) as film:
        film.write_sound(np.stack([mono, mono], axis=1))
        for i in range(30):
            film.write(*numbered_planes(i, *SIZE))
    found = probe(tmp_path / "f.mp4", "f.mp4")
    heard = read_samples(found.source.path, found, Fraction(0), Fraction(1))
    assert find_ticks(heard, 48000) == pytest.approx([0.5], abs=0.001)


def test_chapters_come_back_as_they_went_in(tmp_path: Path) -> None:
    """Starts, ends and titles, any script, to the millisecond; a jump lands on a key frame."""
    chapters = chapters_of(Fraction(7, 5), 3, 120 / NTSC)
    path = write_film(tmp_path / "f.mp4", 120, NTSC, chapters=chapters, title="Sealing – μm ✓")
    film = read_back(path)
    assert [c.title for c in film.chapters] == [c.title for c in chapters]
    for read, meant in zip(film.chapters, chapters, strict=True):
        assert abs(read.start - meant.start) <= Fraction(1, 1000)
        assert abs(read.end - meant.end) <= Fraction(1, 1000)
    assert film.metadata["title"] == "Sealing – μm ✓"
    keys = probe(path, "f.mp4").key_times
    for chapter in chapters:
        assert min(abs(key - chapter.start) for key in keys) <= 1 / (2 * NTSC)


@pytest.mark.parametrize(
    "chapters",
    [
        (Chapter(Fraction(1), Fraction(2), "late"),),
        (Chapter(Fraction(0), Fraction(1), "a"), Chapter(Fraction(3, 2), Fraction(2), "gap")),
        (Chapter(Fraction(0), Fraction(0), "empty"),),
        (Chapter(Fraction(1), Fraction(2), "b"), Chapter(Fraction(0), Fraction(1), "a")),
    ],
)
def test_chapters_an_mp4_would_bend_are_refused(
    tmp_path: Path, chapters: tuple[Chapter, ...]
) -> None:
    """A late start, a gap, no length, a wrong order: MP4 changes them silently, we do not."""
    with pytest.raises(ValueError, match="chapter"):
        FilmWriter(tmp_path / "f.mp4", SIZE, Fraction(30), chapters=chapters)
    assert list(tmp_path.iterdir()) == []


def test_chapters_that_end_elsewhere_than_the_film_fail_the_film(tmp_path: Path) -> None:
    """The last chapter must end with the picture; otherwise nothing is left behind."""
    with pytest.raises(EncoderError, match="the chapters"):
        write_film(tmp_path / "f.mp4", 30, Fraction(30), chapters=chapters_of(2))
    assert list(tmp_path.iterdir()) == []


def test_a_film_says_nothing_of_how_or_when_it_was_made(tmp_path: Path) -> None:
    """No creation time, no encoder, no settings: the title alone, in tags and in bytes."""
    path = write_film(tmp_path / "f.mp4", 30, Fraction(30), Fraction(1), title="Only this")
    film = read_back(path)
    brands = {"major_brand", "minor_version", "compatible_brands"}
    assert {k: v for k, v in film.metadata.items() if k not in brands} == {"title": "Only this"}
    for tags in film.stream_metadata:
        assert set(tags) <= {"language", "handler_name"}
    data = path.read_bytes()
    for word in (b"Lavf", b"Lavc", b"x264", b"ffmpeg", b"options:"):
        assert word not in data, word


def test_the_settings_note_alone_is_taken_from_a_packet() -> None:
    """Other units of the packet stay byte for byte; a packet without the note is untouched."""
    note = b"\0\0\1\x06\x05\x20" + bytes.fromhex("dc45e9bde6d948b7962cd820d923eeef") + b"x264 opts"
    before, after = b"\0\0\0\1\x67abc", b"\0\0\1\x65picture"
    assert without_settings_note(before + b"\0" + note + after) == before + after
    assert without_settings_note(note + b"\0" + after) == b"\0" + after
    other = before + b"\0\0\1\x06other sei" + after
    assert without_settings_note(other) == other


def test_two_equal_runs_give_equal_bytes(tmp_path: Path) -> None:
    """The same pictures and settings make the same file."""
    settings = EncoderSettings(threads=2)
    one = write_film(tmp_path / "1.mp4", 40, NTSC, Fraction(1), settings=settings)
    two = write_film(tmp_path / "2.mp4", 40, NTSC, Fraction(1), settings=settings)
    assert one.read_bytes() == two.read_bytes()


def test_segments_encoded_apart_join_without_a_seam(tmp_path: Path) -> None:
    """Three encoders, three runs of packets, one film: every frame at its place."""
    settings = EncoderSettings()
    muxer = FilmMuxer(tmp_path / "f.mp4", SIZE, NTSC, settings)
    for offset, count in ((0, 37), (37, 1), (38, 52)):
        encoder = VideoEncoder(SIZE, NTSC, settings)
        packets = []
        for i in range(offset, offset + count):
            packets += encoder.encode(*numbered_planes(i, *SIZE))
        packets += encoder.finish()
        muxer.write_packets(packets, offset, encoder.parameter_sets)
    muxer.close()
    found = probe(tmp_path / "f.mp4", "f.mp4")
    with FrameReader(found.source.path, found, SIZE) as reader:
        shown = [(p.at, read_number(p.y)) for p in reader.from_time(Fraction(0))]
        assert reader.damage == []
    assert shown == [(i / NTSC, i) for i in range(90)]


def test_segments_of_other_settings_or_in_the_wrong_order_are_refused(tmp_path: Path) -> None:
    """Parameter sets must be equal, and a segment begins where the one before ends."""
    settings = EncoderSettings()
    muxer = FilmMuxer(tmp_path / "f.mp4", SIZE, NTSC, settings)
    encoder = VideoEncoder(SIZE, NTSC, settings)
    packets = encoder.encode(*numbered_planes(0, *SIZE)) + encoder.finish()
    other = VideoEncoder(SIZE, NTSC, EncoderSettings(preset="slow"))
    with pytest.raises(EncoderError, match="other settings"):
        muxer.write_packets(packets, 0, other.parameter_sets)
    muxer.write_packets(packets, 0)
    for offset in (2, 5):
        with pytest.raises(EncoderError, match=f"begins at frame {offset}"):
            muxer.write_packets(packets, offset)
    muxer.abort()
    assert list(tmp_path.iterdir()) == []


def test_an_error_inside_leaves_no_file(tmp_path: Path) -> None:
    """Whatever stops the work, Ctrl-C too: nothing bears the film's name."""
    for error in (KeyboardInterrupt, RuntimeError):
        with pytest.raises(error), FilmWriter(tmp_path / "f.mp4", SIZE, NTSC) as film:
            film.write(*numbered_planes(0, *SIZE))
            raise error
    assert list(tmp_path.iterdir()) == []


def test_a_film_of_no_picture_is_an_error(tmp_path: Path) -> None:
    """Closing before anything was written makes no file."""
    with pytest.raises(EncoderError, match="no picture"):
        FilmWriter(tmp_path / "f.mp4", SIZE, NTSC).close()
    assert list(tmp_path.iterdir()) == []


def test_odd_sizes_and_wrong_planes_are_refused(tmp_path: Path) -> None:
    """4:2:0 has no odd sizes; a plane of another shape or type is the caller's slip."""
    with pytest.raises(EncoderError, match="4:2:0"):
        FilmWriter(tmp_path / "f.mp4", (321, 192), NTSC)
    film = FilmWriter(tmp_path / "g.mp4", SIZE, NTSC)
    y, u, v = numbered_planes(0, *SIZE)
    with pytest.raises(ValueError, match="a plane is"):
        film.write(y, y, v)
    with pytest.raises(ValueError, match="a plane is"):
        film.write(y.astype(np.float32), u, v)
    with pytest.raises(ValueError, match="without sound"):
        film.write_sound(np.zeros((5, 2), np.float32))
    film.abort()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform != "linux", reason="a full device exists on Linux only")
def test_a_full_disk_says_so(tmp_path: Path) -> None:
    """Writing to a device without room raises DiskFull, not the library's error."""
    link = tmp_path / "f.mp4"
    link.symlink_to("/dev/full")
    rng = np.random.default_rng(1)
    with pytest.raises(DiskFull, match="no space left"):
        film = FilmWriter(link, SIZE, NTSC, settings=EncoderSettings(crf=1))
        for _ in range(200):
            y = rng.integers(16, 235, (192, 320), dtype=np.uint8)
            film.write(y, y[:96, :160].copy(), y[:96, :160].copy())
        film.close()
    gc.collect()
