"""The film made of kept segments is the film made in one go, however often the work was broken off."""

from __future__ import annotations

import hashlib
import random
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.cache import SegmentCache
from annotate.decide import decide
from annotate.engine import Job, encode_film
from annotate.inserts import FilmInserts
from annotate.picture.fonts import FontChain
from annotate.picture.overlay import Overlay
from annotate.progress import Report, silent
from annotate.recording import Pictures
from annotate.render import Renderer
from annotate.segments import split
from annotate.sidecars import film_chapters
from annotate.sound.room import room_sound
from chapters.casefile import load_case
from chapters.media.encode import EncoderSettings
from chapters.media.segmentfile import read_segment
from chapters.media.writer import FilmWriter
from tests.clips import VideoTrack, even_times, ffmpeg, write_clip

ROOT = Path(__file__).parent.parent.parent
SINE_HZ = 441
SETTINGS = EncoderSettings(preset="superfast", crf=16)

CASE = """\
case: joins
title: Joins
subject: simulated
sound: room
recordings: [{file: part.mp4}]
steps:
  - {id: long, title: Longer than a segment, from: 0.5}
  - {id: next, title: Goes on at once, from: 12.25}
  - {id: quick, title: Eight times as fast, from: 14, show: 8x}
  - {id: last, title: Real time again, from: 30}
"""


def write_case(folder: Path) -> None:
    """A numbered recording of 34 s with a sine as its sound, and the case over it."""
    bare = write_clip(
        folder / "bare.mp4",
        VideoTrack(
            even_times(34 * 30, 30),
            size_px=(320, 240),
            tags={"color_range": 1, "colorspace": 1},
        ),
    )
    sine = f"sine=frequency={SINE_HZ}:sample_rate=48000:duration=34"
    ffmpeg(
        *("-i", bare.path, "-f", "lavfi", "-i", sine, "-c:v", "copy"),
        *("-ac", "2", "-c:a", "aac", "-b:a", "160k", folder / "part.mp4"),
    )
    (folder / "case.yaml").write_text(CASE, encoding="utf-8")


def encode(folder: Path, name: str, report: Report = silent, kept: str = "kept") -> Path:
    """Encode the case's film as segments; the cache is the folder ``kept``."""
    decided = decide(load_case(folder / "case.yaml"), silent)
    fonts = FontChain([], "en")
    inserts = FilmInserts(decided.plan, decided.size_px, fonts, decided.loaded.path_of, "")
    job = Job(decided, inserts, fonts, SETTINGS, "", workers=2)
    sound = room_sound(decided.plan.film, decided.recording)
    cache = SegmentCache(folder / kept)
    encode_film(job, folder / name, film_chapters(decided.plan), sound, cache, report)
    return folder / name


def encode_at_once(folder: Path, name: str) -> Path:
    """The same film by one encoder from the first frame to the last."""
    decided = decide(load_case(folder / "case.yaml"), silent)
    film, fonts = decided.plan.film, FontChain([], "en")
    inserts = FilmInserts(decided.plan, decided.size_px, fonts, decided.loaded.path_of, "")
    with (
        Pictures(decided.recording, decided.size_px, decided.plan.case) as pictures,
        FilmWriter(folder / name, decided.size_px, film.fps, settings=SETTINGS) as writer,
    ):
        job = Job(decided, inserts, fonts, SETTINGS, "")
        drawn = Renderer(job.faces, pictures, inserts, Overlay(decided.size_px, fonts))
        for planes in drawn.frames(0, film.frame_count):
            writer.write(*planes)
    return folder / name


def pictures_of(path: Path) -> list[tuple[Fraction, NDArray[np.uint8]]]:
    """Every frame of a film by its own reader: exact time, planes."""
    with av.open(str(path)) as box:
        unit = Fraction(box.streams.video[0].time_base or 1)
        found = [
            ((f.pts or 0) * unit, np.asarray(f.to_ndarray(format="yuv420p"), np.uint8))
            for f in box.decode(video=0)
        ]
    return sorted(found, key=lambda pair: pair[0])


def hashes(path: Path) -> list[str]:
    """SHA-256 of every frame."""
    return [hashlib.sha256(f"{t}".encode() + p.tobytes()).hexdigest() for t, p in pictures_of(path)]


@dataclass(frozen=True)
class Whole:
    """The case's folder, its film as segments that nothing disturbed, and that film's hashes."""

    folder: Path
    film: Path
    hashes: list[str]
    joins: list[int]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    """A film made without disturbance."""
    folder = tmp_path_factory.mktemp("joins")
    write_case(folder)
    film = encode(folder, "whole.mp4")
    plan = decide(load_case(folder / "case.yaml"), silent).plan
    return Whole(folder, film, hashes(film), [s.first for s in split(plan.film)])


