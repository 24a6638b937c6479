"""Rules on the wave itself: clipping, DC offset, a dead channel, channels out of phase."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from annotate.sound.activity import DEAD_DBFS, Activity, Flags, change_at, runs, tidy
from annotate.sound.faults import Fault, Limits, clock
from annotate.sound.scan import BINS, Floats, Scan

_FLAT_FRAMES = 4
_FLAT_SAMPLES = 20
#: Counts near the clip level over counts just below it. In trials: clean voices up to 0.46, voices
#: through a limiter up to 0.86, clipped by 8 dB and coded at least 1.36.
_PILE_RATIO = 1.0
_PILE_S = 0.02
#: Voiced frames at a border too soft to tell: the stretch reaches over them.
_BORDER = 20
_SIDES = ("left", "right")


def wave_faults(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    """Every fault of the wave, in no particular order."""
    faults = _clipping(scan) + _dc(scan, limits)
    if scan.channels == 2 and len(scan.power):
        faults += _channels(scan, activity, limits)
    return faults


def _clipping(scan: Scan) -> list[Fault]:
    """Flat tops survive in wav; after lossy coding only the pile-up of amplitudes is left."""
    if not len(scan.peak):
        return []
    clipped = _flat_frames(scan)
    if not clipped.any():
        level = _pile_up(scan)
        if level is None:
            return []
        clipped = scan.peak.max(axis=1) >= level
    where = np.flatnonzero(clipped)
    start_s, end_s = where[0] * scan.frame_s, (where[-1] + 1) * scan.frame_s
    places = len(runs(tidy(clipped, 50, 1)))
    often = "once" if places == 1 else f"in {places} places"
    sentence = (
        f"the sound is clipped {often} between {clock(start_s)} and {clock(end_s)}; "
        "lower the input level and record again"
    )
    return [Fault("clipping", float(start_s), float(end_s), sentence)]


def _flat_frames(scan: Scan) -> Flags:
    """Frames with flat tops that all stand at one level, the highest of the take."""
    flat = scan.flat.max(axis=1)
    peak = scan.peak.max(axis=1)
    at_top: Flags = (flat > 0) & (peak >= 0.95 * peak.max())
    enough = at_top.sum() >= _FLAT_FRAMES and flat[at_top].sum() >= _FLAT_SAMPLES
    at_level: Flags = peak >= 0.995 * peak.max()  # also where only a sample or two is cut
    return at_top | at_level if enough else np.zeros(len(flat), np.bool_)


def _pile_up(scan: Scan) -> float | None:
    """The amplitude where samples heap up under an almost empty top, or None.

    The magnitudes of a voice thin out smoothly towards its peak; a clipped voice has a heap at
    the clip level that lossy coding blurs by about 5 %.
    """
    counts = scan.amplitude.sum(axis=0).astype(float)
    above = np.concatenate([np.cumsum(counts[::-1])[::-1], [0.0]])
    least = max(100.0, _PILE_S * scan.rate_hz * scan.channels / 2)
    best, best_level = _PILE_RATIO, None
    for level in np.geomspace(0.05, 1.0, 120):
        bins = np.minimum(BINS, np.round(np.array([0.8, 0.9, 0.95, 1.05, 1.08]) * level * BINS))
        low, high, start, end, top = bins.astype(int)
        near = above[start] - above[end]
        if near < least or above[top] > 0.25 * near:
            continue
        ratio = near / max(above[low] - above[high], 1.0)
        if ratio > best:
            best, best_level = ratio, float(level)
    return None if best_level is None else _top_of_heap(counts, best_level)


def _top_of_heap(counts: Floats, level: float) -> float:
    """The fullest amplitude near ``level``, less the width that coding gives it."""
    low, high = int(0.95 * level * BINS), min(BINS, int(1.09 * level * BINS) + 1)
    return 0.97 * (low + int(np.argmax(counts[low:high]))) / BINS


def _dc(scan: Scan, limits: Limits) -> list[Fault]:
    """A steady offset of a second or more, per channel; the largest is reported."""
    worst: tuple[float, int, int] | None = None
    for channel in range(scan.channels):
        track = scan.mean[:, channel]
        steady = _steady_offset(track)
        for start, end in runs(tidy(np.abs(steady) > limits.dc_full_scale, 50, 50)):
            offset = float(np.median(track[start:end]))
            if worst is None or abs(offset) > abs(worst[0]):
                worst = (offset, _edge(track, start, 0), _edge(track, end, len(track)))
    if worst is None:
        return []
    offset, start, end = worst
    start_s, end_s = start * scan.frame_s, end * scan.frame_s
    sentence = (
        f"the wave is shifted by {100 * offset:+.1f} % of full scale from {clock(start_s)} "
        f"to {clock(end_s)} (DC offset)"
    )
    return [Fault("DC offset", start_s, end_s, sentence)]


def _steady_offset(track: Floats) -> Floats:
    """The offset that stays through pauses: of the 1.5 s around, the quintile nearer to zero.

    A loud lopsided wave shifts its own frames, never the pauses between its words.
    """
    width = min(150, len(track))
    if width < 20:
        return np.zeros(len(track))
    padded = np.pad(track, (width // 2, width - width // 2 - 1), mode="edge")
    windows = sliding_window_view(padded, width)[::5]
    parts = [
        np.percentile(windows[start : start + 1000], [15, 85], axis=1)
        for start in range(0, len(windows), 1000)
    ]
    low, high = np.concatenate(parts, axis=1)
    steady = np.where(low > 0, low, np.where(high < 0, high, 0.0))
    return np.repeat(steady, 5)[: len(track)]


def _edge(track: Floats, at: int, border: int) -> int:
    """The change near ``at`` to the frame, or the take's own border where the stretch reaches it."""
    if abs(at - border) < 80:
        return border
    return change_at(track, at - 120, at + 120)


