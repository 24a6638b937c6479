"""Looks whose numbers a test chooses: one step of a picture at thirty a second."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from chapters.looks import Look


def look_at(at: Fraction, level_step: float, **changes: Any) -> Look:
    """A step of light with the view as it was on both sides, but for the changes."""
    plain = Look(
        index=round(at * 30),
        at=at,
        gap_ratio=1.0,
        across=0.95,
        before=1.0,
        after=1.0,
        step=0.1,
        step_before=0.0,
        step_after=0.0,
        torn_levels=0.0,
        held=0.0,
        back=0.95,
        back_plain=0.95,
        landmarks=None,
        scaled=float("nan"),
        level_step=level_step,
        levels=1.0,
    )
    return replace(plain, **changes)
