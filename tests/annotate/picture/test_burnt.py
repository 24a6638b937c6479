"""Captions drawn into the picture: whole lines inside the safe area, whatever the size."""

from __future__ import annotations

import numpy as np
import pytest

from annotate.picture import colours
from annotate.picture.burnt import BurntCaptions, caption_plate
from annotate.picture.fonts import FontChain
from annotate.picture.layout import safe_area

LINES = ("A line as long as a caption's may be, wide", "and a short one")


@pytest.mark.parametrize("size", [(160, 120), (160, 128), (320, 240), (360, 640), (1920, 1080)])
def test_a_full_line_is_drawn_whole_at_any_size(size: tuple[int, int]) -> None:
    """No ink at the plate's edges, and the plate inside the safe area at the top."""
    chain = FontChain([], "en")
    plate = caption_plate(chain, size, LINES)
    ink = np.abs(plate[..., :3].astype(int) - np.asarray(colours.GROUND)).sum(axis=2) > 60
    assert ink.any()
    assert not ink[:, [0, -1]].any() and not ink[[0, -1]].any()
    _, box = BurntCaptions(chain, size).ready(LINES)
    safe = safe_area(*size)
    assert box.width_px <= safe.width_px and box.y_px == safe.y_px
    assert box.x_px >= 0 and box.x_px + box.width_px <= size[0]
    assert box.height_px < size[1] / 2
