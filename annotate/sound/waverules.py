"""Rules on the wave itself: clipping, DC offset, a dead channel, channels out of phase."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from annotate.sound.activity import DEAD_DBFS, Activity, Flags, change_at, runs, tidy
from annotate.sound.faults import Fault, Limits, clock
from annotate.sound.scan import Scan
from annotate.sound.tracks import PIECE, Track

_FLAT_FRAMES = 4
_FLAT_SAMPLES = 20
#: Cut tops of one level are this near to it, as a factor, since coding lifts and lowers them; tops
#: so high count as cut whatever their shape.
_NEAR_LEVEL, _AT_LEVEL = 0.88, 0.97
#: What rounding to 16 bits leaves between tops of one level.
_ROUNDING = 1.5 / 32768
#: Voiced frames at a border too soft to tell: the stretch reaches over them.
_BORDER = 20
#: Frames around each in which an offset must stay, 1.5 s.
_STEADY = 150
_SIDES = ("left", "right")


def wave_faults(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    """Every fault of the wave, in no particular order."""
    faults = _clipping(scan) + _dc(scan, limits)
    if scan.channels == 2 and scan.frames:
        faults += _channels(scan, activity, limits)
    return faults


def _clipping(scan: Scan) -> list[Fault]:
    """Flat tops, as a wav has them; after lossy coding tops too broad for any round wave."""
    if not scan.frames:
        return []
    clipped = _flat_frames(scan)
    if not clipped.any():
        level = scan.tops.level()
        if level is None:
            return []
        clipped = (scan.cut >= _NEAR_LEVEL * level) | (scan.peak >= _AT_LEVEL * level)
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
    flat, peak = scan.flat, scan.peak
    at_top: Flags = (flat > 0) & (peak >= 0.95 * peak.max())
    enough = at_top.sum() >= _FLAT_FRAMES and flat[at_top].sum(dtype=int) >= _FLAT_SAMPLES
    at_level: Flags = peak >= peak.max() - _ROUNDING  # also where only a sample or two is cut
    return at_top | at_level if enough else np.zeros(len(flat), np.bool_)


def _dc(scan: Scan, limits: Limits) -> list[Fault]:
    """A steady offset of a second or more, per channel; the largest is reported."""
    worst: tuple[float, int, int] | None = None
    for channel in range(scan.channels):
        found = runs(tidy(_offset(scan.mean, channel, limits.dc_full_scale), 50, 50))
        for start, end in found:
            some = scan.mean.read(start, min(end, start + PIECE))[:, channel]
            offset = float(np.median(some))
            if worst is None or abs(offset) > abs(worst[0]):
                first = _edge(scan.mean, channel, found[0][0], 0)
                worst = (offset, first, _edge(scan.mean, channel, found[-1][1], scan.frames))
    if worst is None:
        return []
    offset, start, end = worst
    start_s, end_s = start * scan.frame_s, end * scan.frame_s
    sentence = (
        f"the wave is shifted by {100 * offset:+.1f} % of full scale from {clock(start_s)} "
        f"to {clock(end_s)} (DC offset)"
    )
    return [Fault("DC offset", start_s, end_s, sentence)]


def _offset(mean: Track, channel: int, limit: float) -> Flags:
    """Frames in which an offset stays through pauses: of the 1.5 s around, the quartile nearer to zero.

    A loud lopsided wave shifts its own frames, never the pauses between its words.
    """
    width = min(_STEADY, len(mean))
    found = np.zeros(len(mean), np.bool_)
    if width < 20:
        return found
    for start, stop in mean.pieces(5000):
        around = mean.around(start, stop, width // 2, "edge")[:, channel]
        windows = sliding_window_view(around, width)[: stop - start : 5]
        low, high = np.percentile(windows, [25, 75], axis=1)
        steady = np.repeat((low > limit) | (high < -limit), 5)
        found[start:stop] = steady[: stop - start]
    return found


def _edge(mean: Track, channel: int, at: int, border: int) -> int:
    """The change near ``at`` to the frame, or the take's own border where the stretch reaches it."""
    if abs(at - border) < 80:
        return border
    low = max(0, at - 120)
    part = mean.read(low, at + 120)[:, channel].astype(float)
    return low + change_at(part, 0, len(part))


def _channels(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    voiced, gone, opposed = _sides(scan, activity, limits)
    faults = []
    for channel, side in enumerate(_SIDES):
        for start_s, end_s in _long_runs(scan, gone[channel], voiced):
            sentence = (
                f"the {side} channel is dead from {clock(start_s)} to {clock(end_s)}; "
                f"the voice is only on the {_SIDES[1 - channel]}"
            )
            faults.append(Fault("dead channel", start_s, end_s, sentence))
    for start_s, end_s in _long_runs(scan, opposed, voiced):
        sentence = (
            f"left and right are out of phase from {clock(start_s)} to {clock(end_s)}; "
            "in mono the voice would cancel"
        )
        faults.append(Fault("out of phase", start_s, end_s, sentence))
    return faults


def _sides(scan: Scan, activity: Activity, limits: Limits) -> tuple[Flags, list[Flags], Flags]:
    """Frames of a clear voice; of these where left, or right, is lacking; where they are opposed."""
    speech_db = activity.speech_db if activity.speech_db is not None else DEAD_DBFS
    voiced: Flags = activity.active & (scan.level_db > max(DEAD_DBFS + 20, speech_db - 12))
    gone = [np.zeros(scan.frames, np.bool_) for _ in _SIDES]
    opposed = np.zeros(scan.frames, np.bool_)
    for start, stop in scan.power.pieces():
        power = np.maximum(scan.power.read(start, stop).astype(float), 1e-12)
        over_db = 10 * np.log10(power[:, 1] / power[:, 0])
        gone[0][start:stop] = over_db > limits.channel_difference_db
        gone[1][start:stop] = over_db < -limits.channel_difference_db
        likeness = scan.cross.read(start, stop)[:, 0] / np.sqrt(power[:, 0] * power[:, 1])
        opposed[start:stop] = likeness < limits.phase_correlation
    return voiced, gone, opposed


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
