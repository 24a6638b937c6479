"""A take fed in blocks becomes numbers per 10 ms: what the take check decides on.

Memory grows by about 100 bytes per 10 ms (11 MB for half an hour), never with the sample rate.
Nothing here decides anything; ``quality`` does.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]

FRAMES_PER_S = 100
#: Rate of the low-frequency copy kept for hum, Hz.
LOW_RATE_HZ = 1000
#: Edges of the bands whose level is kept, Hz; bands above the file's own limit are left out.
BAND_EDGES_HZ = (100, 250, 500, 1000, 2000, 3500, 5500, 8000, 12000)
#: A flat top is at least this many equal samples in a row at the frame's own peak.
FLAT_RUN = 3
#: Bins of the amplitude histogram over 0..1 of full scale, one histogram a second.
BINS = 250
_TINY = 1e-12


@dataclass(frozen=True)
class Scan:
    """Numbers of one take; frame i covers seconds ``i * frame_s`` to ``(i + 1) * frame_s``.

    ``power`` mean square less the squared mean, ``mean``, ``peak`` magnitude, ``flat`` samples in
    flat tops: shape (frames, channels). ``cross`` mean product of left and right less the product
    of their means (frames,), zeros for mono. ``bands_db`` (frames, bands) power in dBFS, channels
    averaged. ``low`` (samples, channels) at LOW_RATE_HZ. ``amplitude`` (seconds, BINS) counts of
    sample magnitudes, channels together. ``peak`` may exceed 1 in coded files.
    """

    rate_hz: int
    channels: int
    count: int
    frame_s: float
    power: Floats
    mean: Floats
    peak: Floats
    flat: Floats
    cross: Floats
    bands_db: Floats
    low: Samples
    amplitude: NDArray[np.int64]

    @property
    def length_s(self) -> float:
        """Seconds of the whole take, the part of a last frame included."""
        return self.count / self.rate_hz

    @property
    def level_db(self) -> Floats:
        """Level per frame in dBFS (mean square of a full-scale square wave is 0), loudest channel."""
        if not len(self.power):
            return np.zeros(0)
        level: Floats = 10 * np.log10(self.power.max(axis=1) + _TINY)
        return level


@dataclass
class _Parts:
    power: list[Floats] = field(default_factory=list)
    mean: list[Floats] = field(default_factory=list)
    peak: list[Floats] = field(default_factory=list)
    flat: list[Floats] = field(default_factory=list)
    cross: list[Floats] = field(default_factory=list)
    bands_db: list[Floats] = field(default_factory=list)


class Scanner:
    """Feed blocks of float32 (n, channels) with one or two channels, then ``finish``."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        if channels not in (1, 2):
            raise ValueError(f"{channels} channels; a scan takes one or two")
        self._rate_hz = rate_hz
        self._channels = channels
        self._frame = rate_hz // FRAMES_PER_S
        self._held = np.zeros((0, channels), np.float32)
        self._waiting: list[Samples] = []
        self._waiting_count = 0
        self._count = 0
        self._done = 0
        self._parts = _Parts()
        self._spectrum = _BandSplit(rate_hz, self._frame)
        self._low = _LowCopy(rate_hz, channels)
        self._histogram: list[NDArray[np.int64]] = []

    def feed(self, block: Samples) -> None:
        """Take in the next samples, float32 (n, channels)."""
        self._count += len(block)
        self._waiting.append(block)
        self._waiting_count += len(block)
        if self._waiting_count >= self._rate_hz:  # small blocks would cost more than their work
            self._work()

    def _work(self) -> None:
        fresh = np.concatenate(self._waiting) if self._waiting else self._held[:0]
        self._waiting, self._waiting_count = [], 0
        self._low.feed(fresh)
        held = np.concatenate([self._held, fresh])
        whole = len(held) // self._frame
        if whole:
            self._frames(held[: whole * self._frame].reshape(whole, self._frame, self._channels))
        self._held = held[whole * self._frame :].copy()

    def finish(self) -> Scan:
        """The numbers of everything that was fed; samples short of a last frame count in length."""
        self._work()
        parts, channels = self._parts, self._channels
        amplitude = np.array(self._histogram, np.int64).reshape(-1, BINS)
        return Scan(
            rate_hz=self._rate_hz,
            channels=channels,
            count=self._count,
            frame_s=self._frame / self._rate_hz,
            power=_joined(parts.power, channels),
            mean=_joined(parts.mean, channels),
            peak=_joined(parts.peak, channels),
            flat=_joined(parts.flat, channels),
            cross=_joined(parts.cross),
            bands_db=_joined(parts.bands_db, self._spectrum.bands),
            low=self._low.finish(),
            amplitude=amplitude,
        )

    def _frames(self, frames: Samples) -> None:
        for start in range(0, len(frames), 500):
            self._some_frames(frames[start : start + 500].astype(np.float64))

    def _some_frames(self, frames: Floats) -> None:
        """Add the numbers of frames (count, samples, channels)."""
        parts = self._parts
        done, self._done = self._done, self._done + len(frames)
        sides = np.ascontiguousarray(frames.transpose(2, 0, 1))  # (channels, count, samples)
        mean = sides.mean(axis=2)
        sides -= mean[:, :, None]
        squares = np.einsum("ijk,ijk->ij", sides, sides) / sides.shape[2]
        magnitude = np.abs(sides + mean[:, :, None])
        peak = magnitude.max(axis=2)
        parts.mean.append(mean.T)
        parts.peak.append(peak.T)
        parts.power.append(squares.T)
        parts.flat.append(_flat_tops(sides, magnitude, peak).T)
        if self._channels == 2:
            parts.cross.append(np.einsum("jk,jk->j", sides[0], sides[1]) / sides.shape[2])
        else:
            parts.cross.append(np.zeros(len(frames)))
        parts.bands_db.append(self._spectrum.levels_db(sides))
        self._count_amplitudes(magnitude, done)

    def _count_amplitudes(self, magnitude: Floats, done: int) -> None:
        bins = np.minimum((magnitude * BINS).astype(np.int32), BINS - 1)
        seconds = (done + np.arange(magnitude.shape[1])) // FRAMES_PER_S
        for second in np.unique(seconds):
            while len(self._histogram) <= second:
                self._histogram.append(np.zeros(BINS, np.int64))
            some = bins[:, seconds == second].ravel()
            self._histogram[second] += np.bincount(some, minlength=BINS)


