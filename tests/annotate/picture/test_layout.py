"""Geometry: even, inside the safe area, scaled."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.picture.layout import (
    SMALLEST_PICTURE_PX,
    Box,
    even_up,
    safe_area,
    strip_layout,
)


@given(st.integers(SMALLEST_PICTURE_PX, 8000), st.integers(SMALLEST_PICTURE_PX, 8000))
def test_the_safe_area_keeps_a_twentieth_clear(width: int, height: int) -> None:
    """At least 5 % of each side stays free at each edge, and all borders are even."""
    box = safe_area(width, height)
    assert box.x_px * 20 >= width
    assert box.y_px * 20 >= height
    assert (width - box.right_px) * 20 >= width
    assert (height - box.bottom_px) * 20 >= height
    assert not any(n % 2 for n in (box.x_px, box.y_px, box.width_px, box.height_px))
    assert box.width_px > 0.85 * width - 4


def test_sizes_follow_the_shorter_side() -> None:
    """4K letters are twice those of 1080p, and an upright film has the letters of a wide one."""
    hd, uhd = strip_layout(1920, 1080), strip_layout(3840, 2160)
    assert uhd.clock_px in (2 * hd.clock_px - 1, 2 * hd.clock_px, 2 * hd.clock_px + 1)
    assert strip_layout(1080, 1920).title_px == hd.title_px


@given(st.integers(SMALLEST_PICTURE_PX, 4000), st.integers(SMALLEST_PICTURE_PX, 4000))
def test_letters_never_get_too_small(width: int, height: int) -> None:
    """Titles and small letters keep a size that can be read; the clock is the largest."""
    found = strip_layout(width, height)
    assert found.title_px >= 8
    assert found.small_px >= 8
    assert found.clock_px > found.title_px >= found.small_px - 1
    assert found.narrow_px <= found.wide_px <= found.safe.width_px


def test_a_picture_too_small_for_a_clock_is_refused() -> None:
    """No clock can be read on a thumbnail."""
    with pytest.raises(ValueError, match="64x300 has no room"):
        strip_layout(64, 300)


def test_boxes() -> None:
    """Borders are one past the last pixel; a box holds itself."""
    box = Box(2, 4, 10, 6)
    assert (box.right_px, box.bottom_px) == (12, 10)
    assert box.holds(box)
    assert not box.holds(Box(2, 4, 11, 6))
    assert [even_up(n) for n in (0, 0.1, 2, 2.5, 3)] == [0, 2, 2, 4, 4]
