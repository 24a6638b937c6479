"""Where steps may begin, and the borders that fit earlier cases best."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chapters.fitsteps import USUAL_SPREAD, EarlierStep, _best_borders, fit_steps
from chapters.marks import Marks
from chapters.proposals import MOST_STEPS, Change, changes, propose, show_as
from chapters.scenecuts import SceneCut
from chapters.spans import Span
from chapters.stillness import StillStretch
from chapters.times import RecordingTime
from tests.bench.step_scoring import edit_score, f1_at


def at(seconds: float | Fraction) -> RecordingTime:
    """Recording time in seconds."""
    return RecordingTime(Fraction(seconds))


def marks(count: int, border: int | None = None, seed: int = 1) -> Marks:
    """Half-second marks of one view with noise; from ``border`` on another view, more movement."""
    rng = np.random.default_rng(seed)
    views = rng.normal(0, 40, (2, 18, 32))
    late = np.arange(count) >= (count if border is None else border)
    outline = np.where(late[:, None, None], views[1], views[0])
    outline = outline + rng.normal(0, 8, outline.shape)
    moved = np.where(late, 0.5, 0.1) + rng.normal(0, 0.03, count)
    return Marks(
        times=tuple(Fraction(n, 2) for n in range(count)),
        level=np.full(count, 120, np.float32),
        detail=np.ones(count, np.float32),
        fine=np.ones(count, np.float32),
        moved=np.clip(moved, 0, 1).astype(np.float32),
        stir=np.clip(moved / 2, 0, 1).astype(np.float32),
        tint=np.zeros((count, 2), np.float32),
        outline=np.clip(outline, -127, 127).astype(np.int8),
    )


def test_every_cut_is_a_change_with_its_reason() -> None:
    """A recorder stop is told in words, at its time, by its confidence."""
    found = changes(marks(40), [SceneCut(at(7), "stop", 0.9)], [])

    assert found == (Change(at(7), 0.9, "the recorder stopped"),)


def test_a_new_view_without_a_cut_is_found_within_two_seconds() -> None:
    """What goes on changes slowly at 60 s: the peak lies there and says what changed."""
    found = changes(marks(240, border=120), [], [])

    assert any(abs(change.at - 60) <= 2 for change in found)
    assert {change.reason for change in found} <= {"the view changes", "the movement changes"}


def test_a_steady_recording_has_no_change() -> None:
    """Noise alone gives nothing."""
    assert changes(marks(240), [], []) == ()


def test_pauses_and_speech_are_reasons() -> None:
    """After a long still stretch it goes on; after silence someone speaks."""
    still = [StillStretch(Span(Fraction(10), Fraction(40)), "still", 1.0)]
    speech = [Span(Fraction(0), Fraction(5)), Span(Fraction(50), Fraction(60))]
    reasons = {c.at: c.reason for c in changes(marks(40), [], still, speech=speech)}

    assert reasons == {
        10: "from here on nothing moves",
        40: "something moves again after 0:30",
        50: "speech after 0:45 without",
    }


def test_proposals_cover_the_recording_without_gap() -> None:
    """From 0 to the end, each step begins where the one before ends."""
    found = [Change(at(n * 20), 0.5 + n / 100, f"change {n}") for n in range(1, 6)]
    steps = propose(found, Fraction(150))

    assert steps[0].span.start == 0
    assert steps[-1].span.end == 150
    assert all(a.span.end == b.span.start for a, b in itertools.pairwise(steps))
    assert [s.reason for s in steps[1:]] == [f"change {n}" for n in range(1, 6)]


def test_the_stronger_of_two_near_changes_begins_the_step() -> None:
    """Two changes a second apart give one step, at the stronger one."""
    steps = propose([Change(at(50), 0.4, "weak"), Change(at(51), 0.9, "strong")], Fraction(100))

    assert [s.reason for s in steps] == ["the recording begins", "strong"]


def test_there_are_never_too_many_steps() -> None:
    """A recording full of changes gives at most the number one takes in at a glance."""
    found = [Change(at(n * 10), 0.5, "x") for n in range(1, 100)]

    assert len(propose(found, Fraction(1000))) == MOST_STEPS


def test_a_hole_is_a_change_at_its_end() -> None:
    """Where pictures come again after a hole, a step may begin, almost as surely as with a file."""
    found = changes(marks(40), [], [], holes=[Span(Fraction(4), Fraction(16))])

    assert found == (Change(at(16), 0.95, "pictures again after 0:12 without"),)


def test_changes_close_together_are_one() -> None:
    """A cut half a second from a new file is told once, as the new file."""
    cuts = [SceneCut(at(Fraction(21, 2)), "cut", 0.9), SceneCut(at(15), "cut", 0.9)]

    assert [c.at for c in changes(marks(40), cuts, [], parts=[Fraction(0), Fraction(10)])] == [
        10,
        15,
    ]


def test_a_wait_is_one_step() -> None:
    """A recorder stop in the middle of a minute of nothing begins no step; the wait's ends do."""
    wait = [StillStretch(Span(Fraction(60), Fraction(120)), "still", 1.0)]
    found = changes(marks(400), [SceneCut(at(90), "stop", 0.7)], wait)
    steps = propose(found, Fraction(200), wait)

    assert [s.span.start for s in steps] == [0, 60, 120]
    assert [(s.show, s.why) for s in steps] == [
        ("real", ""),
        ("fast", "nothing moves"),
        ("real", ""),
    ]


