"""Gain towards a named loudness target, and a look-ahead limiter that keeps the true peak.

The limiter's gain is planned in decibels: what each instant needs, released at a steady rate,
lowered ahead of each peak and smoothed over the look-ahead. Each of these steps only lowers the
gain at a peak, so that no peak passes. It delays nothing: the sound comes out in its place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from annotate.sound.loudness import Reading
from annotate.sound.scan import Floats, Samples
from annotate.sound.truepeak import REACH, peaks_after, phases

LOOK_AHEAD = 240
RELEASE_DB_PER_SAMPLE = 60.0 / 48_000
#: No take is lifted further; what needs more was recorded too quietly.
MOST_GAIN_DB = 30.0


@dataclass(frozen=True, slots=True)
class Target:
    """A loudness to aim at. ``source`` is where the figures stand.

    ``headroom_db`` is kept below the permitted true peak, because lossy coding of the film's
    sound moves peaks (common practice).
    """

    name: str
    integrated_lufs: float
    true_peak_dbtp: float
    source: str
    headroom_db: float = 0.5


TARGETS: dict[str, Target] = {
    "ebu-r128": Target("ebu-r128", -23.0, -1.0, "EBU R 128"),
    "web-speech": Target("web-speech", -18.0, -1.0, "AES TD1008, speech anchor"),
}


@dataclass(frozen=True, slots=True)
class Gain:
    """A constant gain in dB and one sentence where it is not what the target asks."""

    gain_db: float
    remark: str = ""


def plan_gain(reading: Reading, target_lufs: float, what: str = "the sound") -> Gain:
    """The constant gain that brings a reading to ``target_lufs``; none where there is no reading."""
    if reading.integrated_lufs is None:
        return Gain(0.0, f"{what} is too quiet or too short to measure; its level is left as it is")
    wished = target_lufs - reading.integrated_lufs
    if wished > MOST_GAIN_DB:
        remark = (
            f"{what} is {wished:.0f} dB below the target; it was lifted by {MOST_GAIN_DB:.0f} dB "
            "only, record it louder"
        )
        return Gain(MOST_GAIN_DB, remark)
    return Gain(wished)


class Limiter:
    """Feed float32 (n, channels) at 48 kHz; each call returns what is ready, ``finish`` the rest.

    The same number of samples comes out as went in, none of them moved. Loud peaks are turned
    down around them, the rest is untouched.
    """

    def __init__(self, ceiling_dbtp: float, channels: int = 2) -> None:
        self._ceiling_db = ceiling_dbtp - 0.01
        self._coefficients = phases()
        self._margin = 2 * LOOK_AHEAD + REACH
        self._sound = np.zeros((REACH - 1, channels), np.float32)
        self._need = np.zeros(LOOK_AHEAD)
        self._last_need_db = 0.0
        self._last_level_db = np.array([-180.0])
        self._out_from = REACH - 1
        kernel = np.hanning(LOOK_AHEAD + 3)[1:-1]
        self._kernel = kernel / kernel.sum()
        self.most_reduction_db = 0.0

    def feed(self, block: Samples) -> Samples:
        """Take in samples; return those whose gain is settled."""
        self._sound = np.concatenate([self._sound, block.astype(np.float32, copy=False)])
        return self._settle()

    def finish(self) -> Samples:
        """The samples still held."""
        held = len(self._sound) - self._out_from
        channels = self._sound.shape[1]
        self._sound = np.concatenate([self._sound, np.zeros((self._margin, channels), np.float32)])
        return self._settle()[:held]

    def _settle(self) -> Samples:
        """Plan the gain of new samples and apply it to those far enough from the end."""
        known = len(self._need) - LOOK_AHEAD
        first = self._out_from + known
        fresh = self._sound[first - REACH + 1 :]
        if len(fresh) >= 2 * REACH:
            peaks = peaks_after(fresh, self._coefficients, 10 ** (self._ceiling_db / 20))
            self._need = np.concatenate([self._need, self._released(peaks)])
        ready = len(self._need) - 2 * LOOK_AHEAD
        if ready <= 0:
            return self._sound[:0]
        gain = self._smooth(self._need[: ready + 2 * LOOK_AHEAD])
        self.most_reduction_db = max(self.most_reduction_db, -float(gain.min()))
        start = self._out_from
        out: Samples = self._sound[start : start + ready]
        if gain.any():
            out = out * (10 ** (gain / 20)).astype(np.float32)[:, None]
        self._need = self._need[ready:].copy()
        keep = start + ready - (REACH - 1)
        self._sound = self._sound[keep:].copy()
        self._out_from = REACH - 1
        return out

    def _released(self, peaks: Samples) -> Floats:
        """Gain each sample needs, dB, never rising faster than the release."""
        if self._last_need_db == 0.0 and 20 * np.log10(peaks.max() + 1e-9) <= self._ceiling_db:
            self._last_level_db = 20 * np.log10(np.maximum(peaks[-1:].astype(float), 1e-9))
            return np.zeros(len(peaks))
        level_db = 20 * np.log10(np.maximum(peaks, 1e-9).astype(float))
        before = np.concatenate([self._last_level_db, level_db[:-1]])
        self._last_level_db = level_db[-1:].copy()
        pair = np.maximum(level_db, before)  # a peak between two samples concerns both
        need = np.minimum(0.0, self._ceiling_db - pair)
        slope = RELEASE_DB_PER_SAMPLE * np.arange(1, len(need) + 1)
        held = np.minimum.accumulate(np.minimum(need - slope, self._last_need_db))
        released: Floats = np.minimum(0.0, held + slope)
        self._last_need_db = float(released[-1])
        return released

    def _smooth(self, need: Floats) -> Floats:
        """Lowest need of the look-ahead, then a mean over the same length: never above the need.

        (ready + 2 * LOOK_AHEAD) values, LOOK_AHEAD of them past, give ``ready``.
        """
        lowest = sliding_window_view(need, LOOK_AHEAD + 1).min(axis=1) if need.min() < 0 else None
        if lowest is None:
            return np.zeros(len(need) - 2 * LOOK_AHEAD)
        mean: Floats = np.convolve(lowest, self._kernel, mode="valid")
        return mean
