"""Mains hum in a take: steady tones at multiples of 50 or 60 Hz that stay when the voice pauses."""

from __future__ import annotations

from dataclasses import dataclass
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
#: Windows on each side among which the voice surely pauses: 3 s; and the share that counts.
_PERSIST = 60
_PAUSES = 0.08
_HARMONICS = 4
_MAINS_HZ = (50, 60)
#: How far from inside the certain stretch an edge is looked for, how much of the stretch tells the
#: tone, and how much at its ends may lie outside the hum.
_REACH_S = 12
_LEARN_S = 6
_UNSURE_S = 3
#: Mains frequency wanders by less than this, Hz.
_WANDER_HZ = 0.2
_TRACK_PER_S = 100
#: Samples of the window that follows a tone: 0.1 s, so that 50 Hz is apart from any voice's pitch.
_FOLLOW = 100
#: What is left of a tone that is there, as a share of its power: the most that one vote can say.
_LEFT = 0.02


Levels = NDArray[np.float16]


@dataclass(frozen=True)
class _Tones:
    """Levels in dBFS at the harmonics of one mains frequency and around them, (windows, harmonics)."""

    tone: Levels
    around: Levels


def find_hum(scan: Scan, limits: Limits) -> list[Fault]:
    """Every stretch of mains hum at 50 or 60 Hz with at least two harmonics."""
    if len(scan.low) < 2 * LOW_RATE_HZ:
        return []
    faults = []
    for mains_hz, tones in zip(_MAINS_HZ, _tone_levels(scan), strict=True):
        present = _hum_present(tones, limits)
        for start, end in runs(tidy(present, 60, 20)):
            faults.append(_hum_fault(scan, mains_hz, (start, end), tones))
    return faults


def _tone_levels(scan: Scan) -> list[_Tones]:
    """Levels at and around the harmonics of each mains frequency, a window each 0.05 s.

    Zeros are put behind each window so that every mains harmonic falls on a 2 Hz bin.
    """
    window = np.hanning(_WINDOW)
    scale = 2.0 / (float(window.sum()) ** 2) / scan.channels
    count = (len(scan.low) - _WINDOW) // _HOP + 1
    parts: list[list[tuple[Levels, Levels]]] = [[] for _ in _MAINS_HZ]
    for start in range(0, count, 500):
        stop = min(start + 500, count)
        low = scan.low.read(start * _HOP, (stop - 1) * _HOP + _WINDOW)
        frames = sliding_window_view(low, _WINDOW, axis=0)[::_HOP] * window
        spectrum: NDArray[Any] = np.fft.rfft(frames, n=2 * _WINDOW, axis=2)
        level_db = 10 * np.log10((np.abs(spectrum) ** 2).sum(axis=1) * scale + 1e-14)
        for mains_hz, part in zip(_MAINS_HZ, parts, strict=True):
            part.append(_picked(level_db, mains_hz))
    return [_Tones(*(np.concatenate(side) for side in zip(*part, strict=True))) for part in parts]


def _picked(level_db: Floats, mains_hz: int) -> tuple[Levels, Levels]:
    tones, around = [], []
    for harmonic in range(1, _HARMONICS + 1):
        at = round(harmonic * mains_hz * 2 * _WINDOW / LOW_RATE_HZ)
        sides = [level_db[:, at - 11 : at - 6], level_db[:, at + 7 : at + 12]]
        tones.append(level_db[:, at])
        around.append(np.median(np.concatenate(sides, axis=1), axis=1))
    return np.stack(tones, axis=1).astype(np.float16), np.stack(around, axis=1).astype(np.float16)


