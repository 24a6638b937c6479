"""The film's sound from start to end: takes at their samples over the room, brought to a named target."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annotate.decide import Decided
from annotate.render import SOUND_RATE_HZ, silence
from annotate.sound.limiter import TARGETS, Target
from annotate.sound.mix import lay, match_takes, over_room, read_loudness, room_gain_db, to_target
from annotate.sound.room import room_sound
from annotate.sound.takes import Laid
from chapters.case import Loudness
from chapters.spans import Span
from chapters.times import round_half_up

Samples = NDArray[np.float32]

#: The case file's word for a level -> the target it names.
TARGET_NAMES: dict[Loudness, str] = {"speech": "web-speech", "broadcast": "ebu-r128"}


def film_sound(decided: Decided) -> tuple[Iterator[Samples], tuple[str, ...]]:
    """Stereo blocks at 48 kHz as long as the film, and remarks on levels.

    Without narration the room's sound is left as it was recorded, or there is silence.
    """
    plan = decided.plan
    total = round_half_up(plan.film.length * SOUND_RATE_HZ)

    def room() -> Iterator[Samples]:
        if plan.case.room_sound:
            return room_sound(plan.film, decided.recording)
        return silence(total)

    if not plan.laid:
        return room(), ()
    target = TARGETS[TARGET_NAMES[plan.case.loudness]]
    files = decided.narration.paths
    gains, remarks = match_takes(_whole_takes(decided), target)
    voice = voice_spans(decided)
    room_gain = _room_gain(room, target) if plan.case.room_sound else 0.0

    def mixed() -> Iterator[Samples]:
        takes = lay(plan.laid, files, total, gains)
        if not plan.case.room_sound:
            return takes
        return over_room(takes, room(), voice, room_gain)

    mastered = to_target(mixed, target)
    remarks += (mastered.gain.remark,) if mastered.gain.remark else ()
    return mastered.blocks, remarks


def _room_gain(room: Callable[[], Iterator[Samples]], target: Target) -> float:
    return room_gain_db(read_loudness(room(), true_peak=False), target)


def _whole_takes(decided: Decided) -> dict[str, tuple[Path, Span]]:
    """Of every file the stretch that is laid, all its pieces together."""
    paths = decided.narration.paths
    out: dict[str, tuple[Path, Span]] = {}
    for one in decided.plan.laid:
        own = Span(one.start, one.start + one.length)
        before = out[one.file][1] if one.file in out else own
        out[one.file] = (
            paths[one.file],
            Span(min(before.start, own.start), max(before.end, own.end)),
        )
    return out


def voice_spans(decided: Decided) -> list[Span]:
    """Where somebody speaks, cut seconds."""
    heard = {h.file: h.report.voice_s for h in decided.narration.heard}
    out: list[Span] = []
    for one in decided.plan.laid:
        for start_s, end_s in heard[one.file]:
            start, end = cut_time(one, start_s), cut_time(one, end_s)
            if end > one.cut.start and start < one.cut.end:
                out.append(Span(max(start, one.cut.start), min(end, one.cut.end)))
    return out


def cut_time(laid: Laid, file_s: float) -> Fraction:
    """Cut time at which a moment of a take sounds."""
    return laid.at + Fraction(round(file_s * 1000), 1000) - laid.start
