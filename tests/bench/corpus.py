"""A labelled corpus made from real clips: what happened at which frame is known by construction.

``build(part, folder, cache, count, seed)`` writes ``count`` encoded recordings of 320 x 180 with a
``labels.json`` beside them. Kinds of label: ``hard`` (another view), ``jump`` (another moment of the
same view), ``stop`` (the same after a frozen picture), ``black`` (another view after a black
picture), ``dissolve``, ``fade``. A swap is two hard
cuts. A jump that changes less than 1.5 % of the picture by more than 8 levels, or less than twice
what the frame before it changed, before or after coding, does not show and is neutral: it is neither
asked for nor counted against a finder.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

from tests.bench import edits
from tests.bench.edits import Picture, Rng
from tests.bench.moods import MOODS, Mood
from tests.bench.sources import CLIPS, locate, pictures


@dataclass(frozen=True)
class Label:
    """One transition: ``last`` frame of the old view, ``first`` frame of the new one."""

    kind: str
    last: int
    first: int


@dataclass(frozen=True)
class Event:
    """Something that is no cut, from frame ``start`` up to ``end``."""

    kind: str
    start: int
    end: int
    detail: str = ""


@dataclass
class Made:
    """A recording under construction."""

    frames: list[Picture] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    neutral: list[tuple[int, int]] = field(default_factory=list)


@dataclass
class Camera:
    """A clip played to and fro from some frame on; going on never jumps."""

    name: str
    film: list[Picture]
    at: int = 0

    def take(self, count: int) -> list[Picture]:
        """The next ``count`` frames."""
        period = 2 * len(self.film) - 2
        out = []
        for _ in range(count):
            place = self.at % period
            out.append(self.film[place if place < len(self.film) else period - place])
            self.at += 1
        return out


def changed(a: Picture, b: Picture) -> float:
    """Share of the picture that differs by more than 8 levels of grey, seen at 160 x 90."""
    small = [
        cv2.GaussianBlur(cv2.resize(cv2.cvtColor(p, cv2.COLOR_BGR2GRAY), (160, 90)), (0, 0), 1)
        for p in (a, b)
    ]
    return float(np.mean(cv2.absdiff(*small) > 8))


def visible(earlier: Picture, before: Picture, after: Picture) -> bool:
    """Whether a jump shows: 1.5 % of the picture changes, and twice what changed a frame before."""
    return changed(before, after) > max(0.015, 2 * changed(earlier, before))


def _shot(
    made: Made, camera: Camera, cameras: list[Camera], rng: Rng, length: int, mood: Mood
) -> bool:
    """Add a run of one view, most runs with something happening in it that is no cut.

    Says whether something lasting happened: then the run must not end in the same view, where the
    change would silently be undone.
    """
    lasting = False
    if mood.quiet and rng.random() < mood.quiet:
        made.frames.extend(camera.take(int(length * 0.6) + 10))
        return lasting
    base = len(made.frames)
    made.frames.extend(camera.take(length))
    at = 20
    while at < length - 30:
        kind = str(rng.choice(mood.happens))
        lasting = lasting or kind in edits.LASTING
        at = _happen(made, kind, base + at, base + length, cameras, rng) - base
        at += int(rng.integers(*mood.pause_frames))
    return lasting


def _happen(made: Made, kind: str, start: int, stop: int, cameras: list[Camera], rng: Rng) -> int:
    """Let one thing happen at ``start``; the frame after it is given back."""
    room = stop - start - 12
    if kind == "none":
        return start
    if kind in edits.LASTING:
        detail = edits.LASTING[kind](made.frames, start, stop - start, rng)
        made.events.append(Event(kind, start, start + 30, detail))
        return start + 30
    if kind == "flash":
        length = min(room, int(rng.choice(edits.FLASH_FRAMES)))
        detail = edits.flash(made.frames, start, length, rng)
    elif kind == "occlusion":
        length = min(room, int(rng.integers(6, 50)))
        cover = cameras[int(rng.integers(len(cameras)))].film[0]
        detail = edits.occlusion(made.frames, start, length, rng, cover)
    else:
        function, least, most = edits.PASSING[kind]
        length = min(room, int(rng.integers(least, most + 1)))
        detail = function(made.frames, start, length, rng)
    made.events.append(Event(kind, start, start + length, detail))
    return start + length


def _join(
    made: Made, camera: Camera, cameras: list[Camera], rng: Rng, ways: Sequence[str]
) -> Camera:
    """End the view in one of some ways; the camera that goes on is given back."""
    kind = str(rng.choice(ways))
    others = [c for c in cameras if c.name.split("[")[0] != camera.name.split("[")[0]]
    other = others[int(rng.integers(len(others)))]
    last = len(made.frames) - 1
    if kind == "hard":
        made.labels.append(Label("hard", last, last + 1))
        return other
    if kind == "jump":
        return _jump(made, camera, rng, "jump")
    if kind == "stop":
        held = int(rng.integers(15, 60))
        made.frames.extend([made.frames[-1]] * held)
        made.neutral.append((last, last + held - 2))
        return _jump(made, camera, rng, "stop")
    if kind == "black":
        dark = int(rng.integers(20, 90))
        made.frames.extend([np.zeros_like(made.frames[-1])] * dark)
        made.neutral.append((last - 1, last + dark - 2))
        made.labels.append(Label("black", last + dark, last + dark + 1))
        return other
    if kind == "swap":
        made.labels.append(Label("hard", last, last + 1))
        made.frames.extend(other.take(int(rng.integers(20, 150))))
        camera.at += 60
        back = len(made.frames)
        made.labels.append(Label("hard", back - 1, back))
        return camera
    return _gradual(made, camera, other, rng, kind)


def _gradual(made: Made, camera: Camera, other: Camera, rng: Rng, kind: str) -> Camera:
    last = len(made.frames) - 1
    count = int(rng.integers(8, 46))
    if kind == "dissolve":
        made.frames.extend(edits.dissolve(camera.take(count), other.take(count)))
    else:
        black = int(rng.integers(0, 25))
        made.frames.extend(edits.fade(camera.take(count), other.take(count), black))
    made.labels.append(Label(kind, last, len(made.frames)))
    return other


def _jump(made: Made, camera: Camera, rng: Rng, kind: str) -> Camera:
    camera.at += int(rng.integers(25, 120))
    after = camera.take(1)[0]
    camera.at -= 1
    last = len(made.frames) - 1
    if visible(*made.frames[-2:], after):
        made.labels.append(Label(kind, last, last + 1))
    else:
        made.neutral.append((last - 1, last + 2))
    return camera


def compose(cameras: list[Camera], rng: Rng, frames: int, mood: Mood) -> Made:
    """One recording of about ``frames`` frames."""
    made = Made()
    camera = cameras[int(rng.integers(len(cameras)))]
    for each in cameras:
        each.at = int(rng.integers(0, len(each.film)))
    while True:
        lasting = _shot(made, camera, cameras, rng, int(rng.integers(45, 190)), mood)
        if len(made.frames) >= frames:
            return made
        camera = _join(made, camera, cameras, rng, mood.leaving if lasting else mood.ending)


def long_flash(cameras: list[Camera], rng: Rng, length: int) -> Made:
    """A recording of one view with one long flash and nothing else."""
    made = Made()
    camera = cameras[int(rng.integers(len(cameras)))]
    camera.at = int(rng.integers(0, len(camera.film)))
    made.frames.extend(camera.take(length + 120))
    detail = edits.flash(made.frames, 60, length, rng)
    made.events.append(Event("flash", 60, 60 + length, detail))
    return made


#: Encodings: (codec, options); rates, key-frame distances, B-frames, heavy compression.
CODINGS: tuple[tuple[str, dict[str, str]], ...] = (
    ("libx264", {"preset": "veryfast", "crf": "20", "g": "60"}),
    ("libx264", {"preset": "ultrafast", "crf": "28", "g": "250", "sc_threshold": "0"}),
    ("libx264", {"preset": "veryfast", "crf": "33", "g": "15", "bf": "2"}),
    (
        "libx264",
        {
            "preset": "superfast",
            "b": "400k",
            "maxrate": "400k",
            "bufsize": "200k",
            "g": "60",
            "sc_threshold": "0",
            "bf": "0",
        },
    ),
    ("mpeg4", {"b": "500k", "g": "30"}),
)


def presented(made: Made, rng: Rng, variable: bool) -> tuple[Made, list[Fraction]]:
    """Times of the frames; with ``variable`` some are dropped, gaps grow and stamps jitter.

    What happened in dropped frames alone is no event.
    """
    count = len(made.frames)
    if not variable:
        return made, [Fraction(n, 30) for n in range(count)]
    keep = rng.random(count) > 0.12
    for _ in range(max(1, count // 250)):
        hole = int(rng.integers(10, count - 20))
        keep[hole : hole + int(rng.integers(3, 12))] = False
    keep[0] = True
    left = np.flatnonzero(keep)
    times = [Fraction(int(n) * 3000 + (int(rng.integers(0, 600)) if n else 0), 90000) for n in left]

    def new(frame: int) -> int:
        return int(np.searchsorted(left, frame))

    labels = [Label(s.kind, new(s.last + 1) - 1, new(s.first)) for s in made.labels]
    seen = [e for e in made.events if new(e.start) < new(e.end)]
    events = [Event(e.kind, new(e.start), new(e.end), e.detail) for e in seen]
    neutral = [(new(a), new(b)) for a, b in made.neutral]
    return Made([made.frames[n] for n in left], labels, events, neutral), times


def encode(path: Path, frames: list[Picture], times: list[Fraction], coding: int) -> None:
    """Write the frames at their times as Matroska with one of ``CODINGS``."""
    codec, options = CODINGS[coding]
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=30, options=options)
        stream.width, stream.height = frames[0].shape[1], frames[0].shape[0]
        stream.pix_fmt = "yuv420p"
        stream.time_base = Fraction(1, 90000)
        stream.codec_context.time_base = Fraction(1, 90000 if codec == "libx264" else 30)
        for picture, time in zip(frames, times, strict=True):
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.time_base = stream.codec_context.time_base
            frame.pts = round(time / frame.time_base)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())


def shown(path: Path, made: Made) -> Made:
    """The same with jumps that the coding has wiped out made neutral: judged by what was written."""
    asked = [s for s in made.labels if s.kind in ("jump", "stop")]
    wanted = {n for s in asked for n in (s.last - 1, s.last, s.first)}
    seen: dict[int, Picture] = {}
    if wanted:
        with av.open(str(path)) as container:
            for n, frame in enumerate(container.decode(video=0)):
                if n in wanted:
                    seen[n] = frame.to_ndarray(format="bgr24")
    lost = [s for s in asked if not visible(seen[s.last - 1], seen[s.last], seen[s.first])]
    labels = [s for s in made.labels if s not in lost]
    neutral = [*made.neutral, *((s.last - 1, s.first + 1) for s in lost)]
    return Made(made.frames, labels, made.events, neutral)


def cameras_of(part: str, cache: Path, mood: Mood) -> list[Camera]:
    """The part's clips that can be had, read."""
    found = [(clip, locate(clip, cache)) for clip in CLIPS if clip.part == part]
    read = [(c, pictures(p, c.first, c.stop)) for c, p in found if p is not None]
    return [Camera(c.label, mood.film(film, number)) for number, (c, film) in enumerate(read)]


