"""A view without structure beside a clear one: cut into it and out of it, and what only looks like that."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from tests.scenes import COLUMNS, ROWS, Grey, flashed, lit, shot, timed


def cuts(pictures: list[Grey]) -> list[Fraction]:
    """Times of the cuts found in pictures at thirty a second."""
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)
    return [c.at for c in find_cuts(reader.finish())]


def flat(frames: int, level: float, noise: float = 1.0) -> list[Grey]:
    """A liquid, a glove, a bare wall: nothing but noise about a level."""
    rng = np.random.default_rng(frames)
    pictures = level + noise * rng.standard_normal((frames, ROWS, COLUMNS))
    return [np.clip(np.round(p), 0, 255).astype(np.uint8) for p in pictures]


@pytest.mark.parametrize("level", [80, 125, 160])
@pytest.mark.parametrize(
    ("noise", "told"),
    [(0.0, [Fraction(6)]), (2.0, [Fraction(6)]), (4.0, [Fraction(2), Fraction(6)])],
)
def test_cuts_beside_a_view_without_structure_are_told(
    level: float, noise: float, told: list[Fraction]
) -> None:
    """Four seconds of it between two views. With hardly any noise it is a blank stretch: one cut, at its end."""
    pictures = [*shot(1, 60), *flat(120, level, noise), *shot(2, 60)]

    assert cuts(pictures) == told


@pytest.mark.parametrize("lasts", [5, 30, 75])
def test_a_cover_without_structure_over_a_view_that_is_soon_back_is_no_cut(lasts: int) -> None:
    """Up to two and a half seconds, at once there and at once gone."""
    pictures = shot(1, 200, tool_px=0)
    pictures[60 : 60 + lasts] = flat(lasts, 125)

    assert cuts(pictures) == []


def test_a_white_light_that_burns_the_view_out_is_no_cut() -> None:
    """As flat, but white; the view moves on behind it for four seconds."""
    pictures = shot(1, 240, pan_px=2.0)

    assert cuts(flashed(pictures, 60, 120, 255)) == []


@pytest.mark.parametrize("level", [60.0, 120.0])
def test_a_light_over_half_of_a_view_without_structure_is_no_cut(level: float) -> None:
    """Its edge is all the structure there is, and there are two clear levels where there was one."""
    pictures = flat(240, 80)
    for n in range(60, 180):
        pictures[n][:, 80:] = lit(pictures[n][:, 80:], 1.0, level)

    assert cuts(pictures) == []


def test_a_view_that_comes_slowly_out_of_a_fog_is_no_cut() -> None:
    """Flat at 125, then a little more of the view in every picture for half a second."""
    pictures = shot(1, 200)
    for n in range(60, 140):
        share = min(1.0, (n - 59) / 15, (140 - n) / 15)
        pictures[n] = lit(pictures[n], 1 - share, 125 * share)

    assert cuts(pictures) == []
