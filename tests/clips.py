"""Makers of clips whose truth is known, and the readers that get the truth back out.

The *numbered recording* is the chief one: every frame carries its own number as a bar code that
survives encoding, scaling and a change of frame rate, at any list of presentation times, and the
sound carries ticks at known times. Written with PyAV directly, never through the code under test.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, NoReturn, TypeAlias, cast

import av
import numpy as np
import pytest
from numpy.typing import NDArray

Plane = NDArray[np.uint8]
AnyPacket: TypeAlias = "av.Packet[Any]"

#: two reference cells, sixteen bits of the number, four bits of check, two reference cells
CELLS = 24
_TOP, _BOTTOM = 0.08, 0.28  # rows of the code, as parts of the picture's height
TICK_HZ = 2000
TICK_LASTS_S = 0.004
_TIME_BASE = Fraction(1, 90000)


def absent(what: str) -> NoReturn:
    """Leave a test loudly where ``what`` cannot be had; fail instead when TEACHCUT_NO_SKIP=1."""
    if os.environ.get("TEACHCUT_NO_SKIP") == "1":
        pytest.fail(f"{what} is not there and nothing may be skipped")
    pytest.skip(f"NOT CHECKED: {what} is not there")


def ffmpeg(*arguments: str | Path, shown: int = 0) -> bytes:
    """Run the ffmpeg binary that imageio-ffmpeg brings (not the one inside PyAV); its output.

    ``shown``: the exit status expected.
    """
    try:
        import imageio_ffmpeg  # type: ignore[import-untyped]

        binary = imageio_ffmpeg.get_ffmpeg_exe()
    except (ImportError, RuntimeError):
        absent("imageio-ffmpeg")
    done = subprocess.run(
        [binary, "-nostdin", "-y", "-v", "error", *map(str, arguments)],
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == shown, done.stderr.decode(errors="replace")
    return done.stdout


class UnreadableNumber(ValueError):
    """The bar code's reference cells or its check do not fit: the picture carries no number."""


def _cells(number: int) -> list[int]:
    """The 24 cells of a frame number 0..65535: 1 0, the number (lowest bit first), check, 0 1."""
    if not 0 <= number <= 0xFFFF:
        raise ValueError(f"{number} does not fit 16 bits")
    check = sum((number >> s) & 0xF for s in (0, 4, 8, 12)) ^ 0xA
    bits = [(number >> b) & 1 for b in range(16)] + [(check >> b) & 1 for b in range(4)]
    return [1, 0, *bits, 0, 1]


