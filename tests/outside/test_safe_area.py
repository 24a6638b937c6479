"""The graphics-safe area, and the colours of BT.709, against published values.

EBU R 95 v1.1 (2017), "Safe areas for 16:9 television production" (as ITU-R BT.1848): graphics
5 % from each edge: 96 and 54 pixels on 1920x1080, 192 and 108 on 3840x2160.
Recommendation ITU-R BT.709-6: 8-bit limited-range values of the primaries and of grey.
Okabe and Ito's palette (Color Universal Design, 2008): the hexadecimal values they are known by.
"""

from __future__ import annotations

import numpy as np
import pytest

from annotate.picture import colours
from annotate.picture.colours import planes_to_rgb, rgb_to_planes, rgb_to_ycbcr
from annotate.picture.layout import Box, safe_area

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(
    ("size_px", "inset_px"),
    [((1920, 1080), (96, 54)), ((3840, 2160), (192, 108)), ((1280, 720), (64, 36))],
)
def test_published_insets(size_px: tuple[int, int], inset_px: tuple[int, int]) -> None:
    """The area is exactly the published one on television's own sizes."""
    (width, height), (x, y) = size_px, inset_px
    assert safe_area(width, height) == Box(x, y, width - 2 * x, height - 2 * y)


BT709_LIMITED = {
    (255, 255, 255): (235, 128, 128),
    (0, 0, 0): (16, 128, 128),
    (255, 0, 0): (63, 102, 240),
    (0, 255, 0): (173, 42, 26),
    (0, 0, 255): (32, 240, 118),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
    (255, 0, 255): (78, 214, 230),
    (128, 128, 128): (126, 128, 128),
    (191, 191, 191): (180, 128, 128),
}


@pytest.mark.parametrize("rgb", BT709_LIMITED)
def test_bt709_worked_values(rgb: tuple[int, int, int]) -> None:
    """Each colour has its published 8-bit code values, and comes back from them within two levels."""
    assert tuple(int(v) for v in np.rint(rgb_to_ycbcr(rgb))) == BT709_LIMITED[rgb]
    planes = rgb_to_planes(np.full((2, 2, 3), rgb, np.uint8))
    assert tuple(int(p[0, 0]) for p in planes) == BT709_LIMITED[rgb]
    assert np.abs(planes_to_rgb(*planes).astype(int) - rgb).max() <= 2


@pytest.mark.parametrize(
    ("name", "value"),
    [("REAL", 0x0072B2), ("FAST", 0xE69F00), ("AWAY", 0xD55E00), ("EXPECTED", 0x009E73)],
)
def test_the_palette_is_the_published_one(name: str, value: int) -> None:
    """Blue, orange, vermilion and bluish green of the colour-blind safe set."""
    assert getattr(colours, name) == (value >> 16, value >> 8 & 255, value & 255)
