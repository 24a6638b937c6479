"""Earlier cases of a procedure: their steps in the order most of them have, with how long each lasted."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from annotate.earlier import read_earlier
from chapters.errors import InputError
from tests.clips import VideoTrack, even_times, write_clip


def case(
    folder: Path,
    name: str,
    starts: dict[str, int],
    procedure: str = "Perforation repair",
    seconds: int = 20,
) -> Path:
    """A case of so many seconds in its own folder; ``starts``: step and second of its start."""
    place = folder / name
    place.mkdir()
    write_clip(place / "part.mp4", VideoTrack(even_times(seconds * 5, 5), size_px=(160, 128)))
    steps = [
        f"  - {{id: {step}, title: Do {step}, phase: P, from: {at}, show: {'4x' if at else 'real'}, "
        f"expect: 0:05..0:30}}"
        for step, at in starts.items()
    ]
    text = [
        f"case: {name}",
        f"title: {name}",
        "subject: simulated",
        f"procedure: {procedure}",
        "recordings: [part.mp4]",
        "steps:",
        *steps,
    ]
    (place / "case.yaml").write_text("\n".join(text) + "\n", encoding="utf-8")
    return place


def test_steps_carry_what_they_lasted_in_every_case(tmp_path: Path) -> None:
    """From each start to the next, the last to the recording's end; names as they were written."""
    case(tmp_path, "one", {"look": 0, "clean": 5, "close": 12})
    case(tmp_path, "two", {"look": 0, "clean": 8, "close": 15})
    earlier = read_earlier([tmp_path])

    assert earlier.cases == 2 and earlier.left_out == ()
    assert earlier.procedure == "Perforation repair"
    assert [(s.id, s.title, s.lasted) for s in earlier.steps] == [
        ("look", "Do look", (Fraction(5), Fraction(8))),
        ("clean", "Do clean", (Fraction(7), Fraction(7))),
        ("close", "Do close", (Fraction(8), Fraction(5))),
    ]
    assert [(s.show, s.phase, s.expect) for s in earlier.steps] == [
        ("real", "P", "0:05..0:30"),
        ("4x", "P", "0:05..0:30"),
        ("4x", "P", "0:05..0:30"),
    ]


def test_the_order_of_most_cases_is_the_pattern(tmp_path: Path) -> None:
    """One case with an extra step does not add it to two without."""
    case(tmp_path, "a", {"look": 0, "clean": 5})
    case(tmp_path, "b", {"look": 0, "extra": 5, "clean": 9})
    case(tmp_path, "c", {"look": 0, "clean": 6})
    steps = read_earlier([tmp_path]).steps

    assert [s.id for s in steps] == ["look", "clean"]
    assert [len(s.lasted) for s in steps] == [3, 3]


def test_several_procedures_want_a_choice(tmp_path: Path) -> None:
    """Their steps are not mixed; the names are listed, and any case of letters chooses one."""
    case(tmp_path, "a", {"look": 0, "clean": 5})
    case(tmp_path, "b", {"open": 0, "fill": 5}, "Root filling")
    with pytest.raises(InputError, match="perforation repair, root filling; choose one"):
        read_earlier([tmp_path])
    chosen = read_earlier([tmp_path], "root  Filling")

    assert [s.id for s in chosen.steps] == ["open", "fill"]
    with pytest.raises(InputError, match="no case of the procedure Retreatment"):
        read_earlier([tmp_path], "Retreatment")


def test_a_case_that_does_not_serve_is_left_out_by_name(tmp_path: Path) -> None:
    """A case with one step, one with a mistake and one without its recording do not stop the rest."""
    case(tmp_path, "good", {"look": 0, "clean": 5})
    case(tmp_path, "short", {"look": 0})
    bad = case(tmp_path, "bad", {"look": 0, "clean": 5})
    (bad / "case.yaml").write_text("case: bad\n", encoding="utf-8")
    (case(tmp_path, "lost", {"look": 0, "clean": 5}) / "part.mp4").unlink()
    earlier = read_earlier([tmp_path])

    assert earlier.cases == 1
    assert len(earlier.left_out) == 3
    for name, told in zip(("bad", "lost", "short"), sorted(earlier.left_out), strict=True):
        assert told.startswith(str(tmp_path / name))


def test_no_case_that_serves_is_one_message_with_every_reason(tmp_path: Path) -> None:
    """Nobody looks through a recording for nothing."""
    case(tmp_path, "short", {"look": 0})
    with pytest.raises(InputError, match="could serve as a pattern") as caught:
        read_earlier([tmp_path])
    assert "one step only" in str(caught.value)
