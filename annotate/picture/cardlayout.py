"""The title card and the closing card as values, and drawn as two see-through layers.

Values in, arrays out; ``cards`` puts the layers in motion. A card is a column of rows, each of
which knows its height; a column too high for the safe area is drawn with smaller letters.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from annotate import words
from annotate.picture import colours, forms
from annotate.picture.colours import RGB, U8
from annotate.picture.direction import base_level
from annotate.picture.fonts import FontChain, Weight
from annotate.picture.layout import Box, safe_area
from annotate.picture.plates import ink
from annotate.picture.textfit import fit
from chapters.case import Case
from chapters.errors import InputError
from chapters.steptimes import Ledger
from chapters.teeth import tooth_name
from chapters.times import round_half_up, short_clock_text


@dataclass(frozen=True, slots=True)
class TitleCard:
    """What the opening card says. ``mark`` is empty for a film that may be published."""

    title: str
    lines: tuple[str, ...]
    mark: str = ""


@dataclass(frozen=True, slots=True)
class ClosingCard:
    """What the closing card says: whole seconds of each kind of time, which add up, and the cautions."""

    real_s: int
    fast_s: int
    not_shown_s: int
    away_s: int
    cautions: tuple[str, ...] = words.CAUTIONS
    mark: str = ""

    @property
    def total_s(self) -> int:
        """All clinical time."""
        return self.real_s + self.fast_s + self.not_shown_s + self.away_s

    @property
    def sentence(self) -> str:
        """``Clinical time 36:00 = real 27:00 + fast 8:00 + not shown 0:00 + away 1:00``."""
        return (
            f"Clinical time {_length(self.total_s)} = real {_length(self.real_s)} "
            f"+ fast {_length(self.fast_s)} + not shown {_length(self.not_shown_s)} "
            f"+ away {_length(self.away_s)}"
        )


def _length(seconds: int) -> str:
    return short_clock_text(Fraction(seconds))


def title_card(case: Case) -> TitleCard:
    """The opening card of a case: title, procedure, tooth in both notations, subject, presenter."""
    lines = [case.procedure]
    if case.tooth is not None:
        lines.append(
            f"Tooth {case.tooth.fdi} (ISO 3950), {case.tooth.universal} (Universal): "
            f"{tooth_name(case.tooth)}"
        )
    if case.subject == "simulated":
        lines.append("Practice case, no patient")
    elif case.consent is not None:
        lines.append("Patient case, consent on record")
    else:
        lines.append("Patient case")
    lines.append(case.presenter)
    mark = "" if case.publishable else words.NOT_FOR_PUBLICATION
    return TitleCard(case.title, tuple(line for line in lines if line), mark)


def closing_card(case: Case, ledger: Ledger) -> ClosingCard:
    """The closing card: the ledger in whole seconds that still add up to the rounded total."""
    real, fast, hidden, away = whole_seconds(
        (ledger.real, ledger.fast, ledger.not_shown, ledger.away)
    )
    mark = "" if case.publishable else words.NOT_FOR_PUBLICATION
    return ClosingCard(real, fast, hidden, away, mark=mark)


def whole_seconds(parts: Sequence[Fraction]) -> tuple[int, ...]:
    """Each part rounded so that together they are the rounded sum (largest remainders go up)."""
    down = [part.numerator // part.denominator for part in parts]
    short = round_half_up(sum(parts, Fraction(0))) - sum(down)
    order = sorted(range(len(parts)), key=lambda i: (down[i] - parts[i], i))
    for i in order[:short]:
        down[i] += 1
    return tuple(down)


@dataclass(frozen=True, slots=True)
class _Row:
    """A band of the card: its height, how it is painted at a row, and on which layer it lies."""

    height_px: int
    paint: Callable[[U8, int], None]
    layer: int = 1


class _Column:
    """Collects rows at one scale of letters."""

    def __init__(self, fonts: FontChain, size_px: tuple[int, int], scale: float) -> None:
        self.fonts = fonts
        self.safe: Box = safe_area(*size_px)
        self.unit = min(size_px) / 30 * scale
        self.rows: list[_Row] = []

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
        size = max(6, round(self.unit * units))
        wide = self.safe.width_px
        fitted = fit(
            self.fonts, text, size, weight=weight, narrow_px=wide, wide_px=wide, most_lines=4
        )
        mirrored = base_level(text) == 1
        for line in fitted.lines:
            mask = self.fonts.draw(line, fitted.size_px, weight)
            rise = max(-mask.top_px, round(fitted.size_px * 0.8))
            fall = max(mask.top_px + mask.mask.shape[0], round(fitted.size_px * 0.28))
            x = self.safe.x_px + max(0, mask.left_px)
            if mirrored:
                x = self.safe.right_px - int(np.ceil(mask.right_px)) + mask.left_px

            def paint(
                canvas: U8, y: int, m: U8 = mask.mask, x: int = x, top: int = rise + mask.top_px
            ) -> None:
                ink(canvas, m, colour, x, y + top)

            self.rows.append(_Row(rise + fall, paint, layer))

    def mark(self, text: str) -> None:
        """The mark in an outlined box."""
        size = max(6, round(self.unit * 0.95))
        pad = max(3, round(size * 0.5))
        room = self.safe.width_px - 2 * pad
        fitted = fit(self.fonts, text, size, weight="strong", narrow_px=room, wide_px=room)
        masks = [self.fonts.draw(line, fitted.size_px, "strong") for line in fitted.lines]
        rise = max(-m.top_px for m in masks)
        fall = max(round(fitted.size_px * 0.3), *(m.top_px + m.mask.shape[0] for m in masks))
        width = int(max(np.ceil(m.right_px) for m in masks)) + 2 * pad
        height = len(masks) * (rise + fall) + 2 * pad - fall // 2
        line = max(2, round(size / 9))

        def paint(canvas: U8, y: int) -> None:
            frame = np.full((height, width), 255, np.uint8)
            frame[line:-line, line:-line] = 0
            ink(canvas, frame, colours.AWAY, self.safe.x_px, y)
            for i, mask in enumerate(masks):
                top = y + pad + rise + i * (rise + fall) + mask.top_px
                ink(
                    canvas,
                    mask.mask,
                    colours.CHALK,
                    self.safe.x_px + pad + max(0, mask.left_px),
                    top,
                )

        self.rows.append(_Row(height, paint))

    def bar(self, parts: Sequence[int]) -> None:
        """The kinds of time as one bar, each in its form, as long as its share."""
        height = max(8, round(self.unit * 1.7))
        total = sum(parts)
        shown = [n > 0 for n in parts]
        free = self.safe.width_px - 4 * sum(shown)
        widths = [max(6, round(free * n / total)) if n else 0 for n in parts]
        widest = widths.index(max(widths))
        widths[widest] -= max(0, sum(widths) - free)

        def paint(canvas: U8, y: int) -> None:
            x = self.safe.x_px
            for kind, width in enumerate(widths):
                if width:
                    mask, colour = kind_form(kind, width, height)
                    ink(canvas, mask, colour, x, y)
                    x += width + 4

        if total:
            self.rows.append(_Row(height, paint))

    def entry(self, kind: int, label: str, value: str, note: str) -> None:
        """One line of the table: form, words, length, share."""
        size = max(6, round(self.unit))
        form_height = round(size * 0.66)
        mask, colour = kind_form(kind, round(form_height * 2.4), form_height)
        texts = [
            (self.fonts.draw(label, size), 2.4, colours.CHALK, False),
            (self.fonts.draw(value, size, "strong"), 15.0, colours.CHALK, True),
            (self.fonts.draw(note, size), 18.2, colours.QUIET, True),
        ]

        def paint(canvas: U8, y: int) -> None:
            baseline = y + round(size * 0.9)
            ink(canvas, mask, colour, self.safe.x_px, baseline - form_height)
            for text, at, hue, from_right in texts:
                x = self.safe.x_px + round(at * size) + text.left_px
                if from_right:
                    x -= int(np.ceil(text.advance_px))
                ink(canvas, text.mask, hue, max(0, x), baseline + text.top_px)

        self.rows.append(_Row(round(size * 1.45), paint))

    @property
    def height_px(self) -> int:
        """Rows the whole column takes."""
        return sum(row.height_px for row in self.rows)


def kind_form(kind: int, width_px: int, height_px: int) -> tuple[U8, RGB]:
    """Form and colour of a kind of time: 0 real, 1 fast, 2 not shown, 3 away."""
    if kind == 0:
        return np.full((height_px, width_px), 255, np.uint8), colours.REAL
    if kind == 1:
        stripes = max(2, round(width_px / max(height_px * 0.42, 3)))
        return forms.hatch(width_px, height_px, stripes), colours.FAST
    if kind == 2:
        return forms.dotted_outline(width_px, height_px), colours.NOT_SHOWN
    post = max(2, height_px // 5)
    mask = np.zeros((height_px, width_px), np.uint8)
    mask[:, :post] = mask[:, -post:] = 255
    return mask, colours.AWAY


def _title_rows(card: TitleCard, column: _Column) -> None:
    column.text(card.title, 2.2, weight="strong", layer=0)
    column.gap(0.7)
    for line in card.lines:
        column.text(line, 1.15, colour=colours.QUIET)
        column.gap(0.12)
    if card.mark:
        column.gap(0.8)
        column.mark(card.mark)


_KINDS = ("shown in real time", "shown fast", "not shown", "away")


def _closing_rows(card: ClosingCard, column: _Column, table: bool) -> None:
    column.text(f"Clinical time {_length(card.total_s)}", 1.8, weight="strong", layer=0)
    column.gap(0.5)
    parts = (card.real_s, card.fast_s, card.not_shown_s, card.away_s)
    column.bar(parts)
    column.gap(0.7)
    if table:
        for kind, seconds in enumerate(parts):
            share = f"{round(100 * seconds / card.total_s)} %" if card.total_s else ""
            column.entry(kind, _KINDS[kind], _length(seconds), share)
        column.gap(0.4)
    column.text(card.sentence, 0.85, colour=colours.QUIET)
    column.gap(1.1)
    for caution in card.cautions:
        column.text(caution, 0.95)
    if card.mark:
        column.gap(0.7)
        column.mark(card.mark)


#: Scales of the letters that are tried, and whether the closing card keeps its table.
_TRIES = (
    *((scale / 20, True) for scale in range(20, 10, -1)),
    *((scale / 20, False) for scale in range(14, 3, -1)),
)


def card_layers(
    card: TitleCard | ClosingCard, size_px: tuple[int, int], fonts: FontChain
) -> tuple[U8, U8]:
    """Heading and body as two RGBA pictures of the film's size, clear where the ground shows.

    Raises InputError for a character that no font has, or where the safe area cannot hold the card.
    """
    for scale, table in _TRIES:
        column = _Column(fonts, size_px, scale)
        if isinstance(card, TitleCard):
            _title_rows(card, column)
        else:
            _closing_rows(card, column, table)
        if column.height_px <= column.safe.height_px:
            break
    else:
        raise InputError(
            f"a film of {size_px[0]}x{size_px[1]} pixels is too small for its cards; write "
            "height: 240 or more, or cards: no, in the case file"
        )
    width, height = size_px
    layers = (np.zeros((height, width, 4), np.uint8), np.zeros((height, width, 4), np.uint8))
    y = column.safe.y_px + max(0, (column.safe.height_px - column.height_px) * 2 // 5)
    for row in column.rows:
        row.paint(layers[row.layer], y)
        y += row.height_px
    return layers
