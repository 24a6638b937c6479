"""The sound of the room: hiss, suction, the ultrasonic's whine, ticks and beeps, in blocks."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sample_clips import script

RATE_HZ = 48000
#: A tick is a click of this many samples; its first sample falls on the tick's second.
TICK_SAMPLES = 480
BEEP_SAMPLES = 7200
BEEP_HZ, TICK_HZ, WHINE_HZ = 1900.0, 3200.0, 5600.0


def room_sound(part: int, scale: Fraction = Fraction(1)) -> Iterator[NDArray[np.float32]]:
    """Blocks of float32 (n, 2) at 48 kHz for one part, as long as the part's picture."""
    _, first, last = script.PARTS[part]
    random = np.random.default_rng(script.SEED + 60 + part)
    hiss = _soft_noise(random, 4 * RATE_HZ, 3)
    rush = _soft_noise(random, 3 * RATE_HZ, 9)
    total = round((last - first) * scale * RATE_HZ)
    for at in range(0, total, RATE_HZ):
        index = np.arange(at, min(at + RATE_HZ, total))
        yield _block(index, float(first), float(scale), hiss, rush)


def _soft_noise(random: np.random.Generator, count: int, width: int) -> NDArray[np.float32]:
    """Noise with its treble averaged away; standard deviation 1."""
    raw = random.standard_normal(count + width).astype(np.float32)
    soft = np.convolve(raw, np.ones(width, np.float32) / width, "valid")[:count]
    return np.asarray(soft / soft.std(), np.float32)


def _block(
    index: NDArray[np.int64],
    first: float,
    scale: float,
    hiss: NDArray[np.float32],
    rush: NDArray[np.float32],
) -> NDArray[np.float32]:
    second = first + index / RATE_HZ / scale
    mono = 0.004 * hiss[index % len(hiss)] + 0.002 * np.sin(2 * np.pi * 100 * index / RATE_HZ)
    mono += 0.035 * _present("suction", second) * rush[index % len(rush)]
    mono += 0.020 * _present("air", second) * hiss[(index * 3) % len(hiss)]
    whine = np.sin(2 * np.pi * WHINE_HZ * index / RATE_HZ + 3 * np.sin(index / RATE_HZ * 7))
    mono += 0.030 * _present("ultrasonic", second) * whine
    mono += _struck(index, first, scale, script.TICKS, TICK_HZ, TICK_SAMPLES, 0.45)
    mono += _struck(index, first, scale, script.BEEPS, BEEP_HZ, BEEP_SAMPLES, 0.16)
    return np.asarray(np.stack([mono, mono * 0.94], axis=1), np.float32)


def _present(tool: str, second: NDArray[np.float64]) -> NDArray[np.float64]:
    """1 while the instrument is in the field, eased over a quarter of a second."""
    level = np.zeros_like(second)
    for passing in script.PASSES:
        if passing.tool == tool:
            start, stop = passing.rows[0][0], passing.rows[-1][0]
            level += np.clip(np.minimum(second - start, stop - second) / 0.25, 0, 1)
    return level


def _struck(
    index: NDArray[np.int64],
    first: float,
    scale: float,
    seconds: tuple[float, ...],
    pitch_hz: float,
    samples: int,
    level: float,
) -> NDArray[np.float64]:
    """Short tones that start on their second and die away (ticks) or hold (beeps)."""
    out = np.zeros(len(index))
    for second in seconds:
        since = index - round((second - first) * scale * RATE_HZ)
        sounding = (since >= 0) & (since < samples)
        if sounding.any():
            t = since[sounding]
            fade = (
                np.exp(-t / (samples / 5))
                if samples == TICK_SAMPLES
                else np.minimum(1, (samples - t) / 480)
            )
            out[sounding] += level * fade * np.cos(2 * np.pi * pitch_hz * t / RATE_HZ)
    return out
