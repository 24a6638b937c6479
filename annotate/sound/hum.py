"""Mains hum in a take: steady tones at multiples of 50 or 60 Hz that stay when the voice pauses."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from annotate.sound.activity import runs, tidy
from annotate.sound.faults import Fault, Limits, clock
from annotate.sound.scan import LOW_RATE_HZ, Floats, Scan

#: Short enough to fit between two words, so that the voice leaves the tone alone.
_WINDOW = 250
_HOP = 50
#: Windows on each side among which the voice surely pauses: 4 s; and the share that counts.
_PERSIST = 80
_PAUSES = 0.08
_HARMONICS = 4
#: How far beyond the certain stretch an edge is looked for, and how much of it tells the tone.
_REACH_S = 8
_LEARN_S = 6
#: Mains frequency wanders by less than this, Hz.
_WANDER_HZ = 0.2
_TRACK_PER_S = 100


def find_hum(scan: Scan, limits: Limits) -> list[Fault]:
    """Every stretch of mains hum at 50 or 60 Hz with at least two harmonics."""
    if len(scan.low) < 2 * LOW_RATE_HZ:
        return []
    spectrum_db = _low_spectrum_db(scan)
    faults = []
    for mains_hz in (50, 60):
        present = _hum_present(spectrum_db, mains_hz, limits)
        for start, end in runs(tidy(present, 60, 20)):
            faults.append(_hum_fault(scan, mains_hz, (start, end), spectrum_db))
    return faults


def _low_spectrum_db(scan: Scan) -> Floats:
    """Power of the low copy in dBFS, (windows, bins); bins 4 Hz apart, a window each 0.05 s.

    Zeros are put behind each window so that every mains harmonic falls on a 2 Hz bin.
    """
    window = np.hanning(_WINDOW)
    count = (len(scan.low) - _WINDOW) // _HOP + 1
    bins = _bin(60 * _HARMONICS) + 13
    power = np.zeros((count, bins), np.float32)
    for channel in range(scan.channels):
        frames = sliding_window_view(scan.low[:, channel], _WINDOW)[::_HOP]
        for start in range(0, count, 500):
            some = frames[start : start + 500] * window
            part: NDArray[Any] = np.fft.rfft(some, n=2 * _WINDOW, axis=1)
            power[start : start + 500] += np.abs(part[:, :bins]) ** 2
    scale = 2.0 / (float(window.sum()) ** 2) / scan.channels
    out: Floats = 10 * np.log10(power * np.float32(scale) + np.float32(1e-14))
    return out


def _hum_present(spectrum_db: Floats, mains_hz: int, limits: Limits) -> NDArray[np.bool_]:
    """Windows in which two or more harmonics stand out even where the voice rests."""
    stands, level = [], []
    for harmonic in range(1, _HARMONICS + 1):
        at = _bin(harmonic * mains_hz)
        tone = _persistent(spectrum_db[:, at])
        sides = [spectrum_db[:, at - 11 : at - 6], spectrum_db[:, at + 7 : at + 12]]
        around = _persistent(np.median(np.concatenate(sides, axis=1), axis=1))
        stands.append(
            (tone - around > limits.hum_over_neighbours_db) & (tone > limits.hum_floor_dbfs - 12)
        )
        level.append(tone)
    loud = np.array(level).max(axis=0) > limits.hum_floor_dbfs
    present: NDArray[np.bool_] = (np.array(stands).sum(axis=0) >= 2) & loud
    return present


def _bin(hz: float) -> int:
    return round(hz * 2 * _WINDOW / LOW_RATE_HZ)


def _persistent(track: Floats) -> Floats:
    """The level that stays when the voice pauses: a low share of the seconds around."""
    padded = np.pad(track, _PERSIST, mode="reflect" if len(track) > _PERSIST else "edge")
    windows = sliding_window_view(padded, 2 * _PERSIST + 1)
    place = round(_PAUSES * 2 * _PERSIST)
    parts = [
        np.partition(windows[start : start + 2000], place, axis=1)[:, place].copy()
        for start in range(0, len(windows), 2000)
    ]
    return np.concatenate(parts)


def _hum_fault(scan: Scan, mains_hz: int, windows: tuple[int, int], spectrum_db: Floats) -> Fault:
    start, end = windows
    tones = [_bin(mains_hz * harmonic) for harmonic in range(1, _HARMONICS + 1)]
    level = float(np.percentile(spectrum_db[start:end, tones], 25, axis=0).max())
    sure_s = (start * _HOP / LOW_RATE_HZ, ((end - 1) * _HOP + _WINDOW) / LOW_RATE_HZ)
    start_s = _edge_s(scan, mains_hz, sure_s, -1)
    end_s = _edge_s(scan, mains_hz, sure_s, +1)
    sentence = (
        f"mains hum at {mains_hz} Hz and its multiples ({level:.0f} dBFS) "
        f"from {clock(start_s)} to {clock(end_s)}"
    )
    return Fault("hum", start_s, end_s, sentence)


def _edge_s(scan: Scan, mains_hz: int, sure_s: tuple[float, float], side: int) -> float:
    """Where the hum begins (side -1) or ends (+1).

    A hum keeps its phase and a voice does not. The tones' complex amplitudes are learnt at the
    sure stretch's border; walking outward, each 10 ms counts for or against their presence,
    less where the voice is loud; the edge is where the sum is greatest.
    """
    border_s = sure_s[0] if side < 0 else sure_s[1]
    inner_s = border_s - side * min(_LEARN_S, sure_s[1] - sure_s[0])
    outer_s = min(max(border_s + side * _REACH_S, 0.0), len(scan.low) / LOW_RATE_HZ)
    low_s, high_s = min(inner_s, outer_s), max(inner_s, outer_s)
    first = int(low_s * _TRACK_PER_S)
    tracks = _tone_tracks(scan, mains_hz, first, int(high_s * _TRACK_PER_S))
    if tracks.shape[2] == 0:
        return border_s
    if side < 0:
        tracks = tracks[:, :, ::-1]
    learn = min(tracks.shape[2], int(abs(border_s - inner_s) * _TRACK_PER_S))
    votes = _votes(tracks, learn)
    place = 1 + int(np.argmax(np.cumsum(votes)))
    if place >= len(votes) - 5 and outer_s in (0.0, len(scan.low) / LOW_RATE_HZ):
        return 0.0 if side < 0 else scan.length_s
    return (first + (place if side > 0 else len(votes) - place)) / _TRACK_PER_S


def _tone_tracks(scan: Scan, mains_hz: int, first: int, last: int) -> NDArray[np.complex128]:
    """Complex amplitude of each harmonic per 10 ms, (harmonics, channels, n)."""
    step = LOW_RATE_HZ // _TRACK_PER_S
    part = scan.low[first * step : last * step]
    part = part[: len(part) // step * step]
    at = (first * step + np.arange(len(part))) / LOW_RATE_HZ
    tracks = []
    for harmonic in range(1, _HARMONICS + 1):
        turned = part.T * np.exp(-2j * np.pi * mains_hz * harmonic * at)
        tracks.append(turned.reshape(scan.channels, -1, step).mean(axis=2))
    return np.array(tracks)


def _votes(tracks: NDArray[np.complex128], learn: int) -> Floats:
    """For each 10 ms how much more likely the tones are there than not (first ``learn`` known)."""
    power = np.abs(tracks) ** 2
    weight = 1.0 / (_mean_near(power.mean(axis=1)) + 1e-12)
    harmonics = np.arange(1, len(tracks) + 1)[:, None, None]
    at = np.arange(tracks.shape[2]) / _TRACK_PER_S
    best, best_turn = -1.0, tracks
    known = weight[:, None, :learn]
    for wander_hz in np.linspace(-_WANDER_HZ, _WANDER_HZ, 21):
        turn = np.exp(-2j * np.pi * wander_hz * harmonics * at)
        fit = np.abs((tracks[:, :, :learn] * turn[:, :, :learn] * known).sum(axis=2)) ** 2
        score = float((fit / known.sum(axis=2)).sum())
        if score > best:
            best, best_turn = score, tracks * turn
    tone = (best_turn[:, :, :learn] * known).sum(axis=2) / known.sum(axis=2)
    likelier = 2 * np.real(best_turn * np.conj(tone)[:, :, None]) - np.abs(tone)[:, :, None] ** 2
    votes: Floats = (likelier.mean(axis=1) * weight).sum(axis=0)
    return votes


def _mean_near(power: Floats) -> Floats:
    width = min(7, power.shape[1])
    kernel = np.ones(width) / width
    return np.array([np.convolve(row, kernel, mode="same") for row in power])
