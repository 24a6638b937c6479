"""Rules on level alone: sound that starts late or dies, gaps, drop-outs, cut words."""

from __future__ import annotations

import numpy as np

from annotate.sound.activity import DEAD_DBFS, Activity, Flags, runs
from annotate.sound.faults import Fault, Limits, clock
from annotate.sound.scan import Samples, Scan

#: A take whose room noise lies above this never falls to nothing by itself.
_LIVE_NOISE_DBFS = -75.0
#: How far below the take's own room noise a frame must lie to count as lost.
_BELOW_NOISE_DB = 12.0
_EDGE = 3
#: A frame that stands still up here is clipped, not lost.
_LOUD_PEAK = 0.1
#: Frames that may be dead behind a cut, and the last live ones that are looked at.
_PADDING, _LAST = 5, 2
#: A cut word stands so far above the room, and is no click of a switch that dies within 75 ms.
_OVER_ROOM_DB, _CLICK = 12.0, 15
#: More steep holes than this are how a gated or synthetic take sounds.
_HOLES_A_MINUTE = 3.0


def level_faults(
    scan: Scan, activity: Activity, limits: Limits, expected_s: float | None
) -> list[Fault]:
    """Every fault of level, in no particular order."""
    level = scan.level_db
    if activity.speech_db is None:
        sentence = "no voice is heard anywhere in the take"
        return [Fault("no sound", 0.0, scan.length_s, sentence)]
    faults = _ends(scan, activity, limits, expected_s)
    faults += _cut_words(scan, activity, limits)
    lost = lost_frames(level, activity) & (scan.peak < _LOUD_PEAK)
    return faults + _holes(scan, activity, lost, limits) + _pauses(scan, activity, lost, limits)


def lost_frames(level: Samples, activity: Activity) -> Flags:
    """Frames that hold nothing, or much less than the take's own room noise."""
    threshold = DEAD_DBFS
    if activity.noise_db is not None and activity.noise_db > _LIVE_NOISE_DBFS:
        threshold = max(DEAD_DBFS, activity.noise_db - _BELOW_NOISE_DB)
    flags: Flags = level < threshold
    return flags


def _voice_ends(active: Flags) -> tuple[int, int]:
    where = np.flatnonzero(active)
    return int(where[0]), int(where[-1]) + 1


def _ends(scan: Scan, activity: Activity, limits: Limits, expected_s: float | None) -> list[Fault]:
    faults = []
    first, last = _voice_ends(activity.active)
    onset_s, end_s, length_s = first * scan.frame_s, last * scan.frame_s, scan.length_s
    level = scan.level_db
    if onset_s > limits.late_s:
        what = _what_is_there(level[:first], activity)
        sentence = f"the voice begins only at {clock(onset_s)}; before it {what}"
        faults.append(Fault("starts late", 0.0, onset_s, sentence))
    tail_s = length_s - end_s
    if tail_s > limits.tail_s:
        what = _what_is_there(level[last:], activity)
        sentence = f"from {clock(end_s)} to the end ({tail_s:.1f} s) {what}"
        faults.append(Fault("ends early", end_s, length_s, sentence))
    elif expected_s is not None and end_s < expected_s * (1 - limits.shorter_than_expected):
        sentence = f"the voice ends at {clock(end_s)} where about {clock(expected_s)} was expected"
        faults.append(Fault("ends early", end_s, length_s, sentence))
    return faults


def _what_is_there(level: Samples, activity: Activity) -> str:
    dead = float(np.mean(lost_frames(level, activity))) if len(level) else 1.0
    return "there is no sound at all" if dead > 0.8 else "only the room is heard"


def _cut_words(scan: Scan, activity: Activity, limits: Limits) -> list[Fault]:
    """A voice at the very first or last moment, where a take has at least a breath of the room.

    Coders round off the last frames and add up to two of their blocks of nothing.
    """
    assert activity.speech_db is not None
    faults = []
    level, length_s = scan.level_db, scan.length_s
    loud = activity.speech_db - limits.mid_word_db
    if activity.noise_db is not None:
        loud = max(loud, activity.noise_db + _OVER_ROOM_DB)
    alive = np.flatnonzero(level > DEAD_DBFS)
    if len(level) <= 20 or not len(alive):
        return []
    last = int(alive[-1]) + 1
    if len(level) - last <= _PADDING and level[max(0, last - _LAST) : last].max() > loud:
        sentence = "the take stops in the middle of a word"
        faults.append(Fault("cut off", length_s, length_s, sentence))
    if level[:3].min() > loud and np.percentile(level[:_CLICK], 25) > loud:
        faults.append(Fault("cut off", 0.0, 0.0, "the take begins in the middle of a word"))
    return faults