def build(
    part: str, folder: Path, cache: Path, count: int, seed: int, mood: str = "plain"
) -> list[str]:
    """Write the part's recordings and labels, one process a core; names of missing clips come back.

    ``mood`` is what they are rich in (see moods.MOODS).

    The same seed gives the same pictures and labels, whatever the number of processes; what the
    coder with a limited rate makes of them is not always the same.
    """
    folder.mkdir(parents=True, exist_ok=True)
    missing = [c.label for c in CLIPS if c.part == part and locate(c, cache) is None]
    cores = os.cpu_count() or 1
    with ProcessPoolExecutor(cores) as pool:
        jobs = [
            pool.submit(_some, part, folder, cache, seed, range(first, count, cores), MOODS[mood])
            for first in range(cores)
        ]
        entries = sorted((e for job in jobs for e in job.result()), key=lambda e: str(e["file"]))
    (folder / "labels.json").write_text(
        json.dumps(entries, indent=1), encoding="utf-8", newline="\n"
    )
    return missing


def _some(
    part: str, folder: Path, cache: Path, seed: int, numbers: range, mood: Mood
) -> list[dict[str, Any]]:
    """Read the clips and make some of the recordings."""
    cv2.setNumThreads(1)
    cameras = cameras_of(part, cache, mood)
    return [_make(part, folder, cameras, seed, number, mood) for number in numbers]


