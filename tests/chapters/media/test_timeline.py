"""Times from packets: edit lists, missing stamps, clocks that jump, holes. Pure, no file."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chapters.media.timeline import NONE, PacketTable, holes, lay_out, usual_gap
from chapters.spans import Span

BASE = Fraction(1, 90000)


def table(
    pts: Sequence[int],
    dts: Sequence[int] | None = None,
    hidden: Sequence[int] = (),
    duration: int = 3000,
    base: Fraction = BASE,
) -> PacketTable:
    count = len(pts)
    marks = np.zeros(count, bool)
    marks[list(hidden)] = True
    return PacketTable(
        time_base=base,
        pts=np.array(pts, np.int64),
        dts=np.array(pts if dts is None else dts, np.int64),
        duration=np.full(count, duration, np.int64),
        size=np.full(count, 100, np.int64),
        key=np.ones(count, bool),
        hidden=marks,
        corrupt=np.zeros(count, bool),
    )


def test_part_time_is_the_stamp_less_the_first_one_shown() -> None:
    """Reordered frames are sorted, the length ends with the last frame's own duration."""
    line = lay_out(table([6000, 15000, 9000, 12000]), by_order=False, first=0)
    assert line.shown.tolist() == [0, 3000, 6000, 9000]
    assert line.ticks.tolist() == [0, 9000, 3000, 6000]
    assert line.length == Fraction(12000, 90000)
    assert line.steady


def test_frames_before_an_edit_do_not_count() -> None:
    """Hidden packets have no time and do not move part time zero."""
    line = lay_out(table([-6000, -3000, 0, 3000], hidden=[0, 1]), by_order=False, first=2)
    assert line.shown.tolist() == [0, 3000]
    assert line.ticks.tolist() == [NONE, NONE, 0, 3000]


def test_frames_earlier_than_the_first_that_decodes_do_not_count() -> None:
    """A recording cut in the middle of a group of pictures begins with its first whole one."""
    line = lay_out(table([0, 3000, 6000, 9000]), by_order=False, first=2)
    assert line.zero == 6000
    assert line.shown.tolist() == [0, 3000]


def test_a_container_without_presentation_stamps_is_timed_by_order() -> None:
    """The slots are the decode stamps in order, whichever frame fills them."""
    line = lay_out(table([40, 80, 20, 60], [0, 20, 40, 60]), by_order=True, first=0)
    assert line.by_order
    assert not line.steady
    assert line.shown.tolist() == [0, 20, 40, 60]


def test_the_frame_on_screen_is_the_last_not_after() -> None:
    """At a frame's own time it is on screen; a hair before, the one before is."""
    line = lay_out(table([0, 3000, 9000]), by_order=False, first=0)
    third = Fraction(9000, 90000)
    assert line.index_at(third) == 2
    assert line.index_at(third - Fraction(1, 10**9)) == 1
    assert line.index_at(Fraction(-5)) == 0
    assert line.index_at(Fraction(5)) == 2


@pytest.mark.parametrize("declared", [0, 1, 1499])
def test_an_implausible_last_duration_is_replaced_by_the_usual_step(declared: int) -> None:
    """One tick as the duration of every frame is no duration."""
    line = lay_out(table([0, 3000, 6000], duration=declared), by_order=False, first=0)
    assert line.last == 3000


def test_a_long_last_frame_keeps_its_duration() -> None:
    """A frame may stay for long: the declared duration is believed."""
    assert lay_out(table([0, 3000], duration=90000), by_order=False, first=0).last == 90000


def test_missing_stamps_are_filled_from_what_is_there() -> None:
    """Without a presentation stamp the decode stamp serves, without both the packet before."""
    line = lay_out(table([0, NONE, NONE, 9000], [0, 3000, NONE, 9000]), by_order=False, first=0)
    assert line.shown.tolist() == [0, 3000, 6000, 9000]
    assert not line.steady  # such packets cannot be recognised after a seek