def _holes(scan: Scan, activity: Activity, lost: Flags, limits: Limits) -> list[Fault]:
    """Gaps and drop-outs between the voice's first and last frame.

    Where the room is heard between words, nothing at all is never natural. A gated or synthetic
    take falls to nothing by itself: there a hole needs a loud voice right before and after, and
    many such holes are the take's own manner, not drop-outs.
    """
    level = scan.level_db
    first, last = _voice_ends(activity.active)
    inside = [run for run in runs(lost) if run[0] > first and run[1] < last]
    if _lives(activity, level):
        shortest = round(limits.dropout_s / scan.frame_s)
        return [_hole(scan, run, limits) for run in inside if run[1] - run[0] >= shortest]
    shortest = round(limits.gated_dropout_s / scan.frame_s)
    steep = [
        run
        for run in inside
        if run[1] - run[0] >= shortest and _steep(level, activity, limits, run)
    ]
    own_manner = len(steep) > max(2.0, _HOLES_A_MINUTE * scan.length_s / 60)
    return [] if own_manner else [_hole(scan, run, limits) for run in steep]


def _hole(scan: Scan, run: tuple[int, int], limits: Limits) -> Fault:
    start_s, end_s = run[0] * scan.frame_s, run[1] * scan.frame_s
    length_s = end_s - start_s
    if length_s >= limits.gap_s:
        sentence = f"no sound at all from {clock(start_s)} to {clock(end_s)} ({length_s:.1f} s)"
        return Fault("gap", start_s, end_s, sentence)
    sentence = f"the sound drops out at {clock(start_s)} for {length_s:.2f} s"
    return Fault("drop-out", start_s, end_s, sentence)


def _lives(activity: Activity, level: Samples) -> bool:
    """Whether the room is heard between words, so that nothing at all is never natural.

    Pauses are counted, not their length: one long gap does not make a take a gated one.
    """
    if activity.noise_db is None or activity.noise_db <= _LIVE_NOISE_DBFS:
        return False
    pauses = [level[a:b] < DEAD_DBFS for a, b in runs(~activity.active) if b - a >= _EDGE]
    return bool(pauses) and float(np.mean([dead.mean() > 0.5 for dead in pauses])) < 0.5


def _steep(level: Samples, activity: Activity, limits: Limits, run: tuple[int, int]) -> bool:
    """Whether the voice is loud right up to the hole and right after it.

    A word that ends in a gated or synthetic take fades within about 50 ms and the next one
    begins from nothing, so one steep edge alone proves nothing.
    """
    assert activity.speech_db is not None
    start, end = run
    loud = activity.speech_db - limits.steep_db
    before = level[max(0, start - _EDGE) : start]
    after = level[end : end + _EDGE]
    return bool(len(before) and len(after)) and before.max() > loud and after.max() > loud


def _pauses(scan: Scan, activity: Activity, lost: Flags, limits: Limits) -> list[Fault]:
    """Long stretches inside the take in which only the room is heard."""
    faults = []
    first, last = _voice_ends(activity.active)
    for start, end in runs(~activity.active):
        length_s = (end - start) * scan.frame_s
        if start <= first or end >= last or length_s < limits.pause_s:
            continue
        dead = float(np.mean(lost[start:end])) > 0.8
        if dead and _lives(activity, scan.level_db):
            continue
        start_s, end_s = start * scan.frame_s, end * scan.frame_s
        what = "there is no sound at all" if dead else "only the room is heard"
        sentence = f"{what} from {clock(start_s)} to {clock(end_s)} ({length_s:.1f} s)"
        faults.append(Fault("gap", start_s, end_s, sentence, bad=dead))
    return faults
