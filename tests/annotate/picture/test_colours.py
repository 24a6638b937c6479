"""Colours: BT.709 limited range both ways, halving, luminance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.picture.colours import (
    contrast_ratio,
    halve,
    planes_to_rgb,
    relative_luminance,
    rgb_to_planes,
    rgb_to_ycbcr,
    ycbcr_to_rgb,
)

BYTE = st.integers(0, 255)


@given(BYTE, BYTE, BYTE)
def test_there_and_back_is_the_same_colour(red: int, green: int, blue: int) -> None:
    """Unrounded Y'CbCr brings back the R'G'B' it came from."""
    back = ycbcr_to_rgb(rgb_to_ycbcr((red, green, blue)))
    assert back == pytest.approx([red, green, blue], abs=0.01)


@given(BYTE, BYTE, BYTE)
def test_a_plain_picture_survives_eight_bits(red: int, green: int, blue: int) -> None:
    """A picture of one colour comes back within two levels through 8-bit planes."""
    picture = np.full((4, 6, 3), (red, green, blue), np.uint8)
    back = planes_to_rgb(*rgb_to_planes(picture)).astype(int)
    assert np.abs(back - picture).max() <= 2


@pytest.mark.parametrize(("width", "height"), [(1, 1), (5, 3), (6, 4), (161, 121)])
def test_odd_pictures_keep_their_size(width: int, height: int) -> None:
    """Chroma is half as large, rounded up, and the picture comes back as large as it was."""
    picture = np.random.default_rng(3).integers(0, 256, (height, width, 3), dtype=np.uint8)
    y, u, v = rgb_to_planes(picture)
    assert y.shape == (height, width)
    assert u.shape == v.shape == (-(-height // 2), -(-width // 2))
    assert planes_to_rgb(y, u, v).shape == picture.shape


def test_planes_are_the_rounded_exact_values() -> None:
    """Fast planes agree with the plain matrix, value by value, to one level of rounding."""
    picture = np.random.default_rng(4).integers(0, 256, (32, 48, 3), dtype=np.uint8)
    y, u, v = rgb_to_planes(picture)
    exact = rgb_to_ycbcr(picture)
    assert np.abs(y - exact[..., 0]).max() <= 0.51
    assert np.abs(u - halve(exact[..., 1])).max() <= 0.51
    assert np.abs(v - halve(exact[..., 2])).max() <= 0.51


def test_halving_takes_the_mean_and_repeats_an_odd_edge() -> None:
    """A 3x3 plane halves to 2x2, its last row and column counted twice."""
    plane = np.array([[0, 4, 8], [0, 4, 8], [2, 2, 6]], np.float32)
    assert halve(plane).tolist() == [[2, 8], [2, 6]]


def test_contrast_has_no_order_and_runs_from_one() -> None:
    """Equal colours have ratio 1, and the two may be swapped."""
    assert contrast_ratio((10, 20, 30), (10, 20, 30)) == 1
    assert contrast_ratio((10, 20, 30), (200, 1, 9)) == contrast_ratio((200, 1, 9), (10, 20, 30))
    assert relative_luminance([[0, 0, 0], [255, 255, 255]]) == pytest.approx([0, 1])
