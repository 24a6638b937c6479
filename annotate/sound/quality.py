"""The take check: a scan becomes findings, each with its place and one sentence.

    scanner = Scanner(rate_hz, channels)
    for block in blocks: scanner.feed(block)
    report = check_take(scanner.finish())

Found: sound that starts late or dies early, gaps, drop-outs down to 0.05 s, words cut off,
clipping, hum, a dead channel, channels out of phase, DC offset, room noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annotate.sound.activity import find_activity, runs
from annotate.sound.faults import Fault, Limits
from annotate.sound.levelrules import level_faults
from annotate.sound.scan import Scan
from annotate.sound.steadyrules import steady_faults
from annotate.sound.waverules import wave_faults


@dataclass(frozen=True, slots=True)
class TakeReport:
    """Figures and findings of one take.

    Levels in dBFS (mean square), None where the take has no such frame. ``voice_s`` are the
    stretches that hold the voice, seconds along the take. ``faults`` in order of their places.
    """

    length_s: float
    voice_s: tuple[tuple[float, float], ...]
    speech_dbfs: float | None
    noise_dbfs: float | None
    peak_dbfs: float | None
    faults: tuple[Fault, ...]

    @property
    def good(self) -> bool:
        """Whether nothing spoils the take."""
        return not any(fault.bad for fault in self.faults)

    @property
    def speech_over_noise_db(self) -> float | None:
        """Voice level less room level, dB, None where either is not known."""
        if self.speech_dbfs is None or self.noise_dbfs is None:
            return None
        return self.speech_dbfs - self.noise_dbfs


def check_take(
    scan: Scan,
    speech_s: Sequence[tuple[float, float]] | None = None,
    expected_s: float | None = None,
    limits: Limits = Limits(),  # noqa: B008  (frozen)
) -> TakeReport:
    """Find every fault of one take.

    ``speech_s``: spans of speech in seconds from a speech detector, better than levels where the
    room is loud. ``expected_s``: how long the take should be, where that is known.
    """
    activity = find_activity(scan, speech_s)
    faults = level_faults(scan, activity, limits, expected_s)
    if activity.speech_db is not None:
        faults += wave_faults(scan, activity, limits)
        faults += steady_faults(scan, activity, limits)
    peak = float(scan.peak.max()) if scan.frames else 0.0
    voice = tuple((a * scan.frame_s, b * scan.frame_s) for a, b in runs(activity.active))
    return TakeReport(
        length_s=scan.length_s,
        voice_s=voice,
        speech_dbfs=activity.speech_db,
        noise_dbfs=activity.noise_db,
        peak_dbfs=20 * float(np.log10(peak)) if peak > 0 else None,
        faults=tuple(sorted(faults, key=lambda f: (f.start_s, f.end_s, f.kind))),
    )
