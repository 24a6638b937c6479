"""The film's sound: takes at their samples, the room under them, brought to a target.

Sample n of the film stands at n / 48000 s of cut time. A take's first sample is laid at the sample
nearest to its exact place, once rounded; nothing is counted up in floats, so sound and picture
stay together however long the film is. Everything runs in blocks; memory does not grow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annotate.sound.limiter import Gain, Limiter, Target, plan_gain
from annotate.sound.loudness import RATE_HZ, Meter, Reading
from annotate.sound.scan import Samples
from annotate.sound.takes import Laid, sample
from chapters.media.takes import TakeReader
from chapters.spans import Span

BLOCK = RATE_HZ
#: Fade at both ends of each laid take, samples: no click where a take is cut inside a sound.
_FADE = RATE_HZ // 200


@dataclass(frozen=True, slots=True)
class Ducking:
    """How the room's sound makes way for the voice; common practice.

    ``depth_db`` under the voice, down over ``attack_s`` before a span of voice, up over
    ``release_s`` after it; gaps shorter than ``hold_s`` stay down.
    """

    depth_db: float = -15.0
    attack_s: float = 0.25
    release_s: float = 0.6
    hold_s: float = 1.5


def lay(
    laid: Sequence[Laid],
    files: Mapping[str, Path],
    total: int,
    gains_db: Mapping[str, float] | None = None,
) -> Iterator[Samples]:
    """The takes alone, float32 (n, 2) blocks that add up to ``total`` samples.

    ``files`` maps each take's file as written to where it is; ``gains_db`` to its own gain.
    Raises RecordingError for a file that cannot be read.
    """
    ordered = sorted(laid, key=lambda one: one.at)
    with ExitStack() as stack:
        readers: dict[str, TakeReader] = {}
        for start in range(0, total, BLOCK):
            block = np.zeros((min(BLOCK, total - start), 2), np.float32)
            for one in ordered:
                first, count = sample(one.at), sample(one.at + one.length) - sample(one.at)
                low, high = max(start, first), min(start + len(block), first + count)
                if low >= high:
                    continue
                if one.file not in readers:
                    reader = TakeReader(files[one.file], one.file, RATE_HZ)
                    readers[one.file] = stack.enter_context(reader)
                piece = readers[one.file].read(sample(one.start) + low - first, high - low)
                gain = 10 ** ((gains_db or {}).get(one.file, 0.0) / 20)
                fade = _fade(low - first, high - low, count)
                block[low - start : high - start] += piece * (gain * fade)[:, None]
            yield block


def _fade(at: int, count: int, length: int) -> NDArray[np.float32]:
    index = np.arange(at, at + count)
    gain = np.minimum((index + 1) / _FADE, (length - index) / _FADE)
    return np.clip(gain, 0, 1).astype(np.float32)


def duck_gain(
    voice: Sequence[Span], start: int, count: int, ducking: Ducking
) -> NDArray[np.float32]:
    """The room's gain factor for film samples ``start`` to ``start + count``."""
    spans = [(float(s.start), float(s.end)) for s in sorted(voice)]
    points_s, points_db = [-1e9], [0.0]
    for index, (begin, end) in enumerate(spans):
        if index == 0 or begin - spans[index - 1][1] > ducking.hold_s:
            points_s += [begin - ducking.attack_s, begin]
            points_db += [0.0, ducking.depth_db]
        following = spans[index + 1][0] if index + 1 < len(spans) else 1e9
        if following - end > ducking.hold_s:
            points_s += [end, end + ducking.release_s]
            points_db += [ducking.depth_db, 0.0]
    at = (start + np.arange(count)) / RATE_HZ
    gain_db = np.interp(at, np.maximum.accumulate(points_s), points_db)
    return (10 ** (gain_db / 20)).astype(np.float32)


def over_room(
    takes: Iterable[Samples],
    room: Iterable[Samples],
    voice: Sequence[Span],
    room_gain_db: float = 0.0,
    ducking: Ducking = Ducking(),
) -> Iterator[Samples]:
    """Takes over the room's sound, ducked where there is voice; both must be equally long."""
    factor = np.float32(10 ** (room_gain_db / 20))
    at = 0
    for voices, below in _in_step(takes, room):
        gain = duck_gain(voice, at, len(below), ducking) * factor
        yield voices + below * gain[:, None]
        at += len(below)


def _in_step(one: Iterable[Samples], other: Iterable[Samples]) -> Iterator[tuple[Samples, Samples]]:
    """Blocks of two streams cut to equal lengths. Raises ValueError where one ends before."""
    first, second = iter(one), iter(other)
    a = b = np.zeros((0, 2), np.float32)
    while True:
        if not len(a):
            a = next(first, a)
        if not len(b):
            b = next(second, b)
        count = min(len(a), len(b))
        if not count:
            if len(a) or len(b):
                raise ValueError("the takes' and the room's sound differ in length")
            return
        yield a[:count], b[:count]
        a, b = a[count:], b[count:]


def read_loudness(blocks: Iterable[Samples], true_peak: bool = True) -> Reading:
    """Measure a whole stream of float32 (n, 2) blocks at 48 kHz."""
    meter = Meter(2, true_peak)
    for block in blocks:
        meter.feed(block)
    return meter.read()


def match_takes(
    takes: Mapping[str, tuple[Path, Span]], target: Target
) -> tuple[dict[str, float], tuple[str, ...]]:
    """The gain in dB that brings each take to the target by itself, and remarks.

    ``takes`` maps a file as written to where it is and the span that is laid, file seconds.
    """
    gains: dict[str, float] = {}
    remarks = []
    for name, (path, sound) in takes.items():
        with TakeReader(path, name, RATE_HZ) as reader:
            meter = Meter(2, true_peak=False)
            end = sample(sound.end)
            for start in range(sample(sound.start), end, BLOCK):
                meter.feed(reader.read(start, min(BLOCK, end - start)))
        gain = plan_gain(meter.read(), target.integrated_lufs, f"take {name}")
        gains[name] = gain.gain_db
        if gain.remark:
            remarks.append(gain.remark)
    return gains, tuple(remarks)


def room_gain_db(room: Reading, target: Target, below_lu: float = 8.0) -> float:
    """Lower a loud room so that it stays ``below_lu`` under the voice's target; never lift it."""
    if room.integrated_lufs is None:
        return 0.0
    return min(0.0, target.integrated_lufs - below_lu - room.integrated_lufs)


@dataclass(frozen=True, slots=True)
class Mastered:
    """What was measured before, the gain chosen, and the stream that has it."""

    before: Reading
    gain: Gain
    blocks: Iterator[Samples]


def to_target(stream: Callable[[], Iterable[Samples]], target: Target) -> Mastered:
    """Measure a stream, then give it again with one constant gain and a true peak limiter.

    ``stream`` is called twice and must give the same samples each time. One gain for the whole
    film: the voice is not pumped up and down. Silence stays as it is.
    """
    before = read_loudness(stream(), true_peak=False)
    gain = plan_gain(before, target.integrated_lufs, "the film's sound")
    return Mastered(before, gain, limited(stream(), gain.gain_db, target))


def limited(blocks: Iterable[Samples], gain_db: float, target: Target) -> Iterator[Samples]:
    """The stream with a constant gain, its true peak kept below the target's less its headroom."""
    limiter = Limiter(target.true_peak_dbtp - target.headroom_db)
    factor = np.float32(10 ** (gain_db / 20))
    for block in blocks:
        ready = limiter.feed(block * factor)
        if len(ready):
            yield ready
    rest = limiter.finish()
    if len(rest):
        yield rest
