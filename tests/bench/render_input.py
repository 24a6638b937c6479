"""The input of the render benchmark: one recording as a camera writes it, made of real clips.

Clips are played forward and back at 1080p, 30 frames a second, with sensor noise, and coded like a
hardware encoder does: closed groups of two seconds, no scene-cut key frames, one reference, 10 Mb/s.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import cycle
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from tests.bench.sources import CLIPS, Clip, locate

SIZE_PX = (1920, 1080)
FPS = 30
_CHOSEN = (
    *("sam2_04_coffee.mp4", "mdn_flower.mp4", "sam2_bedroom.mp4", "sam2_02_cups.mp4"),
    *("world.mp4", "WolfgangLanger_Pexels.mp4"),
)
_SPOKEN = "mdn_friday.mp4"
_MOST_FRAMES = 240
_CAMERA = (
    "keyint=60:min-keyint=60:scenecut=0:ref=1:cabac=1:8x8dct=1:deblock=0,0:bframes=0:weightp=0:"
    "bitrate=10000:vbv-maxrate=12000:vbv-bufsize=15000"
)


def find_clips(cache: Path) -> list[tuple[Clip, Path]]:
    """The chosen clips that can be had. Raises SystemExit when there is none."""
    found = []
    for name in _CHOSEN:
        clip = next(c for c in CLIPS if c.name == name)
        path = locate(clip, cache)
        print(f"clip {name}: {'found' if path else 'NOT TO BE HAD'}", flush=True)
        if path is not None:
            found.append((clip, path))
    if not found:
        raise SystemExit("no real clip can be had: name a folder of clips in TEACHCUT_MEDIA")
    return found


def _upscaled(path: Path) -> list[av.VideoFrame]:
    out: list[av.VideoFrame] = []
    with av.open(str(path)) as box:
        for frame in box.decode(video=0):
            if len(out) == _MOST_FRAMES:
                break
            out.append(frame.reformat(*SIZE_PX, "yuv420p", interpolation="BICUBIC"))
    return out


def _played(clips: list[tuple[Clip, Path]]) -> Iterator[av.VideoFrame]:
    for _, path in cycle(clips):
        frames = _upscaled(path)
        yield from frames
        yield from reversed(frames)


def _view(frame: av.VideoFrame, index: int) -> NDArray[np.uint8]:
    plane = frame.planes[index]
    flat = np.frombuffer(memoryview(plane), np.uint8)
    return flat.reshape(plane.height, plane.line_size)[:, : plane.width]


def find_sound(cache: Path) -> Path:
    """A clip with people speaking in a room. Raises SystemExit where it cannot be had."""
    path = locate(next(c for c in CLIPS if c.name == _SPOKEN), cache)
    if path is None:
        raise SystemExit(f"{_SPOKEN} cannot be had: name a folder of clips in TEACHCUT_MEDIA")
    return path


def write_recording(path: Path, seconds: int, clips: list[tuple[Clip, Path]], spoken: Path) -> None:
    """Write the recording, the sound of ``spoken`` over and over. The same clips, the same pictures."""
    rng, voice = np.random.default_rng(1), _voice(spoken)
    noises = [rng.normal(0, 2, SIZE_PX[::-1]).round().astype(np.int16) for _ in range(5)]
    with av.open(str(path), "w") as box:
        stream = box.add_stream("libx264", rate=FPS)
        stream.width, stream.height, stream.pix_fmt = *SIZE_PX, "yuv420p"
        context = stream.codec_context
        context.color_range = 1
        context.colorspace = context.color_primaries = context.color_trc = 1
        stream.options = {"preset": "ultrafast", "x264-params": _CAMERA}
        sound = box.add_stream("aac", rate=48000, layout="stereo")
        for number, shown in enumerate(_played(clips)):
            if number == seconds * FPS:
                break
            frame = av.VideoFrame(*SIZE_PX, "yuv420p")
            noise = noises[number % len(noises)]
            np.copyto(
                _view(frame, 0), cv2.add(_view(shown, 0).astype(np.int16), noise, dtype=cv2.CV_8U)
            )
            for index in (1, 2):
                np.copyto(_view(frame, index), _view(shown, index))
            frame.pts, frame.time_base = number, Fraction(1, FPS)
            box.mux(stream.encode(frame))
            if number % FPS == 0:
                for block in _blocks(voice, number // FPS):
                    box.mux(sound.encode(block))
        box.mux(stream.encode(None))
        box.mux(sound.encode(None))


def _voice(path: Path) -> NDArray[np.float32]:
    """The whole sound of a clip, (samples, 2) at 48 kHz."""
    to_stereo = av.AudioResampler("flt", "stereo", 48000)
    with av.open(str(path)) as box:
        parts = [p for f in box.decode(audio=0) for p in to_stereo.resample(f)]
    return np.concatenate([part.to_ndarray().reshape(-1, 2) for part in parts])


def _blocks(voice: NDArray[np.float32], second: int) -> Iterator[av.AudioFrame]:
    for start in range(second * 48000, (second + 1) * 48000, 1000):
        block = voice[(start + np.arange(1000)) % len(voice)].T
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(block), format="fltp", layout="stereo"
        )
        frame.sample_rate, frame.pts = 48000, start
        frame.time_base = Fraction(1, 48000)
        yield frame


def stretches(seconds: int) -> list[tuple[str, Fraction, Fraction]]:
    """The plan: 60 % real time, 35 % at 8x, 5 % not shown, eight rounds of them in five minutes."""
    rounds = max(1, round(seconds * 8 / 300))
    length = Fraction(seconds, rounds)
    out = []
    for n in range(rounds):
        at = n * length
        for kind, share in (("real", 60), ("fast", 35), ("skip", 5)):
            out.append((kind, at, at + length * share / 100))
            at += length * share / 100
    return out


def write_case(
    path: Path, recording: str, seconds: int, renamed: bool = False, faster: bool = False
) -> None:
    """The case over the recording; ``renamed`` and ``faster`` are the edits of the benchmark.

    One step is renamed; one fast step is made faster.
    """
    lines = ["case: bench", "title: Bench", "subject: simulated", "sound: room"]
    lines += [f"recordings: [{{file: {recording}}}]", "steps:"]
    shows = {"real": "", "fast": ", show: 8x", "skip": ", show: skip"}
    for number, (kind, start, _) in enumerate(stretches(seconds)):
        title = f"Step {number}" + (" renamed" if renamed and number == 0 else "")
        show = ", show: 10x" if faster and number == 1 else shows[kind]
        lines.append(f"  - {{id: s{number}, title: {title}, from: {float(start):.3f}{show}}}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
