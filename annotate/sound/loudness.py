"""Programme loudness and true peak of sound fed in blocks, by ITU-R BS.1770-5 and EBU R 128.

Integrated (gated at -70 LUFS and 10 LU below, BS.1770 Annex 1), momentary (400 ms) and short-term
(3 s) loudness (EBU Tech 3341), loudness range (EBU Tech 3342), true peak by four-fold
oversampling (BS.1770 Annex 2). The windows of momentary and short-term loudness move in steps of
10 ms, so that their maxima do not depend on where a sound lies.

Mono is measured as it will be heard, in both channels: a mono take read as one channel would
come out 3 LU too quiet. Silence has no reading; it is None, never a number to plan a gain from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from annotate.sound.filters import Biquad, Cascade, Floats
from annotate.sound.scan import Samples
from annotate.sound.truepeak import PeakMeter

RATE_HZ = 48_000
#: K-weighting at 48 kHz: high shelf, then high pass (BS.1770-5 Annex 1, tables 1 and 2).
K_WEIGHTING: tuple[Biquad, ...] = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585),
    (1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621),
)
#: Channel weights in the order L R C LFE Ls Rs (BS.1770-5 Annex 1, table 3); LFE is not measured.
WEIGHTS: dict[int, tuple[float, ...]] = {
    1: (2.0,),
    2: (1.0, 1.0),
    5: (1.0, 1.0, 1.0, 1.41, 1.41),
    6: (1.0, 1.0, 1.0, 0.0, 1.41, 1.41),
}
_STEP_S = 0.01
_MOMENTARY = 40
_SHORT = 300
_HOP = 10
_ABSOLUTE_LUFS = -70.0


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter read. LUFS and dBTP; None where nothing reached the gate.

    ``range_lu`` is None below 3 s of gated sound; ``true_peak_dbtp`` is None for digital silence.
    """

    length_s: float
    integrated_lufs: float | None
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None
    range_lu: float | None
    true_peak_dbtp: float | None


class Meter:
    """Feed float32 blocks (n, channels) at 48 kHz, then ``read``.

    One channel is measured as a mono source heard in both. Raises ValueError for a number of
    channels without weights. Memory: 8 bytes per 10 ms.
    """

    def __init__(self, channels: int = 2, true_peak: bool = True) -> None:
        if channels not in WEIGHTS:
            raise ValueError(f"no weights for {channels} channels; give 1, 2, 5 or 6")
        self._filter = Cascade(K_WEIGHTING, channels)
        self._weights = np.array(WEIGHTS[channels])
        self._step = round(_STEP_S * RATE_HZ)
        self._held = np.zeros(0)
        self._energy: list[Floats] = []
        self._count = 0
        self._peak = PeakMeter(channels) if true_peak else None

    def feed(self, block: Samples) -> None:
        """Take in the next samples, full scale 1."""
        self._count += len(block)
        if self._peak is not None:
            self._peak.feed(block)
        weighted = (self._filter.feed(block) ** 2) @ self._weights
        held = np.concatenate([self._held, weighted])
        whole = len(held) // self._step * self._step
        if whole:
            self._energy.append(held[:whole].reshape(-1, self._step).mean(axis=1))
        self._held = held[whole:]

    def read(self) -> Reading:
        """The reading of everything fed so far."""
        steps = np.concatenate(self._energy) if self._energy else np.zeros(0)
        momentary, short = _windows(steps, _MOMENTARY), _windows(steps, _SHORT)
        gated_short = short[::_HOP]
        return Reading(
            length_s=self._count / RATE_HZ,
            integrated_lufs=integrated_lufs(momentary[::_HOP]),
            momentary_max_lufs=_max_lufs(momentary),
            short_term_max_lufs=_max_lufs(short),
            range_lu=_range_lu(gated_short),
            true_peak_dbtp=None if self._peak is None else self._peak.read_dbtp(),
        )

    def short_term_lufs(self) -> Floats:
        """Short-term loudness each 0.1 s from the third second on; -inf for digital silence."""
        steps = np.concatenate(self._energy) if self._energy else np.zeros(0)
        return _lufs(_windows(steps, _SHORT)[::_HOP])

    def momentary_lufs(self) -> Floats:
        """Momentary loudness each 10 ms from 0.4 s on; -inf for digital silence."""
        steps = np.concatenate(self._energy) if self._energy else np.zeros(0)
        return _lufs(_windows(steps, _MOMENTARY))


def _windows(steps: Floats, width: int) -> Floats:
    """Mean energy of every ``width`` steps in a row."""
    if len(steps) < width:
        return np.zeros(0)
    means: Floats = sliding_window_view(steps, width).mean(axis=1)
    return means


def _lufs(energy: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        out: Floats = -0.691 + 10 * np.log10(energy)
    return out


def _max_lufs(energy: Floats) -> float | None:
    loudest = float(energy.max()) if len(energy) else 0.0
    return -0.691 + 10 * float(np.log10(loudest)) if loudest > 0 else None


def integrated_lufs(blocks: Floats) -> float | None:
    """Gated loudness of 400 ms block energies that overlap by 75 % (BS.1770-5 Annex 1)."""
    loud = blocks[_lufs(blocks) > _ABSOLUTE_LUFS]
    if not len(loud):
        return None
    relative = -0.691 + 10 * np.log10(loud.mean()) - 10.0
    gated = loud[_lufs(loud) > relative]
    return float(-0.691 + 10 * np.log10(gated.mean())) if len(gated) else None


def _range_lu(short: Floats) -> float | None:
    """Loudness range: 95th less 10th percentile, gated at -70 LUFS and 20 LU below (Tech 3342)."""
    loud = short[_lufs(short) >= _ABSOLUTE_LUFS]
    if not len(loud):
        return None
    relative = -0.691 + 10 * np.log10(loud.mean()) - 20.0
    gated = np.sort(_lufs(loud[_lufs(loud) >= relative]))
    last = len(gated) - 1
    return float(gated[round(0.95 * last)] - gated[round(0.10 * last)])
