"""Where a take is loud enough to be the voice, from levels alone; levels of voice and room.

This tells voice from room noise in a quiet room. It takes suction or a drill for a voice; a
speech detector's spans can be given in its place (``speech_s``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annotate.sound.scan import Scan

Flags = NDArray[np.bool_]

#: Below this a frame holds nothing at all: no microphone in a room is that quiet.
DEAD_DBFS = -84.0
_CLOSE_GAP = 25
_SHORTEST = 6


@dataclass(frozen=True)
class Activity:
    """``active`` (frames,) flags; levels in dBFS, None where the take has no such frame."""

    active: Flags
    speech_db: float | None
    noise_db: float | None


def find_activity(scan: Scan, speech_s: Sequence[tuple[float, float]] | None = None) -> Activity:
    """Frames that hold the voice. ``speech_s`` overrides the levels' own judgement."""
    level = scan.level_db
    active = _from_levels(level) if speech_s is None else _from_spans(scan, speech_s)
    quiet = level[~active & (level > DEAD_DBFS)]
    return Activity(
        active=active,
        speech_db=_mean_db(level[active]) if active.any() else None,
        noise_db=float(np.percentile(quiet, 25)) if len(quiet) >= 10 else None,
    )


def _mean_db(levels_db: NDArray[Any]) -> float:
    return float(10 * np.log10(np.mean(10 ** (levels_db.astype(float) / 10))))


def _from_levels(level: NDArray[Any]) -> Flags:
    alive = level[level > DEAD_DBFS]
    if len(alive) < 5:
        return np.zeros(len(level), np.bool_)
    loud = float(np.percentile(alive, 95))
    floor = float(np.percentile(alive, 10))
    threshold = max(loud - 32.0, min(floor + 10.0, loud - 9.0))
    return tidy(level > threshold, _CLOSE_GAP, _SHORTEST)


def _from_spans(scan: Scan, speech_s: Sequence[tuple[float, float]]) -> Flags:
    flags = np.zeros(scan.frames, np.bool_)
    for start_s, end_s in speech_s:
        flags[int(start_s / scan.frame_s) : int(np.ceil(end_s / scan.frame_s))] = True
    return flags


def runs(flags: NDArray[Any]) -> list[tuple[int, int]]:
    """Half-open [start, end) of every run of true flags."""
    padded = np.concatenate([[False], flags.astype(bool), [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return [(int(a), int(b)) for a, b in zip(change[::2], change[1::2], strict=True)]


def tidy(flags: Flags, close_gap: int, shortest: int) -> Flags:
    """Fill gaps of up to ``close_gap`` frames, then drop runs shorter than ``shortest``."""
    out = flags.copy()
    for start, end in runs(~flags):
        if end - start <= close_gap and start > 0 and end < len(flags):
            out[start:end] = True
    for start, end in runs(out):
        if end - start < shortest:
            out[start:end] = False
    return out


def change_at(track: NDArray[Any], low: int, high: int) -> int:
    """Index in [low, high] where splitting ``track[low:high]`` in two levels fits best.

    The split that leaves the least squared error around the two means.
    """
    low, high = max(0, low), min(len(track), high)
    part = track[low:high]
    if len(part) < 4:
        return low
    count = np.arange(1, len(part))
    total = np.cumsum(part)
    left = total[:-1] ** 2 / count
    right = (total[-1] - total[:-1]) ** 2 / (len(part) - count)
    return low + 1 + int(np.argmax(left + right))
