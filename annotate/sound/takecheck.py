"""A take's file read once from end to end: its figures, its faults, what of it will be laid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from annotate.sound.faults import Fault, Limits, clock
from annotate.sound.quality import TakeReport, check_take
from annotate.sound.scan import Scanner
from chapters.media.takes import TakeReader, stereo


def check_file(
    path: Path,
    shown_as: str,
    speech_s: Sequence[tuple[float, float]] | None = None,
    expected_s: float | None = None,
    limits: Limits | None = None,
) -> TakeReport:
    """Check one take. Raises RecordingError where the file cannot be read at all.

    More than two channels are folded to two first. A file damaged on the way is a fault with its
    place; what can be read of it is still checked.
    """
    with TakeReader(path, shown_as) as take:
        many = take.info.channels > 2
        scanner = Scanner(take.rate_hz, min(2, take.info.channels))
        for block in take.blocks():
            scanner.feed(stereo(block) if many else block)
        damage = [_damaged(at_s, what) for at_s, what in take.damage]
    report = check_take(scanner.finish(), speech_s, expected_s, limits or Limits())
    if not damage:
        return report
    faults = sorted([*report.faults, *damage], key=lambda f: (f.start_s, f.end_s, f.kind))
    return replace(report, faults=tuple(faults))


def _damaged(at_s: float, what: str) -> Fault:
    return Fault("damaged file", at_s, at_s, f"the file is damaged at {clock(at_s)}: {what}")
