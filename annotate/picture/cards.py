"""Title and closing card, composed with moviepy and handed over frame by frame.

The only module that imports moviepy. Letters are drawn by our own font chain (moviepy's text
clips cut off descenders and know one font only); moviepy lays the layers over the ground and
lets them come up quietly. Its file reader and writer are never used.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from moviepy import CompositeVideoClip, ImageClip, vfx

from annotate.picture import colours
from annotate.picture.cardlayout import card_layers
from annotate.picture.cardwords import ClosingCard, TitleCard
from annotate.picture.colours import U8, rgb_to_planes
from annotate.picture.fonts import FontChain

#: The layers come up one after the other in this time each, then nothing moves.
FADE_S = Fraction(2, 5)
BODY_WAITS_S = Fraction(1, 5)
#: From here on a card's picture stays the same.
SETTLED_S = FADE_S + BODY_WAITS_S


class Card:
    """A card as pictures over time: ``frame(t)`` in R'G'B', ``planes(t)`` for the film.

    ``still`` shows it whole from the first frame. Raises InputError for a character no font has.
    """

    def __init__(
        self,
        card: TitleCard | ClosingCard,
        size_px: tuple[int, int],
        fonts: FontChain,
        *,
        still: bool = False,
    ) -> None:
        self.size_px = size_px
        self._still = still
        heading, body = card_layers(card, size_px, fonts)
        length = float(SETTLED_S) + 1.0
        # as a picture of bytes: moviepy's own plain ground takes eight times the memory
        ground = np.full((size_px[1], size_px[0], 3), colours.GROUND, np.uint8)
        layers = [ImageClip(ground, duration=length)]
        for layer, start in ((heading, 0.0), (body, float(BODY_WAITS_S))):
            cut, place = _cut_to_ink(layer)
            clip = ImageClip(cut, duration=length - start).with_start(start).with_position(place)
            layers.append(clip.with_effects([vfx.CrossFadeIn(float(FADE_S))]))
        #: where the body's ink begins; the heading is above it
        self.body_y_px = place[1] if body[..., 3].any() else size_px[1]
        self._clip = CompositeVideoClip(layers, size=size_px, use_bgclip=True)
        self._whole: tuple[U8, U8, U8] | None = None

    def _at(self, t: Fraction) -> Fraction:
        return SETTLED_S if self._still else min(max(t, Fraction(0)), SETTLED_S)

    def frame(self, t: Fraction) -> U8:
        """The picture ``t`` seconds after the card began, (h, w, 3)."""
        return np.asarray(self._clip.get_frame(float(self._at(t)) + 1e-6), dtype=np.uint8)

    def planes(self, t: Fraction) -> tuple[U8, U8, U8]:
        """The same as y (h, w), u and v (h/2, w/2); a settled card gives the same arrays again."""
        if self._at(t) < SETTLED_S:
            return rgb_to_planes(self.frame(t))
        if self._whole is None:
            self._whole = rgb_to_planes(self.frame(SETTLED_S))
        return self._whole


class ComingUp:
    """A card's pictures for the film, from the whole one alone: what is above ``body_y_px`` comes
    up first, what is below after it, as ``Card`` composes them within the rounding of bytes.

    Composing needs many times the memory and the time of this; so it is done once.
    """

    def __init__(self, card: Card) -> None:
        self._whole = card.planes(SETTLED_S)
        self._top = card.body_y_px // 2 * 2
        ground = np.full((2, 2, 3), colours.GROUND, np.uint8)
        self._ground = [int(plane[0, 0]) for plane in rgb_to_planes(ground)]

    def planes(self, t: Fraction) -> tuple[U8, U8, U8]:
        """The picture ``t`` seconds after the card began; once settled the same arrays again."""
        if t >= SETTLED_S:
            return self._whole
        shares = [min(max(at / FADE_S, Fraction(0)), Fraction(1)) for at in (t, t - BODY_WAITS_S)]
        y, u, v = (
            self._mixed(plane, ground, top, shares)
            for plane, ground, top in zip(
                self._whole, self._ground, (self._top, self._top // 2, self._top // 2), strict=True
            )
        )
        return y, u, v

    @staticmethod
    def _mixed(whole: U8, ground: int, top: int, shares: list[Fraction]) -> U8:
        levels = np.arange(256)
        out = np.empty_like(whole)
        for rows, share in zip((slice(None, top), slice(top, None)), shares, strict=True):
            table = np.rint(ground + (levels - ground) * float(share)).astype(np.uint8)
            out[rows] = table[whole[rows]]
        return out


def _cut_to_ink(layer: U8) -> tuple[U8, tuple[int, int]]:
    """The part of a layer that has anything on it, and where its first pixel stands (x, y)."""
    rows = np.flatnonzero(layer[..., 3].any(axis=1))
    columns = np.flatnonzero(layer[..., 3].any(axis=0))
    if not rows.size:
        return layer[:2, :2], (0, 0)
    top, left = int(rows[0]), int(columns[0])
    return layer[top : rows[-1] + 1, left : columns[-1] + 1], (left, top)
