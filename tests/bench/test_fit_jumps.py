"""The fit of what measures are worth, against a worked example and by hand."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from runpy import run_path
from typing import Any

import numpy as np
import pytest

from chapters import jumpweights
from chapters.signals import SignalReader, Signals
from tests.bench.fit_jumps import JUMP_WEIGHT, Step, fit, judged, module, regress, steps
from tests.scenes import shot, timed

#: Hours of study of twenty students and who passed: the worked example of logistic regression in the
#: open encyclopedia's article of that name; data and coefficients from memory, they agree.
HOURS = (0.5, 0.75, 1, 1.25, 1.5, 1.75, 1.75, 2, 2.25, 2.5)
HOURS += (2.75, 3, 3.25, 3.5, 4, 4.25, 4.5, 4.75, 5, 5.5)
PASSED = (0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1)
NAMES = ("back", "step", "stir_share")


def test_the_worked_example_of_logistic_regression() -> None:
    """Constant -4.0777 and coefficient 1.5046 without a penalty."""
    columns = np.array(HOURS)[:, None]
    found = regress(columns, np.array(PASSED, bool), np.ones(20), penalty=0.0)

    assert found == pytest.approx([-4.0777, 1.5046], abs=1e-4)


def test_a_weight_is_that_many_steps() -> None:
    """One student who counts thrice is three students."""
    columns, passed = np.array(HOURS)[:, None], np.array(PASSED, bool)
    thrice = np.where(np.arange(20) == 6, 3.0, 1.0)
    more = np.append(columns, columns[[6, 6]], 0), np.append(passed, passed[[6, 6]])

    assert regress(columns, passed, thrice) == pytest.approx(regress(*more, np.ones(22)))


def drawn(count: int, seed: int) -> list[Step]:
    """Steps of which the larger and the more redrawn are jumps; of some no stir is known."""
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        jump = bool(rng.random() < 0.3)
        share = float(rng.uniform(0, 0.5) + 0.3 * jump) if rng.random() < 0.8 else float("nan")
        step = float(np.exp(rng.normal(-2 + 1.5 * jump, 0.7)))
        out.append(Step(jump, frozenset(), dict(zip(NAMES, (0.5, step, share), strict=True))))
    return out


def test_what_is_fitted_on_some_tells_others() -> None:
    """Each group judged by the others: most jumps above most other steps."""
    seen = judged({"one": drawn(300, 1), "two": drawn(300, 2)})
    jumps = [worth for worth, step in seen if step.jump]
    rest = [worth for worth, step in seen if not step.jump]

    assert np.mean([a > b for a in jumps for b in rest]) > 0.9


def test_the_weights_are_those_of_the_regression() -> None:
    """The module's way of adding up gives what the fit found: the odds of the jumps are met on the whole."""
    found = drawn(400, 3)
    constant, weights = fit(found)
    odds = [constant + sum(w.worth(s.measured[n]) for n, w in weights.items()) for s in found]
    likely = 1 / (1 + np.exp(-np.array(odds)))
    weight = np.array([step.weight for step in found])
    jump = np.array([step.jump for step in found])

    # at the most likely fit with a free constant, what is expected is what is there
    assert float(weight @ likely) == pytest.approx(float(weight @ jump), rel=1e-3)
    assert weight[jump].tolist() == [JUMP_WEIGHT] * int(jump.sum())


def test_what_is_written_can_be_read(tmp_path: Path) -> None:
    """The text of the module holds the weights, after the words that are there now."""
    constant, weights = fit(drawn(200, 4))
    path = tmp_path / "jumpweights.py"
    path.write_text(module(constant, weights), encoding="utf-8")
    space = run_path(str(path), run_name=jumpweights.__name__)

    assert list(space["WEIGHTS"]) == list(NAMES)
    assert pytest.approx(constant, rel=1e-3) == space["CONSTANT"]
    assert space["__doc__"] == jumpweights.__doc__


def jumped() -> tuple[Signals, list[Fraction]]:
    """A tool elsewhere from frame 60 on."""
    reader, times = SignalReader(), []
    for time, picture in timed(shot(1, 60) + shot(1, 60, start=90)):
        reader.feed(time, picture)
        times.append(time)
    return reader.finish(), times


@pytest.mark.parametrize(
    ("kind", "neutral", "jumps"), [("jump", [], 1), ("hard", [], 0), (None, [[58, 62]], 0)]
)
def test_steps_are_taken_by_their_labels(kind: str | None, neutral: Any, jumps: int) -> None:
    """A labelled jump is one, a cut to another view no step at all, nor what is neutral."""
    signals, times = jumped()
    labels = [{"kind": kind, "last": 59, "first": 60}] if kind else []
    flash = {"kind": "flash", "start": 57, "end": 63, "detail": ""}
    entry = {"labels": labels, "events": [flash], "neutral": neutral}
    found = list(steps(entry, times, signals))

    assert sum(step.jump for step in found) == jumps
    assert sum("flash" in step.events for step in found) == jumps
