"""The scorers against worked rows of the published rules."""

from __future__ import annotations

import pytest

from tests.bench.shot_scoring import Score, Transition, match_boundaries, match_trecvid, split
from tests.bench.step_scoring import accuracy, edit_score, f1_at, relaxed_accuracy

pytestmark = pytest.mark.outside


def test_precision_recall_and_f1() -> None:
    """TP 8, FP 2, FN 4 gives 0.8000, 0.6667, 0.7273 (arithmetic of the definitions)."""
    score = Score(8, 2, 4)

    assert (round(score.precision, 4), round(score.recall, 4), round(score.f1, 4)) == (
        0.8,
        0.6667,
        0.7273,
    )


@pytest.mark.parametrize(
    ("found", "hit"),
    [
        # reference shots [0,5][6,9]; found shots, tolerance 2 (evaluator published with
        # TransNet V2, arXiv 2008.04838)
        (Transition(5, 6), True),
        (Transition(4, 5), True),
        (Transition(3, 4), True),
        (Transition(2, 3), False),
    ],
)
def test_tolerance_of_two_frames(found: Transition, hit: bool) -> None:
    """With tolerance 2 a border two frames off is a hit, three frames off a miss."""
    assert match_boundaries([Transition(5, 6)], [found], 2).score == Score(
        int(hit), int(not hit), int(not hit)
    )


def test_tolerance_of_zero_frames() -> None:
    """With tolerance 0 the very frame is asked for."""
    reference = [Transition(5, 6)]

    assert match_boundaries(reference, [Transition(5, 6)], 0).score.hits == 1
    assert match_boundaries(reference, [Transition(4, 5)], 0).score == Score(0, 1, 1)


def test_a_reference_is_matched_once() -> None:
    """Two found borders near one reference are one hit and one false alarm (TRECVID: one to one)."""
    found = [Transition(4, 5), Transition(6, 7)]

    assert match_boundaries([Transition(5, 6)], found, 6).score == Score(1, 1, 0)
    assert match_trecvid([Transition(5, 6)], found).score == Score(1, 1, 0)


def test_trecvid_widens_a_reference_cut_by_five_frames() -> None:
    """Reference cut 100|101 is frames 95..106; a submitted cut of two frames must touch them."""
    reference = [Transition(100, 101)]

    assert match_trecvid(reference, [Transition(106, 107)]).score.hits == 1
    assert match_trecvid(reference, [Transition(107, 108)]).score.hits == 0
    assert match_trecvid(reference, [Transition(94, 95)]).score.hits == 1
    assert match_trecvid(reference, [Transition(93, 94)]).score.hits == 0


def test_trecvid_counts_a_gradual_of_five_frames_as_a_cut() -> None:
    """Five frames between is a cut, six a gradual, and classes do not mix."""
    five, six = Transition(10, 16), Transition(10, 17)

    assert split([five, six]) == ([five], [six])
    assert match_trecvid([six], [Transition(12, 13)]).score == Score(0, 1, 1)
    assert match_trecvid([five], [Transition(12, 13)]).score == Score(1, 0, 0)


def test_trecvid_gives_a_tie_to_the_higher_frame_precision() -> None:
    """Of two submissions over one gradual the tighter one is the hit."""
    loose, tight = Transition(0, 60), Transition(20, 31)

    assert match_trecvid([Transition(19, 32)], [loose, tight]).pairs == ((0, 1),)


def test_nothing_there_and_nothing_found_is_perfect() -> None:
    """The empty case is defined: 1, and 0 as soon as one side is not empty."""
    assert (Score(0, 0, 0).precision, Score(0, 0, 0).recall) == (1, 1)
    assert (Score(0, 1, 0).precision, Score(0, 1, 0).recall) == (0, 0)


TRUTH = "A" * 30 + "B" * 40 + "C" * 30


@pytest.mark.parametrize(
    ("found", "acc", "edit", "f10", "f25", "f50"),
    [
        ("A" * 25 + "B" * 50 + "C" * 25, 90, 100, 100, 100, 100),
        ("A" * 30 + "B" * 15 + "A" * 5 + "B" * 20 + "C" * 30, 95, 60, 75, 75, 75),
        ("A" * 10 + "B" * 80 + "C" * 10, 60, 100, 100, 100, 100 / 3),
    ],
)
def test_segmental_scores(
    found: str, acc: float, edit: float, f10: float, f25: float, f50: float
) -> None:
    """Three worked labellings of 100 frames by the measures of Lea et al. 2017 (CVPR)."""
    assert accuracy(TRUTH, found) == pytest.approx(acc)
    assert edit_score(TRUTH, found) == pytest.approx(edit)
    assert f1_at(0.10, TRUTH, found) == pytest.approx(f10)
    assert f1_at(0.25, TRUTH, found) == pytest.approx(f25)
    assert f1_at(0.50, TRUTH, found) == pytest.approx(f50, abs=1e-3)


@pytest.mark.parametrize(
    ("late_s", "strict", "relaxed"), [(6, 95, 100), (-6, 95, 100), (15, 87.5, 95.8333)]
)
def test_relaxed_borders(late_s: int, strict: float, relaxed: float) -> None:
    """Two phases of 60 s at 1 frame/s, the border seen late or early, 10 s forgiven (M2CAI rule)."""
    truth = [1] * 60 + [2] * 60
    found = [1] * (60 + late_s) + [2] * (60 - late_s)

    assert accuracy(truth, found) == pytest.approx(strict)
    assert relaxed_accuracy(truth, found, [1, 2], 10) == pytest.approx(relaxed, abs=1e-3)