def _channels(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    power_db = 10 * np.log10(np.maximum(scan.power, 1e-12))
    speech_db = activity.speech_db if activity.speech_db is not None else DEAD_DBFS
    voiced = activity.active & (power_db.max(axis=1) > max(DEAD_DBFS + 20, speech_db - 12))
    faults = []
    for channel, side in enumerate(_SIDES):
        other = 1 - channel
        gone = voiced & (power_db[:, other] - power_db[:, channel] > limits.channel_difference_db)
        for start_s, end_s in _long_runs(scan, gone, voiced):
            sentence = (
                f"the {side} channel is dead from {clock(start_s)} to {clock(end_s)}; "
                f"the voice is only on the {_SIDES[other]}"
            )
            faults.append(Fault("dead channel", start_s, end_s, sentence))
    strength = np.sqrt(np.maximum(scan.power[:, 0] * scan.power[:, 1], 1e-24))
    opposed = voiced & (scan.cross / strength < limits.phase_correlation)
    for start_s, end_s in _long_runs(scan, opposed, voiced):
        sentence = (
            f"left and right are out of phase from {clock(start_s)} to {clock(end_s)}; "
            "in mono the voice would cancel"
        )
        faults.append(Fault("out of phase", start_s, end_s, sentence))
    return faults


def _long_runs(scan: Scan, bad: Flags, voiced: Flags) -> list[tuple[float, float]]:
    """Stretches of at least 0.3 s of voice that are bad nearly throughout.

    Frames without voice say nothing: a stretch reaches over them to its neighbours.
    """
    where = np.flatnonzero(voiced)
    if not len(where):
        return []
    spans = []
    for start, end in runs(tidy(bad[where], 10, 30)):
        first, last = where[start], where[end - 1] + 1
        start_s = 0.0 if start <= _BORDER else first * scan.frame_s
        end_s = scan.length_s if end >= len(where) - _BORDER else last * scan.frame_s
        spans.append((float(start_s), float(end_s)))
    return spans
