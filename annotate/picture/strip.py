"""The strip at the lower left: step and title above, the clocks and the speed in a row below.

A strip is drawn once for a step; after that only the figures that changed are patched, each from
a tile drawn once, so that a running clock costs next to nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from annotate.picture import colours, forms
from annotate.picture.colours import RGB, U8
from annotate.picture.direction import base_level
from annotate.picture.figures import Canvas, Field, FigureCase, Figures, Tile, bare_plate, tile
from annotate.picture.fonts import FontChain, TextMask, Weight
from annotate.picture.layout import Box, StripLayout, even_up
from annotate.picture.plates import ink
from annotate.picture.textfit import Fitted, fit
from chapters.errors import InputError


@dataclass(frozen=True, slots=True)
class Hatch:
    """The place of the speed's hatch and its tile for each number of stripes (0: bare plate)."""

    box: Box
    tiles: Mapping[int, Tile]


def _hatch(box: Box) -> Hatch:
    tiles = {}
    for stripes in (0, *forms.STRIPES):
        rgba = bare_plate(box.width_px, box.height_px)
        if stripes:
            ink(rgba, forms.hatch(box.width_px, box.height_px, stripes), colours.FAST, 0, 0)
        tiles[stripes] = tile(rgba)
    return Hatch(box, tiles)


@dataclass(slots=True)
class Strip:
    """A drawn strip: where it stands, its pixels, and the places that change."""

    box: Box
    canvas: Canvas
    clock: Field | None = None
    step_clock: Field | None = None
    speed: Field | None = None
    hatch: Hatch | None = None
    stripes: int = 0

    def show(self, clock: str, step_clock: str, speed: str, stripes: int) -> None:
        """Set the figures and the hatch; only what differs from what is shown is touched."""
        for place, text in (
            (self.clock, clock),
            (self.step_clock, step_clock),
            (self.speed, speed),
        ):
            if place is not None:
                place.show(self.canvas, text)
        if self.hatch is not None and self.stripes != stripes:
            box = self.hatch.box
            self.canvas.paste(self.hatch.tiles[stripes], box.x_px, box.y_px)
            self.stripes = stripes


@dataclass(frozen=True, slots=True)
class StripText:
    """What makes two strips different: everything on them but the running figures."""

    number: int
    count: int
    title: str
    mark: str
    clock_shape: str
    step_shape: str


@dataclass(frozen=True, slots=True)
class _Row:
    """The clocks' row: figures of two sizes, an optional label, the hatch's width."""

    clock: Figures
    small: Figures
    label: TextMask | None
    hatch_px: int
    gap_px: int
    width_px: int


#: The widest speed that can be shown, in figures.
_WIDEST_SPEEDS = ("100×", "88.8×")


#: Ways to draw the row, the largest first: scale of the letters, label or not, the hatch's length.
_ROW_TRIES = (
    (1.0, True, 3.0),
    (1.0, False, 3.0),
    (1.0, False, 1.8),
    (0.9, False, 1.8),
    (0.8, False, 1.5),
    (0.7, False, 1.2),
    (0.6, False, 1.2),
    (0.6, False, 0.0),
)


def _row(chain: FontChain, case: FigureCase, layout: StripLayout, text: StripText) -> _Row:
    """The row at the largest size that fits: without the label, then with a shorter hatch, if need be.

    Raises InputError where even the smallest row is too wide.
    """
    for scale, label_too, hatch_units in _ROW_TRIES:
        clock = case.at(max(10, round(layout.clock_px * scale)))
        small_px = max(8, round(layout.small_px * scale))
        small = case.at(small_px)
        gap = even_up(small_px * (0.8 if scale == 1.0 else 0.5))
        label = chain.draw("step", small_px) if label_too and text.step_shape else None
        hatch = even_up(small.above_px * hatch_units)
        width = clock.width_px(text.clock_shape)
        if text.step_shape:
            width += gap + small.width_px(text.step_shape)
            width += even_up(label.right_px) + gap // 4 * 2 if label else 0
        width += gap + hatch + gap // 4 * 2 + max(small.width_px(s) for s in _WIDEST_SPEEDS)
        if width <= layout.wide_px:
            break
    else:
        raise InputError(
            "the film is too narrow for its clocks; write height: 240 or more in the case file"
        )
    return _Row(clock, small, label, hatch, gap, width)


@dataclass(frozen=True, slots=True)
class _Line:
    mask: TextMask
    colour: RGB
    baseline_px: int


def _stack(
    chain: FontChain, fitted: Fitted, top_px: int, weight: Weight, colour: RGB
) -> tuple[list[_Line], int]:
    """Lines one below the other, none touching the next; also the first row below them."""
    lines = []
    y = top_px
    for i, text in enumerate(fitted.lines):
        mask = chain.draw(text, fitted.size_px, weight)
        above = max(-mask.top_px, round(fitted.size_px * 0.7))
        below = max(mask.top_px + mask.mask.shape[0], round(fitted.size_px * 0.2))
        y += above + (round(fitted.size_px * 0.16) if i else 0)
        lines.append(_Line(mask, colour, y))
        y += below
    return lines, y


