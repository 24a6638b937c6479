"""Rules on what sounds all the time: mains hum and the room's own noise."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from annotate.sound.activity import Activity, runs, tidy
from annotate.sound.faults import Fault, Limits, clock
from annotate.sound.hum import find_hum
from annotate.sound.scan import Floats, Scan

#: Length of the sliding stretch whose quietest frames count as the room, and how many, frames.
_ROOM_FRAMES = 200
_QUIETEST = 10
#: A stretch of noise shorter than this cannot be told from a voice that never rests, 0.1 s.
_SHORTEST = 30
#: Bands from 1 kHz up hold enough bins for their level to be steady in noise.
_STEADY_BANDS = 3
_CLEARLY_BELOW_DB = 8.0
#: The noise's own level is learnt from so many frames, 5 min.
_LEARN = 30_000


def steady_faults(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    """Hum and room noise, in no particular order."""
    return find_hum(scan, limits) + _noise(scan, activity, limits)


def _noise(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    if activity.speech_db is None or len(scan.bands_db) < 2 * _ROOM_FRAMES:
        return []
    room_db = room_level_db(scan)
    loud = room_db > activity.speech_db - limits.noise_below_voice_db
    spans: list[tuple[int, int]] = []
    for start, end in runs(tidy(loud, 10, _SHORTEST)):
        first, last = _noise_span(scan, 10 * start, min(10 * end, scan.frames))
        if spans and first <= spans[-1][1]:
            first, last = min(first, spans[-1][0]), max(last, spans.pop()[1])
        spans.append((first, last))
    faults = []
    for first, last in spans:
        below = activity.speech_db - float(np.median(room_db[first // 10 : -(-last // 10)]))
        start_s = first * scan.frame_s
        end_s = scan.length_s if last == scan.frames else last * scan.frame_s
        sentence = (
            f"the room's own noise is only {below:.0f} dB below the voice "
            f"from {clock(start_s)} to {clock(end_s)}"
        )
        faults.append(Fault("room noise", start_s, end_s, sentence))
    return faults


def room_level_db(scan: Scan) -> Floats:
    """Level of the room above 100 Hz, dBFS, one value each 0.1 s.

    In each band the quietest 0.1 s of the 2 s around, where a voice leaves a hole; what steady noise
    falls below its mean there by chance is added again.
    """
    half = _ROOM_FRAMES // 2
    chance_db = _low_by_chance_db(scan.band_freedom)
    totals = []
    for start, stop in scan.bands_db.pieces(5000):
        around = scan.bands_db.around(start, stop, half).astype(np.float32)
        windows = sliding_window_view(around, _ROOM_FRAMES, axis=0)[: stop - start : 10]
        floor = np.partition(windows, _QUIETEST, axis=2)[:, :, _QUIETEST] + chance_db
        totals.append(10 * np.log10((10 ** (floor / 10)).sum(axis=1)))
    return np.concatenate(totals)


def _low_by_chance_db(freedom: Floats) -> Floats:
    """How far the quietest frames of steady noise lie below its mean, dB.

    The power of noise in a band follows chi squared; its quantiles by Wilson and Hilferty 1931.
    """
    normal = NormalDist().inv_cdf((_QUIETEST + 0.5) / _ROOM_FRAMES)
    spread = 2 / (9 * np.maximum(freedom, 1.0))
    share = (1 - spread + normal * np.sqrt(spread)) ** 3
    below: Floats = -10 * np.log10(np.maximum(share, 1e-3))
    return below


def _noise_span(scan: Scan, start: int, end: int) -> tuple[int, int]:
    """The stretch of frames around [start, end) in which nothing speaks against the noise.

    Noise adds to the voice, so a frame with a band clearly below the noise's own level there
    proves that the noise is absent; outward from the middle the first such frames end it.
    """
    some = scan.bands_db.read(start, min(end, start + _LEARN))
    noise = np.percentile(some.astype(np.float32), 10, axis=0) + 2.0
    absent = np.zeros(len(scan.bands_db), np.bool_)
    for first, stop in scan.bands_db.pieces():
        bands = scan.bands_db.read(first, stop).astype(np.float32) < noise - _CLEARLY_BELOW_DB
        absent[first:stop] = bands[:, min(_STEADY_BANDS, bands.shape[1] - 1) :].any(axis=1)
    absent[1:] &= absent[:-1]  # two in a row, the later one marked
    where = np.flatnonzero(absent)
    middle = (start + end) // 2
    before, after = where[where < middle], where[where >= middle]
    first = int(before[-1]) + 1 if len(before) else 0
    last = int(after[0]) - 1 if len(after) else len(absent)
    return first, last
