"""What the benchmark of the cut finder counts, on entries whose truth is plain."""

from __future__ import annotations

from typing import Any

import pytest

from tests.bench.find_scoring import Reported, Result, event_names
from tests.bench.shot_scoring import Score, Transition


def entry(**fields: Any) -> dict[str, Any]:
    """An entry of the labels with a hard cut at 100, a jump at 200, a dissolve from 300 to 330."""
    labels = [
        {"kind": "hard", "last": 99, "first": 100},
        {"kind": "jump", "last": 199, "first": 200},
        {"kind": "dissolve", "last": 300, "first": 330},
    ]
    return {"frames": 500, "labels": labels, "events": [], "neutral": [], **fields}


def told(first: int, kind: str, last: int | None = None, confidence: float = 0.95) -> Reported:
    """A cut as it is reported."""
    return Reported(Transition(first - 1 if last is None else last, first), kind, confidence)


def counted(*found: Reported, **fields: Any) -> Result:
    """The counts after one recording."""
    result = Result()
    result.add(entry(**fields), found)
    return result


def test_all_found_to_the_frame() -> None:
    """Each class has its hits, and nothing false or missed."""
    result = counted(told(100, "cut"), told(200, "stop"), told(328, "dissolve", 302))

    assert (result.hard, result.jump, result.gradual) == (Score(1, 0, 0),) * 3


def test_a_frame_beside_is_a_miss_and_a_false_one() -> None:
    """At tolerance 0 one frame off counts twice; at tolerance 2 it is a hit."""
    result = counted(told(101, "cut"))

    assert result.hard == Score(0, 1, 1)
    assert result.abrupt_2 == Score(1, 0, 1)


def test_a_false_one_is_of_the_class_it_was_reported_as() -> None:
    """A false stop spoils the precision of jumps only."""
    result = counted(told(150, "stop"))

    assert (result.hard.false, result.jump.false) == (0, 1)


def test_a_false_gradual_on_a_flash_is_an_alarm() -> None:
    """Whatever kind was reported, the flash was taken for a cut."""
    flash = {"kind": "flash", "start": 400, "end": 420, "detail": "pale blue disc"}
    result = counted(told(419, "dissolve", 401), events=[flash])

    assert result.gradual.false == 1
    assert (
        result.alarms["flash"] == result.alarms["  pale blue"] == result.alarms["  over disc"] == 1
    )


def test_a_short_gradual_counts_as_a_cut() -> None:
    """TRECVID: up to five frames between; a false one is not lost between the classes."""
    assert counted(told(150, "dissolve", 145)).hard.false == 1


def test_what_is_neutral_does_not_count() -> None:
    """A report inside a neutral stretch is neither right nor wrong."""
    result = counted(told(150, "cut"), neutral=[(148, 160)])

    assert result.hard.false == 0
    assert sum(result.trust.values()) == 0


def test_trust_counts_what_was_right() -> None:
    """Reports fall into classes of confidence."""
    result = counted(told(100, "cut", confidence=0.97), told(150, "cut", confidence=0.55))

    assert (result.trust[0.9], result.right[0.9]) == (1, 1)
    assert (result.trust[0.5], result.right[0.5]) == (1, 0)


@pytest.mark.parametrize(
    ("length", "span"), [(1, "  1"), (2, "2 to 3"), (8, "4 to 8"), (600, "121 to 600")]
)
def test_a_flash_is_counted_by_its_length(length: int, span: str) -> None:
    """The classes hold their upper ends."""
    names = event_names({"kind": "flash", "start": 10, "end": 10 + length, "detail": "white full"})

    assert any(span in name for name in names)
    assert "  white" in names
