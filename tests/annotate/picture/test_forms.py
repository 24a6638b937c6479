"""The forms: distinct without colour, denser with speed."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from annotate.picture.forms import STRIPES, dotted_outline, hatch, stripes_for, two_posts


def crossings(row: np.ndarray) -> int:
    """How often a row goes from dark to light."""
    on = row > 127
    return int((~on[:-1] & on[1:]).sum() + on[0])


@pytest.mark.parametrize("stripes", STRIPES)
def test_the_hatch_has_its_stripes(stripes: int) -> None:
    """A row of the bar crosses as many stripes as asked for, give or take one cut at an edge."""
    mask = hatch(120, 40, stripes)
    for row in (0, 20, 39):
        assert abs(crossings(mask[row]) - stripes) <= 1


def test_stripes_are_slanted() -> None:
    """Two rows of the hatch are the same pattern moved sideways, not the same row."""
    mask = hatch(120, 40, 5)
    assert (mask[0] != mask[20]).mean() > 0.2


def test_the_hatch_is_denser_with_speed() -> None:
    """No hatch up to 1x, then never fewer stripes for a higher speed."""
    speeds = [Fraction(n, 4) for n in range(1, 400)]
    counts = [stripes_for(s) for s in speeds]
    assert counts == sorted(counts)
    assert stripes_for(Fraction(1)) == stripes_for(Fraction(1, 2)) == 0
    assert stripes_for(Fraction(11, 10)) == STRIPES[0]
    assert stripes_for(Fraction(100)) == STRIPES[-1]
    assert stripes_for(Fraction(2)) < stripes_for(Fraction(8)) < stripes_for(Fraction(32))


@pytest.mark.parametrize("height", [6, 12, 21, 60])
def test_forms_differ_without_colour(height: int) -> None:
    """An outline is hollow and closed, posts stand at the ends only, a hatch fills the whole bar."""
    width = round(height * 1.7)
    outline, posts, bar = (
        dotted_outline(width, height),
        two_posts(width, height),
        hatch(width, height, 4),
    )
    middle = np.s_[height // 3 : -(height // 3), width // 3 : -(width // 3)]
    assert outline[middle].max() == 0
    assert posts[middle].max() == 0
    assert bar[middle].max() > 200
    assert outline[0].mean() > 80
    assert np.count_nonzero(outline[0] < 128) > 0
    assert posts[0, width // 3 : -(width // 3)].max() == 0
    assert (posts[:, 0] == 255).all()
    assert (posts[:, -1] == 255).all()


def test_posts_stay_small_however_long_the_bar() -> None:
    """On the closing card's bar an hour away is two posts and a gap, not two blocks of colour."""
    posts = two_posts(600, 20)
    assert np.count_nonzero(posts[10]) <= 20
    assert posts[10, 0] == posts[10, -1] == 255
