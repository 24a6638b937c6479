"""A take fed in blocks becomes numbers per 10 ms: what the take check decides on.

Memory holds 13 bytes per 10 ms (5 MB an hour) whatever the sample rate; the rest of the numbers are
written to tracks that go to disk when they grow. Nothing here decides anything; ``quality`` does.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annotate.sound.tops import TopCounts, TopFinder
from annotate.sound.tracks import Track

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]

FRAMES_PER_S = 100
#: Rate of the low-frequency copy kept for hum, Hz.
LOW_RATE_HZ = 1000
#: Edges of the bands whose level is kept, Hz; bands above the file's own limit are left out.
BAND_EDGES_HZ = (100, 250, 500, 1000, 2000, 3500, 5500, 8000, 12000)
_TINY = 1e-12


@dataclass(frozen=True)
class Scan:
    """Numbers of one take; frame i covers seconds ``i * frame_s`` to ``(i + 1) * frame_s``.

    In memory, each (frames,), the channels' largest: ``level_db`` dBFS (mean square less the squared
    mean; a full-scale square wave is 0), ``peak`` magnitude (may exceed 1 in coded files), ``flat``
    samples in flat tops, ``cut`` height of the highest top without a round end; ``tops`` counts such
    tops. ``band_freedom`` (bands,) degrees of freedom of a band's level in noise. Tracks, a row a frame: ``power`` and ``mean`` per channel, ``cross`` mean product of left and
    right less the product of their means (0 for mono), ``bands_db`` dBFS, channels averaged.
    ``low`` samples per channel at LOW_RATE_HZ.
    """

    rate_hz: int
    channels: int
    count: int
    frame_s: float
    level_db: Samples
    peak: Samples
    flat: NDArray[np.uint8]
    cut: Samples
    tops: TopCounts
    power: Track
    mean: Track
    cross: Track
    bands_db: Track
    band_freedom: Floats
    low: Track

    @property
    def frames(self) -> int:
        """How many whole frames there are."""
        return len(self.level_db)

    @property
    def length_s(self) -> float:
        """Seconds of the whole take, the part of a last frame included."""
        return self.count / self.rate_hz


@dataclass
class _Parts:
    level_db: list[Samples] = field(default_factory=list)
    peak: list[Samples] = field(default_factory=list)
    flat: list[NDArray[np.uint8]] = field(default_factory=list)
    cut: list[Samples] = field(default_factory=list)


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
        self._count = self._done = 0
        self._parts = _Parts()
        self._spectrum = _BandSplit(rate_hz, self._frame)
        self._low = _LowCopy(rate_hz, channels)
        self._tops = TopCounts()
        self._finders = [TopFinder(rate_hz, self._tops) for _ in range(channels)]
        self._power, self._mean = Track(channels), Track(channels)
        self._cross, self._bands = Track(1), Track(self._spectrum.bands, np.float16)

    def feed(self, block: Samples) -> None:
        """Take in the next samples, float32 (n, channels)."""
        for start in range(0, len(block), self._rate_hz):
            self._waiting.append(block[start : start + self._rate_hz])
            self._waiting_count += len(self._waiting[-1])
            if self._waiting_count >= self._rate_hz:  # small blocks would cost more than their work
                self._work()

    def _work(self) -> None:
        fresh = np.concatenate(self._waiting) if self._waiting else self._held[:0]
        self._waiting, self._waiting_count = [], 0
        self._low.feed(fresh)
        held = np.concatenate([self._held, fresh])
        whole = len(held) // self._frame
        if whole:
            frames = held[: whole * self._frame].reshape(whole, self._frame, self._channels)
            self._frames(frames.astype(np.float64))
        self._held = held[whole * self._frame :].copy()
        self._find_tops(fresh)

    def finish(self) -> Scan:
        """The numbers of everything that was fed; samples short of a last frame count in length."""
        self._work()
        parts = self._parts
        return Scan(
            rate_hz=self._rate_hz,
            channels=self._channels,
            count=self._count,
            frame_s=self._frame / self._rate_hz,
            level_db=_joined(parts.level_db, np.float32),
            peak=_joined(parts.peak, np.float32),
            flat=_joined(parts.flat, np.uint8),
            cut=_joined(parts.cut, np.float32),
            tops=self._tops,
            power=self._power,
            mean=self._mean,
            cross=self._cross,
            bands_db=self._bands,
            band_freedom=self._spectrum.freedom,
            low=self._low.finish(),
        )

    def _frames(self, frames: Floats) -> None:
        """Add the numbers of frames (count, samples, channels)."""
        parts = self._parts
        sides = np.ascontiguousarray(frames.transpose(2, 0, 1))  # (channels, count, samples)
        mean = sides.mean(axis=2)
        sides -= mean[:, :, None]
        power = np.einsum("ijk,ijk->ij", sides, sides) / sides.shape[2]
        magnitude = np.abs(sides + mean[:, :, None])
        peak = magnitude.max(axis=2)
        flat = _flat_tops(sides, magnitude, peak).max(axis=0)
        parts.level_db.append((10 * np.log10(power.max(axis=0) + _TINY)).astype(np.float32))
        parts.peak.append(peak.max(axis=0).astype(np.float32))
        parts.flat.append(np.minimum(flat, 255).astype(np.uint8))
        parts.cut.append(np.zeros(len(frames), np.float32))
        self._done += len(frames)
        self._mean.append(mean.T)
        self._power.append(power.T)
        cross = np.zeros(len(frames))
        if self._channels == 2:
            cross = np.einsum("jk,jk->j", sides[0], sides[1]) / sides.shape[2]
        self._cross.append(cross[:, None])
        self._bands.append(self._spectrum.levels_db(sides))

    def _find_tops(self, fresh: Samples) -> None:
        """Put each cut top's height into the frame that it begins in; it may lie a block back."""
        self._count += len(fresh)
        for channel, finder in enumerate(self._finders):
            at, heights = finder.feed(np.ascontiguousarray(fresh[:, channel]))
            frames = at // self._frame
            first = self._done
            for part in reversed(self._parts.cut):
                first -= len(part)
                inside = (frames >= first) & (frames < first + len(part))
                np.maximum.at(part, frames[inside] - first, heights[inside])
                if not len(frames) or first <= frames[0]:
                    break


def _joined(parts: list[NDArray[Any]], dtype: type) -> NDArray[Any]:
    return np.concatenate(parts) if parts else np.zeros(0, dtype)


def _flat_tops(sides: Floats, magnitude: Floats, peak: Floats) -> Floats:
    """Samples in runs of three or more equal ones at the frame's peak, (channels, count)."""
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
        #: Values of a frame's band level that vary freely in noise: a Hann window ties 1.5 bins.
        self.freedom = 2 * self._pick.sum(axis=0) / 1.5

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
        self._out = Track(channels)

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

    def finish(self) -> Track:
        self.feed(np.zeros((len(self._kernel) // 2, self._held.shape[1]), np.float32))
        return self._out