def test_a_clock_set_back_goes_on_after_what_was_there() -> None:
    """Two recordings in one file, the second from zero again: the second follows the first."""
    line = lay_out(table([*range(0, 60000, 3000), *range(0, 60000, 3000)]), by_order=False, first=0)
    assert line.shown.tolist() == list(range(0, 120000, 3000))
    assert [jump.kind for jump in line.jumps] == ["back"]
    assert not line.steady


@pytest.mark.parametrize("wrong", [10**12, -(10**12), 10**7])
@pytest.mark.parametrize("count", [1, 3])
def test_stray_stamps_are_laid_between_their_neighbours(wrong: int, count: int) -> None:
    """A few packets with an impossible clock cost their own times, nobody else's."""
    stamps = list(range(0, 300000, 3000))
    for i in range(40, 40 + count):
        stamps[i] = wrong + i * 3000
    line = lay_out(table(stamps), by_order=False, first=0)
    assert len(line.shown) == 100
    assert line.length == Fraction(300000, 90000)
    assert {jump.kind for jump in line.jumps} == {"stray"}
    good = np.r_[0:40, 40 + count : 100]
    assert line.ticks[good].tolist() == [int(i) * 3000 for i in good]


def test_a_lasting_leap_is_a_hole_and_told() -> None:
    """A recorder that claims 27 hours in 110 frames: the claim stays, the hole is reported."""
    leap = 27 * 3600 * 90000
    stamps = [*range(0, 300000, 3000), *range(300000 + leap, 330000 + leap, 3000)]
    line = lay_out(table(stamps), by_order=False, first=0)
    assert [jump.kind for jump in line.jumps] == ["forward"]
    assert holes(line) == (Span(Fraction(300000, 90000), Fraction(300000 + leap, 90000)),)


def test_a_slow_camera_makes_no_holes() -> None:
    """Thirty frames a second that drop to three in the dark are a variable rate, not damage."""
    stamps = np.cumsum([0] + [3000] * 50 + [30000] * 10 + [3000] * 50).tolist()
    assert holes(lay_out(table(stamps), by_order=False, first=0)) == ()


def test_one_frame_a_second_has_no_holes() -> None:
    """What is usual for a recording is no hole, however slow."""
    line = lay_out(table(list(range(0, 90000 * 60, 90000))), by_order=False, first=0)
    assert holes(line) == ()


def test_the_usual_gap_is_never_nothing() -> None:
    """One frame, or many with one stamp, still give a step of a tick."""
    assert usual_gap(np.array([5], np.int64)) == 1
    assert usual_gap(np.array([5, 5, 5], np.int64)) == 1


@settings(max_examples=150, deadline=None)
@given(
    steps=st.lists(st.integers(1, 90000), min_size=1, max_size=60),
    start=st.integers(-(10**9), 10**9),
    base=st.sampled_from([BASE, Fraction(1, 1000), Fraction(1, 30), Fraction(1, 15360)]),
)
def test_any_sane_clock_is_kept_as_it_is(steps: list[int], start: int, base: Fraction) -> None:
    """Growing stamps without a leap come back exactly, from whatever number they begin at."""
    limit = int(Fraction(10) / base)
    stamps = (start + np.cumsum([0, *(min(step, limit) for step in steps)])).tolist()
    line = lay_out(table(stamps, duration=0, base=base), by_order=False, first=0)
    assert line.shown.tolist() == [stamp - stamps[0] for stamp in stamps]
    assert not line.jumps
    for index, tick in enumerate(line.shown.tolist()):
        assert line.index_at(line.seconds(tick)) == index


@settings(max_examples=200, deadline=None)
@given(stamps=st.lists(st.integers(-(2**40), 2**40), min_size=1, max_size=80))
def test_any_stamps_at_all_give_growing_times(stamps: list[int]) -> None:
    """Pure noise as a clock still gives a timeline that starts at 0 and grows."""
    line = lay_out(table(stamps), by_order=False, first=0)
    assert line.shown[0] == 0
    assert np.all(np.diff(line.shown) > 0)
    assert line.length > 0
