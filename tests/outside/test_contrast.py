"""Contrast of everything on the film, by WCAG 2.2.

Relative luminance and contrast ratio: WCAG 2.2 (W3C Recommendation), "relative luminance" and
"contrast ratio"; success criteria 1.4.3 (text 4.5:1) and 1.4.11 (graphics 3:1). The worked pairs
were computed from those definitions apart from this project, and the first is the definition's
own limit (21:1); 4.4781 shows why a ratio is never rounded.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from annotate.picture import colours
from annotate.picture.colours import contrast_ratio, relative_luminance, ycbcr_to_rgb
from annotate.picture.figures import PLATE_ALPHA
from annotate.picture.overlay import Overlay
from annotate.picture.plates import blend, prepare
from tests.annotate.picture.drawn import BOTH_EVENTS, chain, face

pytestmark = pytest.mark.outside

PAIRS = [
    ("FFFFFF", "000000", 21.0000),
    ("767676", "FFFFFF", 4.5422),
    ("777777", "FFFFFF", 4.4781),
    ("949494", "FFFFFF", 3.0335),
    ("959595", "FFFFFF", 2.9953),
    ("595959", "FFFFFF", 7.0047),
    ("FF0000", "FFFFFF", 3.9985),
    ("0000FF", "FFFFFF", 8.5925),
    ("FFFF00", "000000", 19.5560),
    ("FFFFFF", "1A1A1A", 17.4043),
]

TEXT, GRAPHIC = 4.5, 3.0

#: Every corner of what 8-bit Y'CbCr can hold, beyond black and white too, and some between.
UNDER = list(
    itertools.product(
        (0, 16, 60, 128, 180, 235, 255), (0, 16, 128, 240, 255), (0, 16, 128, 240, 255)
    )
)


def _rgb(text: str) -> tuple[int, int, int]:
    return int(text[:2], 16), int(text[2:4], 16), int(text[4:], 16)


@pytest.mark.parametrize(("one", "other", "ratio"), PAIRS)
def test_worked_pairs(one: str, other: str, ratio: float) -> None:
    """The formula gives the worked ratios to four places."""
    assert float(contrast_ratio(_rgb(one), _rgb(other))) == pytest.approx(ratio, abs=5e-5)


def test_luminance_of_the_primaries() -> None:
    """Red, green and blue have the weights the definition gives them."""
    found = relative_luminance([(255, 0, 0), (0, 255, 0), (0, 0, 255)])
    assert found == pytest.approx([0.2126, 0.7152, 0.0722])


def _blended(rgba: np.ndarray, under: tuple[int, int, int]) -> np.ndarray:
    """A plate's pixels as a viewer sees them over a plain picture of one Y'CbCr value, (h, w, 3)."""
    height, width = rgba.shape[:2]
    planes = [np.full((height, width), under[0], np.uint8)]
    planes += [np.full((height // 2, width // 2), value, np.uint8) for value in under[1:]]
    blend(planes[0], planes[1], planes[2], prepare(rgba), 0, 0)
    grown = [planes[0], *(p.repeat(2, axis=0).repeat(2, axis=1) for p in planes[1:])]
    return np.clip(ycbcr_to_rgb(np.stack(grown, axis=-1)), 0, 255)


def _patch(colour: tuple[int, int, int], cover: int) -> np.ndarray:
    out = np.empty((2, 2, 4), np.uint8)
    out[..., :3] = colour
    out[..., 3] = cover
    return out


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("CHALK", TEXT),
        ("QUIET", TEXT),
        ("FAST", GRAPHIC),
        ("NOT_SHOWN", GRAPHIC),
        ("AWAY", GRAPHIC),
    ],
)
def test_contrast_on_the_plate_over_any_picture(name: str, least: float) -> None:
    """Text has 4.5:1 and forms 3:1 against their plate, blended over every extreme of a picture."""
    ink = _blended(_patch(getattr(colours, name), 255), (235, 128, 128))[0, 0]
    worst = min(
        float(contrast_ratio(ink, _blended(_patch(colours.GROUND, PLATE_ALPHA), under)[0, 0]))
        for under in UNDER
    )
    assert worst >= least, worst


def test_the_plate_is_as_dark_as_it_says() -> None:
    """Alpha is at least 0.72."""
    assert PLATE_ALPHA / 255 >= 0.72


@pytest.mark.parametrize("size_px", [(640, 480), (1920, 1080)])
def test_the_drawn_clock_has_its_contrast_over_white(size_px: tuple[int, int]) -> None:
    """Measured on the pixels: the strokes of the clock against the plate round them, white below."""
    made = Overlay(size_px, chain())
    shown = face(events=BOTH_EVENTS)
    (_, rgba), *_ = made.rgba(shown)
    seen = _blended(rgba, (255, 128, 128))
    places = made.places(shown)
    assert places.clock is not None
    y = places.clock.y_px - places.strip.y_px
    x = places.clock.x_px - places.strip.x_px
    clock = seen[y : y + places.clock.height_px, x : x + places.clock.width_px].reshape(-1, 3)
    order = np.argsort(relative_luminance(clock))
    plate_colour, stroke = clock[order[len(order) // 4]], clock[order[-len(order) // 20]]
    assert float(contrast_ratio(stroke, plate_colour)) >= 4.5


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("CHALK", TEXT),
        ("QUIET", TEXT),
        ("REAL", GRAPHIC),
        ("FAST", GRAPHIC),
        ("NOT_SHOWN", GRAPHIC),
        ("AWAY", GRAPHIC),
    ],
)
def test_contrast_on_the_cards(name: str, least: float) -> None:
    """On the dark ground of the cards the same holds."""
    assert float(contrast_ratio(getattr(colours, name), colours.GROUND)) >= least
