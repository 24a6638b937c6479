"""What was found is found once: kept exactly, by content, and found anew where the file is no good."""

from __future__ import annotations

import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from annotate.cache import SegmentCache
from annotate.find import Found, FoundPart
from annotate.keptfinds import find_once
from chapters.motion import Moves
from chapters.proposals import Change
from chapters.scenecuts import SceneCut
from chapters.spans import Span
from chapters.stillness import StillStretch
from chapters.times import RecordingTime

FOUND = Found(
    (FoundPart("private name.mp4", Fraction(0), Fraction(4001, 30), 4001, ("rate varies",)),),
    (SceneCut(RecordingTime(Fraction(3001, 30)), "stop", 0.91),),
    (StillStretch(Span(Fraction(5), Fraction(65)), "still", 0.8),),
    (Span(Fraction(110), Fraction(112)),),
    (Change(RecordingTime(Fraction(65)), 0.7, "something moves again after 1:00"),),
    moves=Moves(Fraction(1, 3), (0.1, 0.0525)),
)


class Looks:
    """Counts how often somebody had to look."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self) -> Found:
        self.count += 1
        return FOUND


def test_the_second_time_nobody_looks(tmp_path: Path) -> None:
    """The same values come back to the last digit, under the name that is asked for."""
    looks, cache = Looks(), SegmentCache(tmp_path / "kept")
    assert find_once(cache, ["ab"], ["private name.mp4"], looks) == FOUND
    again = find_once(cache, ["ab"], ["other.mp4"], looks)

    assert looks.count == 1
    assert again == replace(FOUND, parts=(replace(FOUND.parts[0], file="other.mp4"),))


def test_another_content_is_looked_at(tmp_path: Path) -> None:
    """A changed recording has another hash, and the order of the parts counts."""
    looks, cache = Looks(), SegmentCache(tmp_path / "kept")
    for hashes in (["ab"], ["cd"], ["ab", "cd"], ["cd", "ab"]):
        find_once(cache, hashes, ["a.mp4"], looks)
    assert looks.count == 4


def test_no_name_is_kept(tmp_path: Path) -> None:
    """Neither the file's name nor its content names a recording."""
    find_once(SegmentCache(tmp_path / "kept"), ["ab"], ["private name.mp4"], Looks())
    (kept,) = (tmp_path / "kept").iterdir()
    assert "private" not in kept.read_text(encoding="utf-8") + kept.name


@pytest.mark.parametrize("rubbish", [b"", b"{}", b"\xff\xfe", b"[1, 2]", b'{"parts": [[1]]}'])
def test_what_cannot_be_read_is_found_anew(tmp_path: Path, rubbish: bytes) -> None:
    """A file cut short or written over is dropped, not believed and no fault."""
    looks, cache = Looks(), SegmentCache(tmp_path / "kept")
    find_once(cache, ["ab"], ["a.mp4"], looks)
    (kept,) = (tmp_path / "kept").iterdir()
    kept.write_bytes(rubbish)

    assert find_once(cache, ["ab"], ["private name.mp4"], looks) == FOUND
    assert looks.count == 2
    find_once(cache, ["ab"], ["a.mp4"], looks)
    assert looks.count == 2


def test_a_folder_that_may_not_be_written_to_only_costs_time(tmp_path: Path) -> None:
    """A file stands where the folder should be made: found all the same."""
    (tmp_path / "out").write_text("in the way", encoding="utf-8")
    looks = Looks()
    assert find_once(SegmentCache(tmp_path / "out" / "kept"), ["ab"], ["a.mp4"], looks) == FOUND
    assert looks.count == 1


def test_what_is_kept_is_bounded(tmp_path: Path) -> None:
    """What was used longest ago goes first, by the bound of everything kept in that folder."""
    looks, cache = Looks(), SegmentCache(tmp_path / "kept", most_bytes=1500)
    for n in range(6):
        find_once(cache, [str(n)], ["a.mp4"], looks)
        for age, path in enumerate(sorted((tmp_path / "kept").iterdir(), key=os.path.getmtime)):
            os.utime(path, (age, age))
    assert sum(p.stat().st_size for p in (tmp_path / "kept").iterdir()) <= 1500
