"""Captions drawn into the picture: a plate at the top of the safe area, where the clock never is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from annotate.picture import colours
from annotate.picture.colours import U8
from annotate.picture.fonts import FontChain
from annotate.picture.layout import Box, even_up, safe_area
from annotate.picture.plates import Prepared, ink, prepare

#: Height of a letter's line as a share of the picture's shorter side, and the least there is, px.
SHARE, LEAST_PX = 0.042, 11
#: How opaque the plate is: white text keeps 4.5:1 over any picture.
PLATE_ALPHA = 224


def caption_plate(chain: FontChain, size_px: tuple[int, int], lines: Sequence[str]) -> U8:
    """The lines centred on their plate, RGBA (h, w, 4) of even size, no wider than the safe area."""
    safe = safe_area(*size_px)
    letters = max(LEAST_PX, round(min(size_px) * SHARE))
    pad = max(4, round(letters * 0.5))
    letters = _fitting(chain, lines, letters, safe.width_px // 2 * 2 - 2 * pad)
    masks = [chain.draw(line, letters) for line in lines]
    rise = max(letters, *(-m.top_px for m in masks))
    fall = max(letters // 4, *(m.top_px + m.mask.shape[0] for m in masks))
    step = max(round(letters * 1.3), rise + fall)
    width = min(even_up(max(m.right_px for m in masks) + 2 * pad), safe.width_px // 2 * 2)
    rgba = np.empty((even_up(step * len(lines) + pad), width, 4), np.uint8)
    rgba[..., :3] = colours.GROUND
    rgba[..., 3] = PLATE_ALPHA
    for number, mask in enumerate(masks):
        left = max(0, round((width - mask.right_px) / 2) + mask.left_px)
        baseline = pad // 2 + step * number + rise
        ink(rgba, mask.mask, colours.CHALK, left, baseline + mask.top_px)
    return rgba


def _fitting(chain: FontChain, lines: Sequence[str], letters: int, room_px: int) -> int:
    """The largest letters, at most ``letters``, in which every line is within the room.

    On a very small picture they are smaller than can be read: a whole line, not a cut one.
    """
    while letters > 1:
        widest = max(chain.width_px(line, letters) for line in lines)
        if widest <= room_px:
            break
        letters = max(1, min(letters - 1, int(letters * room_px / widest)))
    return letters


class BurntCaptions:
    """Prepared plates of captions for one size of picture; the last few are kept."""

    def __init__(self, chain: FontChain, size_px: tuple[int, int]) -> None:
        self._chain, self._size_px = chain, size_px
        self._held: tuple[tuple[str, ...], Prepared, Box] | None = None

    def ready(self, lines: tuple[str, ...]) -> tuple[Prepared, Box]:
        """The plate to blend and where it stands."""
        if self._held is None or self._held[0] != lines:
            rgba = caption_plate(self._chain, self._size_px, lines)
            safe = safe_area(*self._size_px)
            height, width = rgba.shape[:2]
            x = (self._size_px[0] - width) // 4 * 2
            self._held = (lines, prepare(rgba), Box(x, safe.y_px, width, height))
        return self._held[1], self._held[2]