def test_segments_show_what_one_pass_shows(whole: Whole) -> None:
    """Equal in number and time stamps; both coded films agree to 45 dB on every frame."""
    once = pictures_of(encode_at_once(whole.folder, "once.mp4"))
    joined = pictures_of(whole.film)
    assert [t for t, _ in joined] == [t for t, _ in once] and len(joined) > 500
    assert len(whole.joins) > 5
    for (t, a), (_, b) in zip(joined, once, strict=True):
        error = np.mean((a.astype(np.float64) - b) ** 2)
        assert 10 * np.log10(255**2 / max(error, 1e-9)) >= 45, t


def test_a_sine_runs_across_the_joins(whole: Whole) -> None:
    """In the real-time run of 13.5 s the sine's phase and level stay where they were: no click."""
    with av.open(str(whole.film)) as box:
        blocks = [f.to_ndarray() for f in box.decode(audio=0)]
    sound = np.concatenate(blocks, axis=1)[0]
    values = decide(load_case(whole.folder / "case.yaml"), silent).plan.film
    real = next(p for p in values.pieces if p.is_real)
    first = round(real.cut.start * 48000) + 1500
    run = sound[first : first + 13 * 48000]
    assert sum(first < j * 1600 < first + len(run) for j in whole.joins) >= 2
    n = np.arange(len(run))
    turned = run * np.exp(-2j * np.pi * SINE_HZ * n / 48000)
    block = 1200  # short enough that one lost sample shows
    mean = turned[: len(turned) // block * block].reshape(-1, block).mean(axis=1)
    smooth = np.convolve(mean, np.ones(8) / 8, "valid")
    phase = np.unwrap(np.angle(smooth))
    one_sample = 2 * np.pi * SINE_HZ / 48000
    assert np.ptp(phase) < one_sample / 2
    assert np.ptp(np.abs(smooth)) < 0.02 * np.mean(np.abs(smooth))


CHILD = """
import sys
from pathlib import Path
from tests.journeys.test_segments import encode
def report(stage, done, total):
    print(stage, int(done), flush=True)
encode(Path(sys.argv[1]), sys.argv[2], report, sys.argv[3])
print("finished", flush=True)
"""


def start(folder: Path, name: str, kept: str) -> subprocess.Popen[str]:
    """A run in a process of its own that says how many frames are done."""
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(folder), name, kept],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )


def says(child: subprocess.Popen[str]) -> Iterator[str]:
    """The lines of a run as they come."""
    assert child.stdout is not None
    for line in child.stdout:
        yield line.strip()


def test_a_render_killed_again_and_again_gives_the_same_film(whole: Whole) -> None:
    """Killed at random moments until it has come through; then every frame is as if never killed."""
    rng = random.Random(20240)
    killed = 0
    for _ in range(10):
        child = start(whole.folder, "killed.mp4", "kept-killed")
        after = rng.randint(1, 4)
        lines = 0
        for line in says(child):
            lines += line.startswith("drawing")
            if lines >= after:
                child.kill()
                break
        child.wait(timeout=60)
        child.stdout.close()  # type: ignore[union-attr]
        killed += child.returncode != 0
        if child.returncode == 0:
            break
    assert killed >= 3
    film = encode(whole.folder, "finished.mp4", kept="kept-killed")
    assert hashes(film) == whole.hashes


def test_two_runs_at_once_share_one_cache(whole: Whole) -> None:
    """Both finish with the same film; no half-written file stays behind."""
    runs = [start(whole.folder, f"run-{n}.mp4", "kept-shared") for n in (1, 2)]
    for run in runs:
        assert run.communicate(timeout=120)[0].splitlines()[-1] == "finished"
    assert all(hashes(whole.folder / f"run-{n}.mp4") == whole.hashes for n in (1, 2))
    left = sorted(p.name for p in (whole.folder / "kept-shared").iterdir())
    assert len(left) == len(whole.joins) and not any(n.startswith(".") for n in left)


@pytest.mark.parametrize("harm", ["cut short", "changed", "another file"])
def test_an_unreadable_kept_segment_is_made_again(whole: Whole, harm: str) -> None:
    """Half a file, a changed byte, something else altogether: the film is right, the file whole."""
    kept = sorted((whole.folder / "kept").glob("*.seg"))
    for path in kept[1:3]:
        data = path.read_bytes()
        spoilt = {
            "cut short": data[: len(data) // 2],
            "changed": data[:-100] + bytes([data[-100] ^ 1]) + data[-99:],
            "another file": b"not a segment",
        }[harm]
        path.write_bytes(spoilt)
    film = encode(whole.folder, "mended.mp4")
    assert hashes(film) == whole.hashes
    assert all(read_segment(path).packets for path in kept)
