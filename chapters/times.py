"""Exact seconds: the three clocks as types, read from text and written as text.

Recording time ``r`` runs along the parts laid end to end, clinical time ``c`` is the time in
the room since the recording began, cut time ``t`` runs along the teaching cut. All three are
``Fraction`` seconds and are rounded once, where they leave the program. Time stamps of WebVTT
and SubRip are whole milliseconds, rounded half up.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NewType

RecordingTime = NewType("RecordingTime", Fraction)
ClinicalTime = NewType("ClinicalTime", Fraction)
CutTime = NewType("CutTime", Fraction)

#: No procedure lasts longer; a larger number in a case file is a slip of the hand.
LONGEST_S = Fraction(100 * 3600)

_CLOCK = re.compile(
    r"(?:(?:(?P<h>\d{1,3}):)?(?P<m>\d{1,3}):)?(?P<s>\d{1,6})(?P<dec>\.\d{1,9})?", re.ASCII
)


class TimeTextError(ValueError):
    """A text that is no time; ``args[0]`` says why, ``args[1]`` what to write."""


def parse_time(text: str) -> Fraction:
    """Read ``h:mm:ss``, ``m:ss`` or seconds, each with up to nine decimals, as exact seconds.

    ``1:30`` is ninety seconds, never the base-60 integer of YAML 1.1. Raises TimeTextError.
    """
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise TimeTextError("is not a time", "write h:mm:ss, m:ss or seconds, such as 1:02:03.5")
    hours, minutes, seconds = match["h"], match["m"], match["s"]
    if minutes is not None:
        if len(seconds) != 2 or int(seconds) > 59:
            raise TimeTextError(
                "seconds after a colon run from 00 to 59", "write two digits, such as 2:05"
            )
        if hours is not None and (len(minutes) != 2 or int(minutes) > 59):
            raise TimeTextError(
                "minutes between colons run from 00 to 59", "write two digits, such as 1:05:00"
            )
    value = Fraction(int(hours or 0) * 3600 + int(minutes or 0) * 60 + int(seconds))
    if match["dec"]:
        value += Fraction("0" + match["dec"])
    if value > LONGEST_S:
        raise TimeTextError("is longer than 100 hours", "check the number")
    return value


def exact_text(seconds: Fraction) -> str:
    """Write exact seconds as a decimal of nine places, or as ``n/d`` where no such decimal exists."""
    scaled = seconds * 10**9
    if scaled.denominator != 1:
        return f"{seconds.numerator}/{seconds.denominator}"
    sign = "-" if scaled < 0 else ""
    whole, rest = divmod(abs(scaled.numerator), 10**9)
    return f"{sign}{whole}.{rest:09d}"


def from_exact_text(text: str) -> Fraction:
    """Read what ``exact_text`` wrote. Raises ValueError on anything else."""
    return Fraction(text)


def clock_text(seconds: Fraction) -> str:
    """``0:12:05``: hours, minutes and seconds, rounded down as a running clock is."""
    whole = seconds.numerator // seconds.denominator
    sign = "-" if whole < 0 else ""
    whole = abs(whole)
    return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def short_clock_text(seconds: Fraction) -> str:
    """``2:41``, from one hour up ``1:02:41``; rounded down as a running clock is."""
    whole = seconds.numerator // seconds.denominator
    if whole >= 3600:
        return clock_text(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def round_half_up(value: Fraction) -> int:
    """The nearest integer, halves upward (never to even, so that equal steps stay equal)."""
    return (2 * value.numerator + value.denominator) // (2 * value.denominator)


def duration_text(seconds: Fraction) -> str:
    """``2:41``: a length, rounded to the nearest second (not down: it is no running clock)."""
    return short_clock_text(Fraction(round_half_up(seconds)))


def milliseconds(seconds: Fraction) -> int:
    """Whole milliseconds, rounded half up: the one rounding that captions and chapters share."""
    return round_half_up(seconds * 1000)


def vtt_time(ms: int) -> str:
    """``HH:MM:SS.mmm`` (W3C WebVTT, "WebVTT timestamp"); hours always written, two digits or more."""
    return f"{ms // 3600000:02d}:{ms // 60000 % 60:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"


def srt_time(ms: int) -> str:
    """``HH:MM:SS,mmm``: SubRip's comma form (Matroska codec draft, "SRT Subtitles")."""
    return vtt_time(ms).replace(".", ",")


def speed_text(speed: Fraction) -> str:
    """``8×``, ``2.5×``: at most one decimal; never ``1×`` for a speed that is not 1."""
    tenths = round_half_up(speed * 10)
    if tenths == 10 and speed != 1:
        tenths = 11 if speed > 1 else 9
    return f"{tenths // 10}×" if tenths % 10 == 0 else f"{tenths // 10}.{tenths % 10}×"
