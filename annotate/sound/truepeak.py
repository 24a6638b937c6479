"""Peaks between the samples: four-fold oversampling by a windowed sinc (BS.1770-5 Annex 2)."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from annotate.sound.scan import Floats, Samples

OVERSAMPLING = 4
#: Samples on each side of an instant that its value is made of.
REACH = 12
_SKIP = 64


def phases() -> Floats:
    """Coefficients (2 * REACH, OVERSAMPLING - 1) for the instants a quarter apart.

    Row k weighs the sample k - REACH + 1 away from the one before the instant. A Kaiser-windowed
    sinc whose coefficients sum to one.
    """
    offsets = np.arange(1, OVERSAMPLING) / OVERSAMPLING
    distance = np.arange(-REACH + 1, REACH + 1)[:, None] - offsets[None, :]
    inside = np.clip(1 - (distance / REACH) ** 2, 0, None)
    taps = np.sinc(distance) * np.i0(6.0 * np.sqrt(inside)) / np.i0(6.0)
    normalised: Floats = taps / taps.sum(axis=0)
    return normalised


def peaks_after(padded: Samples, coefficients: Floats, floor: float = 0.0) -> Samples:
    """Largest magnitude at each sample and the three instants after it.

    ``padded`` is (REACH - 1 + n + REACH, channels); gives (n,) over all channels. Where nothing
    can reach ``floor``, which most of a programme cannot, the samples themselves are given.
    """
    count = len(padded) - 2 * REACH + 1
    sides = np.ascontiguousarray(padded.T, dtype=np.float32)  # rows: numpy is slow on short axes
    own = np.abs(sides).max(axis=0)
    out = own[REACH - 1 : REACH - 1 + count].copy()
    places = _may_reach(own, count, floor / float(np.abs(coefficients).sum(axis=0).max()))
    weights = coefficients.T.astype(np.float32)
    for side in sides if len(places) else ():
        windows = sliding_window_view(side, 2 * REACH)[places]
        between = np.abs(weights @ windows.T).max(axis=0)
        out[places] = np.maximum(out[places], between)
    return np.asarray(out, np.float32)


def _may_reach(own: Samples, count: int, least: float) -> NDArray[np.int64]:
    """Places whose neighbourhood has a sample of at least ``least``: blocks of 64 and their sides."""
    blocks = -(-len(own) // _SKIP)
    filled = np.zeros(blocks * _SKIP, np.float32)
    filled[: len(own)] = own
    loud = filled.reshape(blocks, _SKIP).max(axis=1) >= least
    near = loud.copy()
    near[1:] |= loud[:-1]
    near[:-1] |= loud[1:]
    places = (np.flatnonzero(near)[:, None] * _SKIP + np.arange(_SKIP)).ravel()
    return places[places < count]


class PeakMeter:
    """Feed blocks (n, channels); the true peak over everything fed."""

    def __init__(self, channels: int) -> None:
        self._coefficients = phases()
        self._held = np.zeros((REACH - 1, channels), np.float32)
        self._peak = 0.0

    def feed(self, block: Samples) -> None:
        """Take in the next samples."""
        held = np.concatenate([self._held, block.astype(np.float32, copy=False)])
        if len(held) >= 2 * REACH:
            found = peaks_after(held, self._coefficients, self._peak)
            self._peak = max(self._peak, float(found.max()))
            held = held[len(held) - 2 * REACH + 1 :]
        self._held = held.copy()

    def read_dbtp(self) -> float | None:
        """The largest true peak in dBTP; None for digital silence. Samples still to come count as zero."""
        tail = np.concatenate([self._held, np.zeros((REACH, self._held.shape[1]), np.float32)])
        peak = self._peak
        if len(tail) >= 2 * REACH:
            peak = max(peak, float(peaks_after(tail, self._coefficients).max()))
        return 20 * float(np.log10(peak)) if peak > 0 else None
