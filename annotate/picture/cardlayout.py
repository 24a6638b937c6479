"""The cards drawn as two see-through layers, heading and body: values in, arrays out.

A card is a column of rows, each of which knows its height. A column too high for the safe area
is drawn again with smaller letters, then without what the words already say. A card whose title
reads from right to left hangs from the right edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from annotate.picture import colours, forms
from annotate.picture.cardwords import (
    CLOCK_LINE,
    KINDS,
    ClosingCard,
    TitleCard,
    closing_card,
    length_text,
    title_card,
)
from annotate.picture.colours import RGB, U8
from annotate.picture.direction import base_level
from annotate.picture.fonts import FontChain, Weight
from annotate.picture.layout import Box, safe_area
from annotate.picture.plates import ink
from annotate.picture.textfit import fit
from chapters.errors import InputError

__all__ = ["bar_spans", "card_layers", "closing_card", "kind_form", "title_card"]

_Paint = Callable[[U8, int], None]


@dataclass(frozen=True, slots=True)
class _Row:
    """A band of the card: its height, how it is painted at a row, and on which layer it lies."""

    height_px: int
    paint: _Paint
    layer: int = 1


class _Column:
    """Collects rows at one scale of letters."""

    def __init__(
        self, fonts: FontChain, size_px: tuple[int, int], scale: float, mirrored: bool = False
    ) -> None:
        side = min(size_px)
        self.fonts = fonts
        self.safe: Box = safe_area(*size_px)
        self.unit = max(side / 27, min(11.0, side / 12)) * scale
        self.mirrored = mirrored
        self.rows: list[_Row] = []
        self.widest_px = 0

    def size_px(self, units: float) -> int:
        """A font size, never below what a raster can hold."""
        return max(6, round(self.unit * units))

    def left_px(self, width: float) -> int:
        """The first column of something this wide: at the left edge, mirrored at the right."""
        if self.mirrored:
            return max(self.safe.x_px, self.safe.right_px - math.ceil(width))
        return self.safe.x_px

    def gap(self, units: float) -> None:
        """Empty rows."""
        self.rows.append(_Row(round(self.unit * units), lambda canvas, y: None))

    def text(
        self,
        text: str,
        units: float,
        *,
        weight: Weight = "regular",
        colour: RGB = colours.CHALK,
        layer: int = 1,
    ) -> None:
        """A text on as many lines as it needs, of letters ``units`` times the card's unit."""
        size, wide = self.size_px(units), self.safe.width_px
        fitted = fit(
            self.fonts, text, size, weight=weight, narrow_px=wide, wide_px=wide, most_lines=4
        )
        for line in fitted.lines:
            mask = self.fonts.draw(line, fitted.size_px, weight)
            rise = max(-mask.top_px, round(fitted.size_px * 0.86))
            fall = max(mask.top_px + mask.mask.shape[0], round(fitted.size_px * 0.34))
            left = max(self.safe.x_px, self.left_px(mask.right_px) + mask.left_px)

            def paint(
                canvas: U8,
                y: int,
                ink_mask: U8 = mask.mask,
                x: int = left,
                top: int = rise + mask.top_px,
            ) -> None:
                ink(canvas, ink_mask, colour, x, y + top)

            self.rows.append(_Row(rise + fall, paint, layer))

    def mark(self, text: str) -> None:
        """The mark in an outlined box."""
        size = self.size_px(0.95)
        pad = max(3, round(size * 0.5))
        room = self.safe.width_px - 2 * pad
        fitted = fit(self.fonts, text, size, weight="strong", narrow_px=room, wide_px=room)
        masks = [self.fonts.draw(line, fitted.size_px, "strong") for line in fitted.lines]
        rise = max(-m.top_px for m in masks)
        fall = max(round(fitted.size_px * 0.3), *(m.top_px + m.mask.shape[0] for m in masks))
        width = math.ceil(max(m.right_px for m in masks)) + 2 * pad
        height = len(masks) * (rise + fall) + 2 * pad - fall // 2
        thick = max(2, round(size / 9))
        left = self.left_px(width)

        def paint(canvas: U8, y: int) -> None:
            frame = np.full((height, width), 255, np.uint8)
            frame[thick:-thick, thick:-thick] = 0
            ink(canvas, frame, colours.AWAY, left, y)
            for i, mask in enumerate(masks):
                top = y + pad + rise + i * (rise + fall) + mask.top_px
                ink(canvas, mask.mask, colours.CHALK, left + pad + max(0, mask.left_px), top)

        self.rows.append(_Row(height, paint))

    def bar(self, parts: Sequence[int]) -> None:
        """The kinds of time as one bar, each in its form, as long as its share."""
        height = max(8, round(self.unit * 1.6))
        spans = bar_spans(
            parts, self.safe.width_px, gap_px=max(3, height // 8), least_px=height // 3
        )

        def paint(canvas: U8, y: int) -> None:
            for kind, (start, width) in enumerate(spans):
                if width:
                    mask, colour = kind_form(kind, width, height)
                    ink(canvas, mask, colour, self.safe.x_px + start, y)

        if any(parts):
            self.rows.append(_Row(height, paint))

    def entry(self, kind: int, texts: Sequence[tuple[str, float, Weight, RGB]]) -> None:
        """One line of the table: the form, a label, then figures that end at their column (units)."""
        size = self.size_px(1.0)
        form_height = round(size * 0.66)
        mask, colour = kind_form(kind, round(form_height * 2.6), form_height)
        drawn = []
        for number, (text, at, weight, hue) in enumerate(texts):
            made = self.fonts.draw(text, size, weight)
            x = self.safe.x_px + round(at * size) + made.left_px
            x -= math.ceil(made.advance_px) if number else 0
            x = max(self.safe.x_px, x)
            drawn.append((made, x, hue))
            self.widest_px = max(self.widest_px, x + made.mask.shape[1] - self.safe.x_px)

        def paint(canvas: U8, y: int) -> None:
            baseline = y + size
            ink(canvas, mask, colour, self.safe.x_px, baseline - form_height)
            for made, x, hue in drawn:
                ink(canvas, made.mask, hue, x, baseline + made.top_px)

        self.rows.append(_Row(round(size * 1.5), paint))

    def key(self) -> None:
        """The forms of the unusual kinds of time with their names, on one line where they fit."""
        size = self.size_px(0.8)
        height = round(size * 0.66)
        cells = []
        for kind in (1, 2, 3):
            made = self.fonts.draw(KINDS[kind], size)
            mask, colour = kind_form(kind, round(height * 2.6), height)
            cells.append(
                (mask, colour, made, math.ceil(mask.shape[1] + 0.5 * size + made.right_px))
            )
        gap = round(size * 1.6)
        width = sum(cell[3] for cell in cells) + 2 * gap
        if width > self.safe.width_px:
            return
        left = self.left_px(width)

        def paint(canvas: U8, y: int) -> None:
            x, baseline = left, y + size
            for mask, colour, made, step in cells:
                ink(canvas, mask, colour, x, baseline - height)
                start = x + mask.shape[1] + round(0.5 * size) + made.left_px
                ink(canvas, made.mask, colours.QUIET, start, baseline + made.top_px)
                x += step + gap

        self.rows.append(_Row(round(size * 1.4), paint))

    @property
    def height_px(self) -> int:
        """Rows the whole column takes."""
        return sum(row.height_px for row in self.rows)

    @property
    def fits(self) -> bool:
        """Whether the safe area holds every row."""
        return self.height_px <= self.safe.height_px and self.widest_px <= self.safe.width_px


def bar_spans(
    parts: Sequence[int], width_px: int, *, gap_px: int, least_px: int
) -> list[tuple[int, int]]:
    """(start, width) of each part on a bar; parts of nothing have no width, small ones the least."""
    total = sum(parts)
    shown = sum(1 for part in parts if part)
    free = width_px - gap_px * max(0, shown - 1)
    widths = [max(least_px, round(free * part / total)) if part else 0 for part in parts]
    while sum(widths) > free and max(widths) > least_px:
        widths[widths.index(max(widths))] -= sum(widths) - free
    out, x = [], 0
    for width in widths:
        out.append((x, width))
        x += width + gap_px if width else 0
    return out


def kind_form(kind: int, width_px: int, height_px: int) -> tuple[U8, RGB]:
    """Form and colour of a kind of time: 0 real, 1 fast, 2 not shown, 3 away."""
    if kind == 0:
        return np.full((height_px, width_px), 255, np.uint8), colours.REAL
    if kind == 1:
        stripes = max(2, round(width_px / max(height_px * 0.42, 3)))
        return forms.hatch(width_px, height_px, stripes), colours.FAST
    if kind == 2:
        return forms.dotted_outline(width_px, height_px), colours.NOT_SHOWN
    return forms.two_posts(width_px, height_px), colours.AWAY


def _title_rows(card: TitleCard, column: _Column, full: bool) -> None:
    column.text(card.title, 2.2, weight="strong", layer=0)
    column.gap(0.5)
    for line in card.lines:
        column.text(line, 1.15, colour=colours.QUIET)
    if card.mark:
        column.gap(0.8)
        column.mark(card.mark)
    if full:
        column.gap(2.2)
        column.text(CLOCK_LINE, 0.8, colour=colours.QUIET)
        column.key()


def _closing_rows(card: ClosingCard, column: _Column, full: bool) -> None:
    column.text(f"Clinical time {length_text(card.total_s)}", 1.9, weight="strong", layer=0)
    column.gap(0.5)
    column.bar(card.parts_s)
    column.gap(0.6)
    if full:
        for kind, seconds in enumerate(card.parts_s):
            share = f"{round(100 * seconds / card.total_s)} %" if card.total_s else ""
            column.entry(
                kind,
                (
                    (KINDS[kind], 2.5, "regular", colours.CHALK),
                    (length_text(seconds), 14.5, "strong", colours.CHALK),
                    (share, 18.0, "regular", colours.QUIET),
                ),
            )
        column.gap(0.4)
    column.text(card.sentence, 0.85, colour=colours.QUIET)
    column.gap(1.2)
    for caution in card.cautions:
        column.text(caution, 0.95)
    if card.mark:
        column.gap(0.7)
        column.mark(card.mark)


#: Scales of the letters that are tried, and whether the card is drawn in full.
_TRIES = (
    *((scale / 20, True) for scale in range(20, 13, -1)),
    *((scale / 20, False) for scale in range(20, 5, -1)),
)


def card_layers(
    card: TitleCard | ClosingCard, size_px: tuple[int, int], fonts: FontChain
) -> tuple[U8, U8]:
    """Heading and body as two RGBA pictures of the film's size, clear where the ground shows.

    Raises InputError for a character that no font has, or where the safe area cannot hold the card.
    """
    mirrored = isinstance(card, TitleCard) and base_level(card.title) == 1
    for scale, full in _TRIES:
        column = _Column(fonts, size_px, scale, mirrored)
        if isinstance(card, TitleCard):
            _title_rows(card, column, full)
        else:
            _closing_rows(card, column, full)
        if column.fits:
            break
    else:
        raise InputError(
            f"a film of {size_px[0]}x{size_px[1]} pixels is too small for its cards; write "
            "height: 240 or more, or cards: no, in the case file"
        )
    width, height = size_px
    layers = (np.zeros((height, width, 4), np.uint8), np.zeros((height, width, 4), np.uint8))
    y = column.safe.y_px + (column.safe.height_px - column.height_px) * 2 // 5
    for row in column.rows:
        row.paint(layers[row.layer], y)
        y += row.height_px
    return layers
