"""Rows of contrast whose course is known: fades, cuts from black, fog."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from chapters.contrast import dips, ramp
from chapters.signals import SignalReader, Signals


def course(*contrast: float, steps: dict[int, float] | None = None) -> Signals:
    """Signals of pictures at 30 a second with these contrasts, as much brighter than black, and some steps."""
    row = np.asarray(contrast, np.float32)
    step = np.zeros(len(row), np.float32)
    for place, size in (steps or {}).items():
        step[place] = size
    times = tuple(Fraction(n, 30) for n in range(len(row)))
    empty = SignalReader().finish()
    return replace(empty, times=times, contrast=row, level=16 + 10 * row, step=step)


def line(first: float, last: float, count: int) -> list[float]:
    """So many values from one to the other."""
    return np.linspace(first, last, count).tolist()


@pytest.mark.parametrize("frames", [10, 30])
def test_a_fade_is_measured_from_full_to_full(frames: int) -> None:
    """Down and up evenly around a black stretch: nine tenths of the contrast is full."""
    black, full = 20, 10.0
    row = [*[full] * 60, *line(9.9, 0.1, frames), *[0.0] * black, *line(0.1, 9.9, frames)]
    first = 60 + frames
    begins, ends = ramp(course(*row, *[full] * 60), first, first + black)

    assert abs(begins - (60 + frames * 0.1)) <= 2
    assert abs(ends - (first + black + frames * 0.9)) <= 2


def test_a_view_that_is_there_at_once_has_no_ramp() -> None:
    """Black, then full contrast from one frame to the next; so is the end before it."""
    begins, ends = ramp(course(*[8.0] * 60, *[0.0] * 20, *[8.0] * 60), 60, 80)

    assert (begins, ends) == (59, 80)


@pytest.mark.parametrize("seen", [80, 85, 95])
def test_a_view_that_comes_up_while_it_is_still_blank_is_a_fade(seen: int) -> None:
    """However late its structure is first seen, its fade begins where the picture leaves black."""
    row = [*[8.0] * 60, *[0.0] * 20, *line(0.1, 2.0, 25), *[2.0] * 60]
    ends = ramp(course(*row), 60, seen)[1]

    assert abs(ends - (80 + 25 * 0.9)) <= 2


def test_something_that_comes_later_is_no_ramp() -> None:
    """A dim view from black, and a second later an instrument full of contrast slides in."""
    row = [*[8.0] * 60, *[0.0] * 20, *[2.0] * 30, *line(2.0, 9.0, 12), *[9.0] * 30]

    assert ramp(course(*row), 60, 80)[1] == 80


def test_fog_is_a_dip() -> None:
    """The contrast falls and comes back within seconds: its bottom lies in a dip."""
    row = [*[9.0] * 40, *line(9.0, 1.0, 25), *line(1.0, 9.0, 25), *[9.0] * 40]

    assert dips(course(*row), 65, 0.4)


def test_a_view_of_little_contrast_is_no_dip() -> None:
    """It stays as it is; that a cut ends it does not make it fog."""
    row = [*[9.0] * 40, *line(9.0, 1.0, 25), *[1.0] * 40, *[9.0] * 40]

    assert not dips(course(*row, steps={105: 0.9}), 70, 0.4)