def _hum_present(tones: _Tones, limits: Limits) -> NDArray[np.bool_]:
    """Windows in which two or more harmonics stand out even where the voice rests."""
    stands = np.zeros(len(tones.tone), np.int8)
    loud = np.zeros(len(tones.tone), np.bool_)
    for harmonic in range(_HARMONICS):
        tone = _persistent(tones.tone[:, harmonic])
        over = tone - _persistent(tones.around[:, harmonic])
        stands += (over > limits.hum_over_neighbours_db) & (tone > limits.hum_floor_dbfs - 12)
        loud |= tone > limits.hum_floor_dbfs
    present: NDArray[np.bool_] = (stands >= 2) & loud
    return present


def _persistent(track: Levels) -> NDArray[np.float32]:
    """The level that stays when the voice pauses: a low share of the seconds around."""
    padded = np.pad(track, _PERSIST, mode="reflect" if len(track) > _PERSIST else "edge")
    windows = sliding_window_view(padded, 2 * _PERSIST + 1)
    place = round(_PAUSES * 2 * _PERSIST)
    parts = [
        np.partition(windows[start : start + 2000].astype(np.float32), place, axis=1)[:, place]
        for start in range(0, len(windows), 2000)
    ]
    return np.concatenate([part.copy() for part in parts])


def _hum_fault(scan: Scan, mains_hz: int, windows: tuple[int, int], tones: _Tones) -> Fault:
    start, end = windows
    level = float(np.percentile(tones.tone[start:end].astype(np.float32), 25, axis=0).max())
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
    hardly where the voice is loud at their pitch; the edge is where the sum is greatest. The
    stretch's own ends are off by up to the time that ``_persistent`` looks around, so the border is
    taken that much inside.
    """
    length_s = sure_s[1] - sure_s[0]
    border_s = (sure_s[0] if side < 0 else sure_s[1]) - side * min(_UNSURE_S, length_s / 4)
    inner_s = border_s - side * min(_LEARN_S, length_s / 2)
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
    """Complex amplitude of each harmonic around the middle of each 10 ms, (harmonics, channels, n)."""
    step = LOW_RATE_HZ // _TRACK_PER_S
    last = min(last, len(scan.low) // step)
    reach = (_FOLLOW - step) // 2
    wave = scan.low.around(first * step, last * step, reach, "edge").T
    at = (first * step - reach + np.arange(wave.shape[1])) / LOW_RATE_HZ
    window = np.hanning(_FOLLOW + 2)[1:-1]
    window /= window.sum()
    tracks = []
    for harmonic in range(1, _HARMONICS + 1):
        turned = wave * np.exp(-2j * np.pi * mains_hz * harmonic * at)
        tracks.append(sliding_window_view(turned, _FOLLOW, axis=1)[:, ::step] @ window)
    return np.array(tracks)


def _votes(tracks: NDArray[np.complex128], learn: int) -> Floats:
    """For each 10 ms how much more likely the tones are there than not (first ``learn`` known).

    The logarithm of what is left with the tone taken out against what is left with it in: a voice
    much louder than the tone says next to nothing, and no place says more than any other.
    """
    power = np.abs(tracks) ** 2
    weight = 1.0 / (power + 1e-12)
    harmonics = np.arange(1, len(tracks) + 1)[:, None, None]
    at = np.arange(tracks.shape[2]) / _TRACK_PER_S
    best, best_turn = -1.0, tracks
    known = weight[:, :, :learn]
    for wander_hz in np.linspace(-_WANDER_HZ, _WANDER_HZ, 21):
        turn = np.exp(-2j * np.pi * wander_hz * harmonics * at)
        fit = np.abs((tracks[:, :, :learn] * turn[:, :, :learn] * known).sum(axis=2)) ** 2
        score = float((fit / known.sum(axis=2)).sum())
        if score > best:
            best, best_turn = score, tracks * turn
    tone = (best_turn[:, :, :learn] * known).sum(axis=2) / known.sum(axis=2)
    rest = np.abs(best_turn - tone[:, :, None]) ** 2
    floor = _LEFT * np.abs(tone)[:, :, None] ** 2 + 1e-14
    votes: Floats = np.log((power + floor) / (rest + floor)).sum(axis=(0, 1))
    return votes
