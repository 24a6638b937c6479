"""Numbers -> dull stretches: where nothing happens that a viewer must see in real time.

Kinds: ``black`` and ``blank`` (nothing to see: dark, or washed out, covered, empty), ``blurred``
(out of focus against the rest of the recording), ``still`` (nothing moves), ``repeats`` (the same
small movement goes on while the view stays as it is).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from chapters.looks import BLANK_DETAIL
from chapters.marks import Marks
from chapters.signals import Signals
from chapters.spans import Span

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StillStretch:
    """``span`` in recording time; ``strength`` 0..1, how far beyond the limit it lies."""

    span: Span
    kind: str
    strength: float


@dataclass(frozen=True, slots=True)
class StillRules:
    """Shortest stretches in seconds and the limits of the slow signals (see signals.Marks)."""

    still_s: Fraction = Fraction(4)
    repeats_s: Fraction = Fraction(30)
    blank_s: Fraction = Fraction(1)
    blurred_s: Fraction = Fraction(3)
    black_level: float = 40.0
    still_moved: float = 0.02
    still_stir: float = 0.02
    repeats_moved: float = 0.30
    repeats_alike: float = 0.75
    blurred_share: float = 0.35
    bridge_s: Fraction = Fraction(1)


def find_still(signals: Signals, rules: StillRules = StillRules()) -> tuple[StillStretch, ...]:
    """Dull stretches in order of time. They do not overlap: blank goes before blurred, still, repeats."""
    marks = signals.marks
    if len(marks.times) < 2:
        return ()
    blank = marks.detail < BLANK_DETAIL
    dark = marks.level < rules.black_level
    blurred = _blurred(marks, rules) & ~blank
    still = (marks.moved <= rules.still_moved) & (marks.stir <= rules.still_stir) & ~blank
    still &= ~blurred
    repeats = _repeats(marks, rules) & ~blank & ~blurred & ~still
    out: list[StillStretch] = []
    for kind, flags, least, weight in (
        ("black", blank & dark, rules.blank_s, 1 - marks.detail / BLANK_DETAIL),
        ("blank", blank & ~dark, rules.blank_s, 1 - marks.detail / BLANK_DETAIL),
        ("blurred", blurred, rules.blurred_s, np.ones_like(marks.detail)),
        ("still", still, rules.still_s, 1 - marks.moved / max(rules.still_moved, 1e-6)),
        ("repeats", repeats, rules.repeats_s, 1 - marks.moved / rules.repeats_moved),
    ):
        for first, last in _runs(flags, marks.times, rules.bridge_s):
            span = _span(first, last, marks.times, signals.end)
            if span.length >= least:
                strength = float(np.clip(np.mean(weight[first : last + 1]), 0, 1))
                out.append(StillStretch(span, kind, round(strength, 3)))
    return tuple(sorted(out, key=lambda s: (s.span.start, s.span.end)))


def _blurred(marks: Marks, rules: StillRules) -> Flags:
    """Fine detail far below what the recording shows at its best."""
    usual = float(np.percentile(marks.fine, 80))
    if usual < 0.3:
        return np.zeros(len(marks.times), bool)
    return np.asarray(marks.fine < rules.blurred_share * usual)


def _repeats(marks: Marks, rules: StillRules) -> Flags:
    """The view is as it was five and ten seconds ago, though something small moves in it."""
    outlines = marks.outline.reshape(len(marks.times), -1).astype(np.float32)
    norms = np.linalg.norm(outlines, axis=1) + 1e-6
    flags = np.ones(len(marks.times), bool)
    for lag in (10, 20):
        alike = np.zeros(len(marks.times))
        if len(marks.times) > lag:
            products = np.einsum("ij,ij->i", outlines[lag:], outlines[:-lag])
            alike[lag:] = products / (norms[lag:] * norms[:-lag])
        flags &= alike > rules.repeats_alike
    return flags & (marks.moved < rules.repeats_moved)


def _runs(flags: Flags, times: tuple[Fraction, ...], bridge: Fraction) -> Iterable[tuple[int, int]]:
    """First and last index of every run of true marks, gaps of up to ``bridge`` seconds closed."""
    places = np.flatnonzero(flags)
    runs: list[tuple[int, int]] = []
    for place in places.tolist():
        if runs and times[place] - times[runs[-1][1]] <= bridge:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs


def _span(first: int, last: int, times: tuple[Fraction, ...], end: Fraction) -> Span:
    """A mark's movement is measured from the mark before, so a run reaches back by one mark."""
    start = times[first - 1] if first > 0 else times[0]
    stop = end if last == len(times) - 1 else times[last]
    return Span(start, max(start, stop))
