"""What is wrong with a take: one value per finding, in the words the user reads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FaultKind = Literal[
    "no sound",
    "starts late",
    "ends early",
    "cut off",
    "gap",
    "drop-out",
    "clipping",
    "hum",
    "dead channel",
    "out of phase",
    "DC offset",
    "room noise",
    "damaged file",
    "not spoken",
    "not scripted",
]


@dataclass(frozen=True, slots=True)
class Fault:
    """One finding, with its place in seconds along the take and one sentence.

    ``bad`` faults spoil the take; the others are worth knowing.
    """

    kind: FaultKind
    start_s: float
    end_s: float
    sentence: str
    bad: bool = True


@dataclass(frozen=True, slots=True)
class Limits:
    """Where a property becomes a fault. All of it common practice, not a standard.

    The figures were set on synthetic and real speech with injected defects in wav, AAC and MP3.
    """

    late_s: float = 2.0
    tail_s: float = 3.0
    pause_s: float = 6.0
    dropout_s: float = 0.03
    gap_s: float = 1.0
    gated_dropout_s: float = 0.06
    steep_db: float = 15.0
    mid_word_db: float = 10.0
    hum_over_neighbours_db: float = 12.0
    hum_floor_dbfs: float = -72.0
    channel_difference_db: float = 30.0
    phase_correlation: float = -0.7
    dc_full_scale: float = 0.01
    noise_below_voice_db: float = 20.0
    shorter_than_expected: float = 0.15


def clock(seconds: float) -> str:
    """``1:02.3``: minutes, seconds and tenths, for sentences."""
    tenths = round(max(0.0, seconds) * 10)
    return f"{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"
