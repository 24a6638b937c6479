"""Lines that say time passed unseen, each on a plate of its own: its form, its length, its reason.

The length counts up, so its figures are tiles and the rest of the line is drawn once.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from annotate.picture import colours, forms
from annotate.picture.figures import Canvas, Field, FigureCase, bare_plate, shape_of
from annotate.picture.fonts import FontChain
from annotate.picture.layout import Box, StripLayout, even_up
from annotate.picture.plates import ink
from annotate.picture.textfit import fit

EventKind = Literal["not_shown", "away"]

_LENGTH = re.compile(r"\+[0-9:]+(?= )")


@dataclass(frozen=True, slots=True)
class EventLine:
    """A line that says time passed unseen: its words, and which kind of time it was."""

    text: str
    kind: EventKind


@dataclass(frozen=True, slots=True)
class EventText:
    """What makes two event plates different: all but the figures. ``shape`` is the room of those."""

    shape: str
    words: str
    kind: EventKind


def split_event(event: EventLine) -> tuple[str, EventText]:
    """The line's leading length (empty where it has none), and the rest."""
    found = _LENGTH.match(event.text)
    figures = found[0] if found else ""
    return figures, EventText(shape_of(figures), event.text[len(figures) :].strip(), event.kind)


@dataclass(slots=True)
class EventPlate:
    """A drawn event line and the place of its figures."""

    canvas: Canvas
    length: Field | None

    def show(self, figures: str) -> None:
        """Set the length."""
        if self.length is not None:
            self.length.show(self.canvas, figures)


def build_event(
    chain: FontChain, case: FigureCase, layout: StripLayout, text: EventText
) -> EventPlate:
    """Draw one event's form and words. Raises InputError for a character that no font has."""
    pad, size = layout.pad_px, layout.small_px
    figures = case.at(size)
    form_height = max(6, round(size * 0.66))
    form_width = round(form_height * 1.7)
    start = even_up(pad + form_width + max(3, size * 0.45))
    lead = 0
    if text.shape:
        lead = figures.width_px(text.shape) + round(chain.width_px("x x", size) / 5)
    indent = start - pad + lead
    fitted = fit(
        chain,
        text.words,
        size,
        weight="strong",
        narrow_px=max(layout.narrow_px, layout.wide_px * 0.75) - indent,
        wide_px=layout.wide_px - indent,
        smallest_px=layout.smallest_px,
        most_lines=layout.event_lines,
    )
    masks = [chain.draw(line, fitted.size_px, "strong") for line in fitted.lines]
    rise = max([figures.above_px, *(-m.top_px for m in masks)])
    fall = max([round(size * 0.22), *(m.top_px + m.mask.shape[0] for m in masks)])
    inner = indent + max([0, *(math.ceil(m.right_px - min(m.left_px, 0)) for m in masks)])
    gap = max(2, pad // 2)
    baseline = even_up(gap + rise)
    step = rise + fall
    height = even_up(baseline + max(0, len(masks) - 1) * step + fall + gap)
    rgba = bare_plate(even_up(inner) + 2 * pad, height, pad * 0.6)
    if text.kind == "away":
        form, colour = forms.two_posts(form_width, form_height), colours.AWAY
    else:
        form, colour = forms.dotted_outline(form_width, form_height), colours.NOT_SHOWN
    ink(rgba, form, colour, pad, baseline - form_height)
    for number, mask in enumerate(masks):
        left = start + lead + max(0, mask.left_px)
        ink(rgba, mask.mask, colours.CHALK, left, baseline + number * step + mask.top_px)
    length = None
    if text.shape:
        top = baseline - figures.above_px
        width = figures.width_px(text.shape)
        length = Field(Box(start, top, width, figures.height_px), figures)
    return EventPlate(Canvas.of(rgba), length)