def _make(
    part: str, folder: Path, cameras: list[Camera], seed: int, number: int, mood: Mood
) -> dict[str, Any]:
    """Write one recording; its entry in the labels."""
    rng = np.random.default_rng((seed, number))
    coding, variable = number % len(CODINGS), number % 7 == 3
    variable = variable and CODINGS[coding][0] == "libx264"
    if number % 10 == 9 and mood.long_flash:
        made = long_flash(cameras, rng, int(rng.choice(edits.LONG_FLASH_FRAMES)))
    else:
        made = compose(cameras, rng, 600, mood)
    share, *drift, least, most = mood.shaken
    if rng.random() < share:
        made.frames = edits.hand_held(
            made.frames, rng, rng.uniform(*drift), rng.uniform(least, most)
        )
    share, *noise = mood.noisy
    if rng.random() < share:
        made.frames = edits.noisy(made.frames, rng, rng.uniform(*noise))
    made, times = presented(made, rng, variable)
    path = folder / f"{part}-{number:03d}.mkv"
    encode(path, made.frames, times, coding)
    made = shown(path, made)
    return {
        "file": path.name,
        "frames": len(times),
        "coding": coding,
        "variable": variable,
        "labels": [asdict(s) for s in made.labels],
        "events": [asdict(e) for e in made.events],
        "neutral": made.neutral,
    }