def test_a_weak_change_begins_no_step() -> None:
    """What hardly changes is told, not proposed."""
    assert len(propose([Change(at(50), 0.2, "the light changes")], Fraction(100))) == 1


@pytest.mark.parametrize(
    ("kind", "show"), [("still", "fast"), ("repeats", "fast"), ("black", "skip"), ("blank", "skip")]
)
def test_a_dull_step_is_offered_fast_or_left_out(kind: str, show: str) -> None:
    """Nothing moves: fast. Nothing to see: skip. Half of it dull: real."""
    whole = Span(Fraction(0), Fraction(60))
    half = Span(Fraction(0), Fraction(30))

    assert show_as(whole, [StillStretch(whole, kind, 1.0)]) == show
    assert show_as(whole, [StillStretch(half, kind, 1.0)]) == "real"


def earlier(*lengths: float, cases: int = 3) -> list[EarlierStep]:
    """Steps A, B, C … that lasted so long in every one of some cases."""
    return [
        EarlierStep(chr(65 + n), (Fraction(length),) * cases) for n, length in enumerate(lengths)
    ]


def test_without_changes_the_usual_lengths_decide() -> None:
    """Steps of 60, 120 and 60 s over a recording of 240 s begin at 0, 60 and 180."""
    steps = fit_steps([], Fraction(240), earlier(60, 120, 60))

    assert [s.title for s in steps] == ["A", "B", "C"]
    assert [float(s.span.start) for s in steps] == pytest.approx([0, 60, 180], abs=0.8)


def test_a_change_near_the_usual_place_takes_the_border() -> None:
    """A strong change at 70 s draws the border expected at 60 s; the reason says so."""
    steps = fit_steps([Change(at(70), 0.9, "another view")], Fraction(240), earlier(60, 120, 60))

    assert steps[1].span.start == 70
    assert steps[1].reason == "another view; it lasted 2:00 in 3 earlier cases"


def test_a_slower_case_stretches_the_steps_alike() -> None:
    """Twice as long a recording puts the borders at twice the time."""
    steps = fit_steps([], Fraction(480), earlier(60, 120, 60))

    assert [float(s.span.start) for s in steps] == pytest.approx([0, 120, 360], abs=1.6)


def test_no_earlier_step_is_refused() -> None:
    """Nothing to lay over the recording is an error, and so is a step that lasted no time."""
    with pytest.raises(ValueError, match="no earlier step"):
        fit_steps([], Fraction(60), [])
    with pytest.raises(ValueError, match="above zero"):
        fit_steps([], Fraction(60), [EarlierStep("A", (Fraction(0),))])


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.integers(1, 59), min_size=5, max_size=9, unique=True),
    st.lists(st.floats(0, 3), min_size=10, max_size=10),
    st.lists(st.integers(2, 40), min_size=2, max_size=4),
)
def test_the_borders_are_the_best_of_all(
    inner: list[int], gains: list[float], lengths: list[int]
) -> None:
    """The dynamic programme finds what trying every choice of borders finds."""
    borders = [Fraction(n) for n in (0, *sorted(inner), 60)]
    gain = np.array(gains[: len(borders) - 1])
    means, spreads = np.log(np.array(lengths, float)), np.full(len(lengths), USUAL_SPREAD)

    def worth(chosen: tuple[int, ...]) -> float:
        places = [float(borders[n]) for n in (*chosen, len(borders) - 1)]
        likely = sum(
            -0.5 * ((math.log(b - a) - m) / s) ** 2 - math.log(s)
            for (a, b), m, s in zip(itertools.pairwise(places), means, spreads, strict=True)
        )
        return likely + sum(float(gain[n]) for n in chosen[1:])

    best = max(
        worth((0, *rest))
        for rest in itertools.combinations(range(1, len(borders) - 1), len(lengths) - 1)
    )

    assert worth(tuple(_best_borders(borders, gain, means, spreads))) == pytest.approx(best)


def test_simulated_cases_are_laid_out_well() -> None:
    """Twenty cases with lengths that vary by 30 %, half of the borders seen: edit 100, F1@50 high.

    Five earlier cases teach the lengths; the score is the segmental one of Lea et al. (2017).
    """
    rng = np.random.default_rng(11)
    usual = np.array([40.0, 150, 90, 200, 60, 120])
    taught = usual * np.exp(rng.normal(0, 0.3, (5, 6)))
    steps = [EarlierStep(str(n), tuple(Fraction(float(x)) for x in taught[:, n])) for n in range(6)]
    scores = []
    for _ in range(20):
        lengths = usual * np.exp(rng.normal(0, 0.3, 6))
        ends = np.cumsum(lengths)
        seen = [Change(at(float(e)), 0.8, "x") for e in ends[:-1] if rng.random() < 0.5]
        false = [Change(at(float(t)), 0.4, "y") for t in rng.uniform(0, ends[-1], 8)]
        found = sorted([*seen, *false], key=lambda c: c.at)
        fitted = fit_steps(found, Fraction(float(ends[-1])), steps)
        seconds = np.arange(0, ends[-1])
        truth = [str(int(np.searchsorted(ends, t, "right"))) for t in seconds]
        starts = [float(s.span.start) for s in fitted]
        guess = [fitted[int(np.searchsorted(starts, t, "right")) - 1].title for t in seconds]
        scores.append((edit_score(truth, guess), f1_at(0.5, truth, guess)))

    assert min(edit for edit, _ in scores) == 100
    assert np.mean([f1 for _, f1 in scores]) > 80
