"""What is new in a picture: a shift or a movement is not, a jump is, in one frame only."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from chapters.bursts import band, excess, newness
from chapters.likeness import view
from chapters.looks import Burst
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from tests.scenes import COLUMNS, ROWS, Grey, canvas, flashed, lit, shot, timed


def seen(picture: Grey) -> Grey:
    """The picture at working size."""
    return np.ascontiguousarray(picture[:ROWS, :COLUMNS])


def new(a: Grey, b: Grey) -> float:
    """Mean newness of the inner blocks between two pictures."""
    size = (COLUMNS, ROWS)
    return float(newness(band(view(seen(a), size)), band(view(seen(b), size)))[1:-1, 1:-1].mean())


def test_a_shift_of_a_pixel_makes_nothing_new() -> None:
    """A tremor of one working pixel is within what stood around each place; another view is not."""
    ground = canvas(1).astype(np.uint8)

    assert new(ground, np.roll(ground, 1, axis=1)) < 0.05
    assert new(ground, canvas(2).astype(np.uint8)) > 10


def test_newness_is_the_same_both_ways() -> None:
    """What came and what went count alike: the order of the pictures does not matter."""
    a, b = (canvas(seed).astype(np.uint8) for seed in (3, 4))

    assert new(a, b) == pytest.approx(new(b, a))


def test_excess_is_what_lies_beyond_twice_what_is_new_near_by() -> None:
    """5 levels beside 2 and 1: one is over, less the least; beside 3 nothing is."""
    plane = np.full((9, 16), 5, np.float32)
    near = [np.full((9, 16), n, np.float32) for n in (2, 1)]

    assert excess(plane, near) == pytest.approx(np.full((9, 16), 5 - 2 * 2 - 0.15))
    assert not excess(plane, [*near, np.full((9, 16), 3, np.float32)]).any()


def bursts(pictures: list[Grey]) -> dict[int, Burst]:
    """The bursts in pictures at thirty a second, by frame."""
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)
    looks = reader.finish().looks
    return {round(look.at * 30): look.burst for look in looks if look.burst is not None}


def test_a_jump_is_a_burst_at_its_frame_and_movement_is_none() -> None:
    """The tool elsewhere from one frame to the next; before and after it only moves."""
    found = bursts(shot(1, 60) + shot(1, 60, start=90))

    assert list(found) == [60]
    assert found[60].alone > 5
    assert found[60].structure > 0.17
    assert found[60].held == 1


def test_a_flash_is_a_burst_that_is_not_held() -> None:
    """Twelve frames of white light over half of the view: each end takes back what the other did."""
    pictures = shot(1, 120)
    for n in range(60, 72):
        pictures[n] = pictures[n].copy()
        pictures[n][:, 80:] = lit(pictures[n][:, 80:], 1, 120)
    found = bursts(pictures)

    assert set(found) <= {60, 72}
    assert all(burst.held < 0.33 for burst in found.values())


@pytest.mark.parametrize("at", [(14, 14), (60, 30)])
def test_a_jump_that_changes_a_thirtieth_of_the_view_is_found(at: tuple[int, int]) -> None:
    """Something 24 x 20 pixels large is there from one frame to the next, in a view that pans."""
    x, y = at
    thing = canvas(9)[40:60, 40:64]
    pictures = shot(1, 120, tool_px=0, noise=3)
    for picture in pictures[60:]:
        picture[y : y + 20, x : x + 24] = np.clip(thing, 0, 255)
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)

    assert [Fraction(2)] == [c.at for c in find_cuts(reader.finish())]


def test_a_counter_that_ticks_in_a_corner_is_no_jump() -> None:
    """Once a second other digits stand in one place of a view at rest."""
    pictures = shot(1, 150, pan_px=0, tool_px=0)
    for n, picture in enumerate(pictures):
        picture[10:26, 12:34] = np.clip(canvas(20 + n // 30)[40:56, 40:62], 0, 255)
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)

    assert find_cuts(reader.finish()) == ()


@pytest.mark.parametrize("then", [(16, 5), (235, 2)])
def test_a_movement_that_comes_back_before_a_blink_or_a_flash_undoes_no_jump(
    then: tuple[int, int],
) -> None:
    """What jumped 20 pixels goes back to where it was in 20 frames; then the view is lost for a moment."""
    pictures = shot(1, 150, tool_px=0)
    thing = np.clip(canvas(9)[20:70, 20:80], 0, 255)
    for n, picture in enumerate(pictures):
        x = 40 + max(0, 80 - n) if n >= 60 else 40
        picture[20:70, x : x + 60] = thing

    level, length = then
    reader = SignalReader()
    for time, picture in timed(flashed(pictures, 84, length, level)):
        reader.feed(time, picture)

    assert [Fraction(2)] == [c.at for c in find_cuts(reader.finish())]
