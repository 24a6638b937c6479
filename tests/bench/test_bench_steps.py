"""The benchmark of proposed steps: unnamed steps get numbers that neither flatter nor punish twice."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from chapters.spans import Span
from tests.bench.bench_steps import numbered, score
from tests.bench.steps_corpus import FPS, draw, labels, plan

TRUTH = [0] * 30 + [1] * 40 + [2] * 30


def spans(*borders: int) -> list[Span]:
    """Spans from border to border, seconds."""
    return [Span(Fraction(a), Fraction(b)) for a, b in pairwise(borders)]


def test_the_true_borders_score_full_marks() -> None:
    """Edit score and F1 are 100 at every overlap."""
    assert score(TRUTH, spans(0, 30, 70, 100)) == (100, 100, 100, 100, 1)


def test_a_step_cut_in_two_is_one_step_too_many() -> None:
    """The longer piece has the number, the other is a step that is not there: 3 of 4, edit 75."""
    found = score(TRUTH, spans(0, 30, 45, 70, 100))

    assert numbered(TRUTH, spans(0, 30, 45, 70, 100))[30:70] == ["extra 1"] * 15 + ["1"] * 25
    assert found[0] == 75
    assert found[1] == pytest.approx(100 * 2 * 3 / 7)


def test_two_steps_in_one_lack_one() -> None:
    """One proposal over two steps has the number of the longer: edit 2 of 3."""
    assert score(TRUTH, spans(0, 70, 100))[0] == pytest.approx(100 * 2 / 3)


def test_borders_far_off_lose_the_strict_overlap_only() -> None:
    """Steps of 30, 40 and 30 s proposed as 10, 80 and 10: edit 100, F1@50 a third."""
    found = score(TRUTH, spans(0, 10, 90, 100))

    assert (found[0], found[2]) == (100, 100)
    assert found[3] == pytest.approx(100 / 3)


def test_no_number_is_given_twice() -> None:
    """Two pieces that overlap a step alike: one of them is extra."""
    names = numbered([0] * 20, spans(0, 10, 20))

    assert sorted(set(names)) == ["0", "extra 1"]


def test_a_made_recording_is_as_long_as_its_plan_says() -> None:
    """Ten pictures a second from nought to the end, one label a second, steps in order."""
    rng = np.random.default_rng(3)
    clips = [[rng.integers(0, 255, (90, 160, 3)).astype(np.uint8)] * 50 for _ in range(3)]
    made = plan(rng, 3)
    times = [at for at, _, _ in draw(made, clips, rng)]
    told = labels(made)

    assert times[0] == 0
    assert times[-1] == made.length - Fraction(1, FPS)
    assert len(times) == made.length * FPS
    assert len(told) == made.length
    assert told == sorted(told) and set(told) == set(range(len(made.steps)))
