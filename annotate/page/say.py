"""Times and comparisons in words, the same on every page. Pure."""

from __future__ import annotations

from fractions import Fraction

from annotate.page.data import StepTimes
from chapters.times import duration_text, from_exact_text, round_half_up, speed_text


def spoken(seconds: Fraction) -> str:
    """``3 minutes 20 seconds``: a length for a screen reader, rounded to the nearest second."""
    whole = round_half_up(seconds)
    parts = [
        (whole // 3600, "hour"),
        (whole // 60 % 60, "minute"),
        (whole % 60, "second"),
    ]
    said = [f"{n} {unit}{'' if n == 1 else 's'}" for n, unit in parts if n]
    return " ".join(said) or "0 seconds"


def iso_duration(seconds: Fraction) -> str:
    """``PT3M20S``: ISO 8601 duration of whole seconds, for ``<time datetime>``."""
    whole = round_half_up(seconds)
    return f"PT{whole // 3600}H{whole // 60 % 60}M{whole % 60}S"


def speed_words(speed: str) -> str:
    """``8×`` for an exact number, any other text as it stands."""
    try:
        return speed_text(from_exact_text(speed))
    except (ValueError, ZeroDivisionError):
        return speed


def how_shown(step: StepTimes, peak: Fraction) -> str:
    """How the film shows a step: ``real time and 8×, 1:28 not shown, 1:00 away``.

    ``peak`` is the highest speed with which the film shows it. A step of which nothing else is
    to be told is just ``not shown``.
    """
    shown = []
    if step.cut is not None and step.shown_real_s > 0:
        shown.append("real time")
    if step.cut is not None and step.shown_fast_s > 0:
        shown.append(speed_text(peak) if peak > 1 else speed_words(step.speed))
    parts = [" and ".join(shown)] if shown else []
    if step.not_shown_s > 0 and (shown or step.away_s > 0):
        parts.append(f"{duration_text(step.not_shown_s)} not shown")
    if step.away_s > 0:
        parts.append(f"{duration_text(step.away_s)} away")
    return ", ".join(parts) or "not shown"


def against(step: StepTimes) -> str:
    """``2:10 longer than expected``, ``within the expected range``, or nothing."""
    if step.expect is None:
        return ""
    if step.against_expected == "within":
        return "within the expected range"
    if step.against_expected in ("longer", "shorter"):
        return f"{duration_text(abs(step.difference_s))} {step.against_expected} than expected"
    return ""


def expected(step: StepTimes) -> str:
    """``1:30–3:00``, or nothing."""
    if step.expect is None:
        return ""
    return f"{duration_text(step.expect.start)}–{duration_text(step.expect.end)}"