def draw_number(y: Plane, number: int) -> None:
    """Draw the bar code of ``number`` across the top of a luma plane (h, w), in place."""
    height, width = y.shape
    row = np.repeat(np.array(_cells(number), np.uint8), 1) * 190 + 30
    columns = np.minimum(np.arange(width) * CELLS // width, CELLS - 1)
    y[int(height * _TOP) : int(height * _BOTTOM)] = row[columns]


def read_number(y: Plane, box: tuple[int, int, int, int] | None = None) -> int:
    """The frame number drawn in a luma plane; ``box`` is (x, y, w, h) of the picture inside it.

    Raises UnreadableNumber when the picture carries none (a card, a blend, a wrong turn).
    """
    if box is not None:
        x0, y0, w, h = box
        y = y[y0 : y0 + h, x0 : x0 + w]
    height, width = y.shape
    band = y[int(height * 0.14) : int(height * 0.22)].astype(np.float64)
    cell = width / CELLS
    levels = [
        float(
            band[
                :, int((i + 0.3) * cell) : max(int((i + 0.7) * cell), int((i + 0.3) * cell) + 1)
            ].mean()
        )
        for i in range(CELLS)
    ]
    white, black = min(levels[0], levels[-1]), max(levels[1], levels[-2])
    if white - black < 60:
        raise UnreadableNumber("no bar code: the reference cells do not differ")
    bits = [int(level > (white + black) / 2) for level in levels]
    number = sum(bit << i for i, bit in enumerate(bits[2:18]))
    if bits != _cells(number):
        raise UnreadableNumber(f"the check of the bar code does not fit: {bits}")
    return number


def numbered_planes(number: int, width_px: int, height_px: int) -> tuple[Plane, Plane, Plane]:
    """4:2:0 planes with the code, a slow gradient and a block that moves with the number."""
    y = np.empty((height_px, width_px), np.uint8)
    y[:] = 70 + np.arange(width_px) * 60 // width_px
    size = max(8, height_px // 8)
    x0 = (number * 7) % max(1, width_px - size)
    y0 = int(height_px * 0.45)
    y[y0 : y0 + size, x0 : x0 + size] = 200
    draw_number(y, number)
    u = np.full(((height_px + 1) // 2, (width_px + 1) // 2), 118, np.uint8)
    v = np.full_like(u, 138)
    return y, u, v


def fill_frame(frame: av.VideoFrame, planes: Sequence[NDArray[np.generic]]) -> av.VideoFrame:
    """Copy planes into a frame of the same planar format, line by line (strides differ)."""
    for target, source in zip(frame.planes, planes, strict=True):
        view = np.frombuffer(memoryview(target), source.dtype).reshape(target.height, -1)
        view[:, : source.shape[1]] = source
    return frame


def ticks_sound(ticks: Iterable[Fraction], length_s: Fraction, rate_hz: int) -> NDArray[np.float32]:
    """Mono float32 (n,) with a tone burst that starts sharply at each time."""
    out = np.zeros(round(length_s * rate_hz), np.float32)
    burst = 0.8 * np.sin(
        2 * np.pi * TICK_HZ * np.arange(int(TICK_LASTS_S * rate_hz)) / rate_hz + 0.7
    )
    for tick in ticks:
        at = round(tick * rate_hz)
        stop = min(at + len(burst), len(out))
        if 0 <= at < stop:
            out[at:stop] = burst[: stop - at]
    return out


def find_ticks(samples: NDArray[np.float32], rate_hz: int, apart_s: float = 0.1) -> list[float]:
    """Onset times in seconds of the bursts in mono (n,) or multichannel (n, channels) sound."""
    mono = np.abs(samples if samples.ndim == 1 else samples.max(axis=1) - samples.min(axis=1))
    if samples.ndim == 2:
        mono = np.maximum(mono, np.abs(samples).max(axis=1))
    if mono.size == 0 or float(mono.max()) < 0.05:
        return []
    loud = np.flatnonzero(mono > 0.3 * mono.max())
    firsts = np.flatnonzero(np.diff(loud, prepend=loud[0] - rate_hz * 10) > apart_s * rate_hz)
    return [float(i) / rate_hz for i in loud[firsts]]


@dataclass(frozen=True)
class SoundTrack:
    """Sound of a made clip: where it starts on the file's own clock, its ticks on that clock."""

    ticks: tuple[Fraction, ...] = ()
    start: Fraction = Fraction(0)
    length: Fraction | None = None
    rate_hz: int = 48000
    layout: str = "stereo"
    codec: str = "aac"


@dataclass(frozen=True)
class VideoTrack:
    """Video of a made clip: frame numbers, their times on the file's own clock, how they are coded."""

    times: tuple[Fraction, ...]
    numbers: tuple[int, ...] = ()
    size_px: tuple[int, int] = (320, 192)
    last_lasts: Fraction = Fraction(1, 30)
    codec: str = "libx264"
    pix_fmt: str = "yuv420p"
    gop: int = 30
    b_frames: int = 2
    quality: int = 18
    sar: Fraction | None = None
    turn: tuple[int, bool, bool] | None = None
    tags: dict[str, int] = field(default_factory=dict)
    options: dict[str, str] = field(default_factory=dict)
    draw: Callable[[int, int, int], Sequence[NDArray[np.generic]]] = numbered_planes


@dataclass(frozen=True)
class Clip:
    """What was written, on the clock where the first frame shown is zero."""

    path: Path
    times: tuple[Fraction, ...]
    numbers: tuple[int, ...]
    length: Fraction
    ticks: tuple[Fraction, ...]

    def number_at(self, at: Fraction) -> int:
        """The number of the frame on screen: the last whose time is not after ``at``."""
        shown = [n for t, n in zip(self.times, self.numbers, strict=True) if t <= at]
        return shown[-1] if shown else self.numbers[0]


def even_times(
    count: int, fps: Fraction | int, start: Fraction = Fraction(0)
) -> tuple[Fraction, ...]:
    """``count`` presentation times at a constant rate."""
    return tuple(start + Fraction(i) / Fraction(fps) for i in range(count))


def wavering_times(count: int, seed: int = 1) -> tuple[Fraction, ...]:
    """A variable rate as a camera makes it: 30 per second, dropping to 10 and 15 for stretches."""
    rng = np.random.default_rng(seed)
    out: list[Fraction] = []
    at = Fraction(0)
    while len(out) < count:
        gap = Fraction(int(rng.choice([3000, 3000, 3000, 6000, 9000])), 90000)
        for _ in range(int(rng.integers(3, 12))):
            out.append(at)
            at += gap
    return tuple(out[:count])


def write_clip(
    path: Path,
    video: VideoTrack,
    sound: SoundTrack | None = None,
    container_options: dict[str, str] | None = None,
    metadata: dict[str, str] | None = None,
) -> Clip:
    """Write a numbered recording; the container follows the path's suffix."""
    numbers = video.numbers or tuple(range(len(video.times)))
    with av.open(str(path), "w", options=container_options or {}) as box:
        box.metadata.update(metadata or {})
        packets = _video_packets(box, video, numbers)
        heard = _sound_packets(box, sound, video) if sound else []
        box.start_encoding()
        both = [*packets, *heard]
        for packet in sorted(both, key=lambda p: Fraction(p.dts or 0) * Fraction(p.time_base)):
            box.mux(packet)
    zero = video.times[0]
    return Clip(
        path=path,
        times=tuple(t - zero for t in video.times),
        numbers=numbers,
        length=video.times[-1] + video.last_lasts - zero,
        ticks=tuple(sound.start + t - zero for t in sound.ticks) if sound else (),
    )


def _video_stream(box: av.container.OutputContainer, video: VideoTrack) -> av.VideoStream:
    gaps = {b - a for a, b in pairwise(video.times)}
    rate = 1 / gaps.pop() if len(gaps) == 1 else Fraction(30)
    stream = cast(av.VideoStream, box.add_stream(video.codec, rate=rate, time_base=_TIME_BASE))
    stream.width, stream.height = video.size_px
    stream.pix_fmt = video.pix_fmt
    context = stream.codec_context
    context.time_base = _TIME_BASE
    if video.codec in ("mpeg2video", "mpeg4"):
        context.time_base = 1 / rate  # these count frames, so their clips have an even rate
    if video.codec in ("libx264", "libx265", "mpeg2video", "mpeg4", "libvpx", "libvpx-vp9"):
        context.gop_size = video.gop
    if video.codec in ("libx264", "libx265", "mpeg2video", "mpeg4"):
        context.max_b_frames = video.b_frames
    if video.sar is not None:
        context.sample_aspect_ratio = video.sar
    for name, value in video.tags.items():
        setattr(context, name, value)
    options: dict[str, str] = {}
    if video.codec in ("libx264", "libx265"):
        options = {"crf": str(video.quality), "preset": "veryfast", "bf": str(video.b_frames)}
    if video.codec == "libx265":
        options["x265-params"] = "log-level=none"
    stream.options = {**options, **video.options}
    if video.turn is not None:
        stream.set_display_rotation(video.turn[0], hflip=video.turn[1], vflip=video.turn[2])
    return stream


def _video_packets(
    box: av.container.OutputContainer, video: VideoTrack, numbers: Sequence[int]
) -> list[AnyPacket]:
    stream = _video_stream(box, video)
    width, height = video.size_px
    ends = [*video.times[1:], video.times[-1] + video.last_lasts]
    lasts = {
        round(a / _TIME_BASE): round((b - a) / _TIME_BASE)
        for a, b in zip(video.times, ends, strict=True)
    }
    packets: list[AnyPacket] = []
    for at, number in zip(video.times, numbers, strict=True):
        frame = av.VideoFrame(width, height, video.pix_fmt)
        fill_frame(frame, video.draw(number, width, height))
        frame.pts, frame.time_base = round(at / _TIME_BASE), _TIME_BASE
        for name, value in video.tags.items():
            setattr(frame, name, value)
        packets += stream.encode(frame)
    packets += stream.encode(None)
    for packet in packets:
        pts = round((packet.pts or 0) * packet.time_base / _TIME_BASE)
        packet.duration = round(lasts.get(pts, 3000) * _TIME_BASE / packet.time_base)
    return packets


def _sound_packets(
    box: av.container.OutputContainer, sound: SoundTrack, video: VideoTrack
) -> list[AnyPacket]:
    length = sound.length
    if length is None:
        length = video.times[-1] + video.last_lasts - sound.start
    stream = cast(
        av.AudioStream, box.add_stream(sound.codec, rate=sound.rate_hz, layout=sound.layout)
    )
    context = stream.codec_context
    mono = ticks_sound(sound.ticks, length, sound.rate_hz)
    channels = av.AudioLayout(sound.layout).nb_channels
    resampler = av.AudioResampler(format=context.format, layout=sound.layout, rate=sound.rate_hz)
    packets: list[AnyPacket] = []
    for at in range(0, len(mono), 1024):
        block = np.repeat(mono[None, at : at + 1024], channels, axis=0)
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(block), format="fltp", layout=sound.layout
        )
        frame.sample_rate = sound.rate_hz
        frame.pts = at + round(sound.start * sound.rate_hz)
        frame.time_base = Fraction(1, sound.rate_hz)
        for ready in resampler.resample(frame):
            packets += stream.encode(ready)
    for ready in resampler.resample(None):
        packets += stream.encode(ready)
    return packets + list(stream.encode(None))
