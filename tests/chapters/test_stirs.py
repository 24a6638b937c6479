"""What changed at once: a light is none of it, something that stands a little elsewhere is."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from chapters.likeness import view
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from chapters.stirs import excess, moved, redrawn, stir_of
from tests.scenes import COLUMNS, ROWS, Grey, canvas, lit, shot, timed

ALL = np.ones((9, 16), np.bool_)


def grey(picture: Grey) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    """The smoothed levels of the picture at working size."""
    return view(np.ascontiguousarray(picture[:ROWS, :COLUMNS]), (COLUMNS, ROWS)).grey


def cuts(pictures: list[Grey]) -> list[Fraction]:
    """Times of the cuts found in pictures at thirty a second."""
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)
    return [c.at for c in find_cuts(reader.finish())]


@pytest.mark.parametrize(("gain", "offset"), [(0.5, 0), (1.3, 0), (0.8, 40)])
def test_a_light_redraws_nothing(gain: float, offset: float) -> None:
    """Gain and offset explain all but the rounding, burnt-out places left aside."""
    ground = canvas(1).astype(np.uint8)

    assert redrawn(grey(ground), grey(lit(ground, gain, offset)), ALL) < 0.15


def test_what_stands_elsewhere_is_redrawn() -> None:
    """A ground that stands two pixels elsewhere is no straight line of itself, place by place."""
    ground = canvas(1).astype(np.uint8)

    assert redrawn(grey(ground), grey(np.roll(ground, 2, axis=1)), ALL) > 0.5


def test_excess_is_what_lies_beyond_twice_what_changes_near_by() -> None:
    """5 levels beside 2 and 1: one is over, less the least; beside 3 nothing is."""
    plane = np.full((9, 16), 5, np.float32)
    near = [np.full((9, 16), n, np.float32) for n in (2, 1)]

    assert excess(plane, near) == pytest.approx(np.full((9, 16), 5 - 2 * 2 - 0.3))
    assert not excess(plane, [*near, np.full((9, 16), 3, np.float32)]).any()


def test_a_picture_that_comes_back_at_once_is_not_held() -> None:
    """One picture of another ground between pictures of the first: nothing of it is left."""
    ground, other = (view(canvas(n).astype(np.uint8), (COLUMNS, ROWS)) for n in (1, 2))
    still = moved(ground, ground)
    stir = stir_of(moved(ground, other), [still, still], [ground, ground, other, ground, ground])

    assert stir is not None
    assert stir.held == 0


def shifted(noise: float) -> list[Grey]:
    """A view at rest in which a strand of things stands a pixel elsewhere from frame 60 on."""
    pictures = shot(1, 120, pan_px=0, tool_px=0, noise=noise)
    thing = np.clip(canvas(9)[20:70, 20:90] * 1.2 - 20, 0, 255)
    for n, picture in enumerate(pictures):
        x, y = (40, 22) if n < 60 else (41, 23)
        picture[y : y + 50, x : x + 70] = thing
    return pictures


def test_what_stands_a_pixel_elsewhere_from_one_frame_to_the_next_is_a_jump() -> None:
    """Nothing new comes into a view at rest, yet a fifth of it has moved, at once and for good."""
    assert cuts(shifted(1.0)) == [Fraction(2)]


def test_something_large_and_bright_that_is_there_at_once_is_a_jump() -> None:
    """A hard pattern of black and white over half of the view is no light: nothing is burnt out."""
    pictures = shot(1, 120, tool_px=0)
    pattern = np.where(canvas(9)[:70, :90] > 120, 200, 10)
    for picture in pictures[60:]:
        picture[10:80, 20:110] = pattern

    assert cuts(pictures) == [Fraction(2)]