def _joined(parts: list[Floats], width: int | None = None) -> Floats:
    if parts:
        return np.concatenate(parts)
    return np.zeros(0 if width is None else (0, width))


def _flat_tops(sides: Floats, magnitude: Floats, peak: Floats) -> Floats:
    """Samples in runs of equal ones at the frame's peak, (channels, count)."""
    equal = sides[:, :, 1:] == sides[:, :, :-1]
    equal &= magnitude[:, :, 1:] >= 0.98 * peak[:, :, None]
    runs = equal[:, :, 1:] & equal[:, :, :-1]
    flat: Floats = np.count_nonzero(runs, axis=2) * (peak > 0.05)
    return flat


class _BandSplit:
    """Level of each band per frame by one Hann-windowed Fourier transform."""

    def __init__(self, rate_hz: int, frame: int) -> None:
        at_hz = np.fft.rfftfreq(frame, 1 / rate_hz)
        edges = [edge for edge in BAND_EDGES_HZ if edge <= 0.5 * rate_hz]
        self.bands = max(1, len(edges) - 1)
        window = np.hanning(frame)
        self._window = window
        self._gain = 2.0 / (frame * float((window**2).sum()))
        self._pick = np.zeros((len(at_hz), self.bands))
        for band, (low, high) in enumerate(pairwise(edges)):
            self._pick[(at_hz >= low) & (at_hz < high), band] = 1.0

    def levels_db(self, sides: Floats) -> Floats:
        """Band levels (count, bands) of (channels, count, samples)."""
        spectrum: NDArray[Any] = np.fft.rfft(sides * self._window, axis=2)
        power = (spectrum.real**2 + spectrum.imag**2).mean(axis=0) * self._gain
        levels: Floats = 10 * np.log10(power @ self._pick + _TINY)
        return levels


class _LowCopy:
    """The sound below about 400 Hz at LOW_RATE_HZ, by a windowed sinc read at every n-th sample."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._step = rate_hz / LOW_RATE_HZ
        half = int(8 * self._step)
        taps = np.arange(-half, half + 1) / self._step
        kernel = np.sinc(0.9 * taps) * np.hanning(2 * half + 3)[1:-1]
        self._kernel = (kernel / kernel.sum()).astype(np.float32)
        self._held = np.zeros((half, channels), np.float32)
        self._first = -half
        self._made = 0
        self._out: list[Samples] = []

    def feed(self, block: Samples) -> None:
        held = np.concatenate([self._held, block])
        width = len(self._kernel)
        half = width // 2
        last_centre = self._first + len(held) - 1 - half
        total = int(last_centre / self._step) + 1 if last_centre >= 0 else self._made
        if total > self._made:
            centres = np.round(np.arange(self._made, total) * self._step).astype(np.int64)
            centres = centres[centres <= last_centre]
            starts = centres - half - self._first
            windows = np.lib.stride_tricks.sliding_window_view(held, width, axis=0)
            self._out.append(np.ascontiguousarray(windows[starts]) @ self._kernel)
            self._made += len(centres)
        keep = max(0, round(self._made * self._step) - half - self._first)
        self._held = held[keep:].copy()
        self._first += keep

    def finish(self) -> Samples:
        self.feed(np.zeros((len(self._kernel) // 2, self._held.shape[1]), np.float32))
        return np.concatenate(self._out) if self._out else np.zeros_like(self._held[:0])
