"""Plates: blending within one level of exact arithmetic, only inside the region."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.picture.colours import halve, rgb_to_ycbcr
from annotate.picture.plates import blend, ink, plate, prepare
from tests.annotate.picture.drawn import noise


def rgba_noise(width: int, height: int, seed: int) -> np.ndarray:
    """Every colour and coverage, whole plates and clear ones among them."""
    rng = np.random.default_rng(seed)
    out = rng.integers(0, 256, (height, width, 4), dtype=np.uint8)
    out[: height // 3, :, 3] = 255
    out[-height // 4 :, :, 3] = 0
    return out


@settings(max_examples=30, deadline=None)
@given(
    st.integers(1, 20), st.integers(1, 20), st.integers(0, 9), st.integers(0, 9), st.integers(0, 99)
)
def test_blending_is_exact_to_one_level(w: int, h: int, x: int, y: int, seed: int) -> None:
    """Whole-number blending differs from real-number blending by at most one level, any values."""
    width, height, left, top = 2 * w, 2 * h, 2 * x, 2 * y
    rgba = rgba_noise(width, height, seed)
    before = noise((64, 62), seed)
    planes = tuple(plane.copy() for plane in before)
    blend(*planes, prepare(rgba), left, top)
    cover = rgba[..., 3] / 255.0
    ycbcr = rgb_to_ycbcr(rgba[..., :3])
    expected = [plane.astype(np.float64) for plane in before]
    region = np.s_[top : top + height, left : left + width]
    half = np.s_[top // 2 : (top + height) // 2, left // 2 : (left + width) // 2]
    expected[0][region] = before[0][region] * (1 - cover) + ycbcr[..., 0] * cover
    for i in (1, 2):
        mean = halve((ycbcr[..., i] * cover).astype(np.float32))
        expected[i][half] = before[i][half] * (1 - halve(cover.astype(np.float32))) + mean
    for plane, exact in zip(planes, expected, strict=True):
        assert np.abs(plane - exact).max() <= 1.0


def test_nothing_outside_the_region_changes() -> None:
    """Pixels beside the plate keep their value, bit for bit."""
    before = noise((40, 30))
    planes = tuple(plane.copy() for plane in before)
    blend(*planes, prepare(plate(8, 6, (1, 2, 3), 200)), 4, 2)
    for plane, old, region in zip(
        planes, before, (np.s_[2:8, 4:12], np.s_[1:4, 2:6], np.s_[1:4, 2:6]), strict=True
    ):
        assert (plane[region] != old[region]).any()
        plane[region] = old[region]
        assert (plane == old).all()


def test_a_solid_plate_hides_and_a_clear_one_shows() -> None:
    """Alpha 255 gives the plate's own colour, alpha 0 the picture."""
    for alpha in (0, 255):
        before = noise((8, 8))
        planes = tuple(plane.copy() for plane in before)
        blend(*planes, prepare(plate(8, 8, (200, 40, 40), alpha)), 0, 0)
        wanted = np.rint(rgb_to_ycbcr((200, 40, 40)))
        for i in range(3):
            assert (planes[i] == (before[i] if alpha == 0 else wanted[i])).all()


def test_odd_plates_are_refused() -> None:
    """4:2:0 pairs its pixels."""
    with pytest.raises(ValueError, match="5x4 has an odd side"):
        prepare(plate(5, 4, (0, 0, 0), 9))


def test_ink_off_the_plate_is_refused() -> None:
    """A letter that would be cut off is a fault."""
    page = plate(10, 10, (0, 0, 0), 9)
    with pytest.raises(ValueError, match="falls off"):
        ink(page, np.full((4, 4), 255, np.uint8), (9, 9, 9), 7, 0)
    with pytest.raises(ValueError, match="falls off"):
        ink(page, np.full((4, 4), 255, np.uint8), (9, 9, 9), 0, -1)


def test_pasting_equals_preparing_the_whole() -> None:
    """A tile pasted at an even place gives the weights of the plate drawn with it."""
    whole, tile = plate(20, 12, (16, 21, 28), 224), plate(6, 4, (16, 21, 28), 224)
    ink(tile, np.full((2, 3), 180, np.uint8), (255, 255, 255), 1, 1)
    pasted = prepare(whole)
    pasted.paste(prepare(tile), 8, 4)
    whole[4:8, 8:14] = tile
    fresh = prepare(whole)
    for name in ("keep_y", "add_y", "keep_c", "add_u", "add_v"):
        assert (getattr(pasted, name) == getattr(fresh, name)).all()


def test_corners_are_round() -> None:
    """A radius clears the corner and leaves the middle of each side."""
    page = plate(20, 20, (0, 0, 0), 200, radius_px=6)
    assert page[0, 0, 3] == 0
    assert page[0, 10, 3] == page[10, 0, 3] == page[10, 10, 3] == 200