@dataclass(frozen=True, slots=True)
class _Plan:
    """Everything on the strip measured and placed, before a pixel is drawn."""

    number: TextMask | None
    indent_px: int
    title: list[_Line]
    marks: list[_Line]
    row: _Row | None
    row_top_px: int
    inner_px: int
    height_px: int


def _plan(
    chain: FontChain, case: FigureCase, layout: StripLayout, text: StripText, most_lines: int
) -> _Plan:
    pad, gap = layout.pad_px, layout.gap_px
    row = _row(chain, case, layout, text) if text.clock_shape else None
    narrow = max(layout.narrow_px, row.width_px if row else 0)
    number = None
    if text.number:
        words = f"{text.number}/{text.count}" if text.count else f"{text.number}"
        number = chain.draw(words, layout.title_px)
    indent = math.ceil(number.right_px + layout.title_px * 0.5) if number else 0
    title = fit(
        chain,
        text.title,
        layout.title_px,
        weight="strong",
        narrow_px=narrow - indent,
        wide_px=layout.wide_px - indent,
        smallest_px=layout.smallest_px,
        most_lines=most_lines,
    )
    lines, y = _stack(chain, title, pad, "strong", colours.CHALK)
    if number and not lines:
        y = pad - number.top_px
    row_top = even_up(y + gap) if (lines or number) else pad
    if row:
        y = row_top + row.clock.height_px
    mark = fit(
        chain,
        text.mark,
        layout.small_px,
        weight="strong",
        narrow_px=narrow,
        wide_px=layout.wide_px,
        smallest_px=layout.smallest_px,
    )
    marks: list[_Line] = []
    if mark.lines:
        top = y + gap if (lines or number or row) else pad
        marks, y = _stack(chain, mark, top, "strong", colours.CHALK)
    inner = max(
        [indent + math.ceil(line.mask.right_px - min(line.mask.left_px, 0)) for line in lines]
        + [math.ceil(line.mask.right_px) for line in marks]
        + [row.width_px if row else 0, indent]
    )
    return _Plan(number, indent, lines, marks, row, row_top, inner, even_up(y + pad))


def build_strip(chain: FontChain, case: FigureCase, layout: StripLayout, text: StripText) -> Strip:
    """Draw everything on the strip that does not run. Raises InputError for a missing character."""
    for most_lines in (3, 2, 1):
        plan = _plan(chain, case, layout, text, most_lines)
        if plan.height_px <= layout.strip_most_px:
            break
    pad = layout.pad_px
    width = min(even_up(plan.inner_px), layout.wide_px) + 2 * pad
    rgba = bare_plate(width, plan.height_px, pad * 0.6)
    _write_title(rgba, plan, pad, base_level(text.title) == 1)
    for line in plan.marks:
        _write(rgba, line, pad)
    box = Box(layout.safe.x_px, layout.safe.bottom_px - plan.height_px, width, plan.height_px)
    return _with_row(box, rgba, plan.row, text, Box(pad, plan.row_top_px, plan.inner_px, 0))


def _write(rgba: U8, line: _Line, x_px: int) -> None:
    left = max(0, x_px + line.mask.left_px)
    ink(rgba, line.mask.mask, line.colour, left, line.baseline_px + line.mask.top_px)


def _write_title(rgba: U8, plan: _Plan, pad: int, mirrored: bool) -> None:
    """The number, then the title's lines beside it; a right-to-left title runs from the right edge."""
    right = rgba.shape[1] - pad
    number = plan.number
    if number:
        baseline = plan.title[0].baseline_px if plan.title else pad - number.top_px
        x = right - math.ceil(number.right_px) if mirrored else pad
        _write(rgba, _Line(number, colours.QUIET, baseline), x)
    for line in plan.title:
        x = right - plan.indent_px - math.ceil(line.mask.right_px)
        _write(rgba, line, x if mirrored else pad + plan.indent_px)


def _with_row(box: Box, rgba: U8, row: _Row | None, text: StripText, at: Box) -> Strip:
    """Lay the label down and make places for the figures and the hatch, on one baseline."""
    if row is None:
        return Strip(box, Canvas.of(rgba))
    baseline = at.y_px + row.clock.above_px
    x = at.x_px
    clock = Field(
        Box(x, at.y_px, row.clock.width_px(text.clock_shape), row.clock.height_px), row.clock
    )
    x = clock.box.right_px + row.gap_px
    small_y = (baseline - row.small.above_px) // 2 * 2
    step = None
    if text.step_shape:
        if row.label:
            _write(rgba, _Line(row.label, colours.QUIET, small_y + row.small.above_px), x)
            x += even_up(row.label.right_px) + row.gap_px // 4 * 2
        width = row.small.width_px(text.step_shape)
        step = Field(Box(x, small_y, width, row.small.height_px), row.small)
        x += width + row.gap_px
    hatch = None
    if row.hatch_px:
        hatch = _hatch(Box(x, small_y, row.hatch_px, row.small.above_px))
    x += row.hatch_px + row.gap_px // 4 * 2
    width = max(row.small.width_px(s) for s in _WIDEST_SPEEDS)
    speed = Field(Box(x, small_y, width, row.small.height_px), row.small)
    return Strip(box, Canvas.of(rgba), clock, step, speed, hatch)
