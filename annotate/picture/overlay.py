"""The overlay: a face of values in, dark plates with the clock blended into the picture's planes.

Drawing is a pure function of the face; what is kept between frames only saves work. One
``Overlay`` serves one thread.
"""

from __future__ import annotations

import itertools
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Generic, Literal, TypeVar

import numpy as np

from annotate.picture import colours, forms
from annotate.picture.colours import U8
from annotate.picture.fonts import FontChain
from annotate.picture.layout import SMALLEST_PICTURE_PX, Box, even_up, strip_layout
from annotate.picture.plates import Prepared, blend, ink, plate, prepare
from annotate.picture.strip import PLATE_ALPHA, Strip, StripText, build_strip, shape_of
from annotate.picture.textfit import fit
from chapters.errors import InputError
from chapters.times import (
    ClinicalTime,
    clock_text,
    duration_text,
    short_clock_text,
    speed_text,
)

EventKind = Literal["not_shown", "away"]

#: An event line counts up this long, then stays.
COUNT_UP_S = Fraction(1, 2)
STAY_S = Fraction(5, 2)


@dataclass(frozen=True, slots=True)
class EventLine:
    """A line that says time passed unseen: its words, and which kind of time it was."""

    text: str
    kind: EventKind


@dataclass(frozen=True, slots=True)
class OverlayFace:
    """Everything the overlay shows on one frame.

    ``clock`` and ``step_clock`` None hide that clock; a ``speed`` of 1 shows none; an empty
    ``mark`` shows none; ``number`` 0 hides the number.
    """

    number: int
    count: int
    title: str
    clock: ClinicalTime | None
    step_clock: Fraction | None
    speed: Fraction = Fraction(1)
    events: tuple[EventLine, ...] = ()
    mark: str = ""


def event_text(kind: EventKind, seconds_shown: Fraction, reason: str = "") -> str:
    """``+3:10 not shown``, ``+1:00 away: check radiograph``; a length, rounded to the second."""
    words = "not shown" if kind == "not_shown" else "away"
    tail = f": {reason}" if reason else ""
    return f"+{duration_text(seconds_shown)} {words}{tail}"


def counted(length: Fraction, since: Fraction) -> Fraction | None:
    """How much of ``length`` a line shows ``since`` seconds after its event; None when it is gone."""
    if since < 0 or since >= COUNT_UP_S + STAY_S:
        return None
    return length * min(Fraction(1), since / COUNT_UP_S)


@dataclass(frozen=True, slots=True)
class Places:
    """Where a face's parts stand on the picture, in pixels; None for what is not shown."""

    strip: Box
    clock: Box | None
    clock_cells: tuple[Box, ...]
    step_clock: Box | None
    speed: Box | None
    hatch: Box | None
    events: tuple[Box, ...]


@dataclass(frozen=True, slots=True)
class _EventPlate:
    rgba: U8
    ready: Prepared


_K = TypeVar("_K")
_V = TypeVar("_V")


class _Recent(Generic[_K, _V]):
    """The last few values made, by their key."""

    def __init__(self, most: int, make: Callable[[_K], _V]) -> None:
        self._most, self._make = most, make
        self._held: OrderedDict[_K, _V] = OrderedDict()

    def __call__(self, key: _K) -> _V:
        if key in self._held:
            self._held.move_to_end(key)
            return self._held[key]
        value = self._held[key] = self._make(key)
        if len(self._held) > self._most:
            self._held.popitem(last=False)
        return value


class Overlay:
    """Draws faces onto pictures of one size, ``size_px`` = (width, height).

    Raises InputError for a picture too small to hold a clock that can be read.
    """

    def __init__(self, size_px: tuple[int, int], fonts: FontChain) -> None:
        self.size_px = size_px
        self._fonts = fonts
        if min(size_px) < SMALLEST_PICTURE_PX:
            raise InputError(
                f"a film of {size_px[0]}x{size_px[1]} pixels is too small for the clock; "
                f"write height: 240 or more in the case file"
            )
        self._layout = strip_layout(*size_px)
        self._strips: _Recent[StripText, Strip] = _Recent(
            4, lambda text: build_strip(fonts, self._layout, text)
        )
        self._events: _Recent[EventLine, _EventPlate] = _Recent(24, self._event_plate)

    def draw(self, y: U8, u: U8, v: U8, face: OverlayFace) -> None:
        """Blend the face into the planes in place; y is (height, width), u and v half of that.

        Raises InputError where a text needs a character that no font has.
        """
        strip = self._strip(face)
        blend(y, u, v, strip.ready, strip.box.x_px, strip.box.y_px)
        for made, box in self._stacked(face, strip.box):
            blend(y, u, v, made.ready, box.x_px, box.y_px)

    def rgba(self, face: OverlayFace) -> list[tuple[Box, U8]]:
        """The face's plates as RGBA pictures (straight alpha) with their places."""
        strip = self._strip(face)
        return [
            (strip.box, strip.rgba.copy()),
            *((box, made.rgba) for made, box in self._stacked(face, strip.box)),
        ]

    def places(self, face: OverlayFace) -> Places:
        """Where the parts of the face stand on the picture."""
        strip = self._strip(face)
        origin = strip.box

        def moved(box: Box) -> Box:
            return Box(box.x_px + origin.x_px, box.y_px + origin.y_px, box.width_px, box.height_px)

        cells: list[Box] = []
        if strip.clock:
            edges = [x for _, x in strip.clock.cells(strip.clock.shown)]
            edges.append(strip.clock.box.right_px)
            cells = [
                moved(Box(a, strip.clock.box.y_px, b - a, strip.clock.box.height_px))
                for a, b in itertools.pairwise(edges)
            ]
        fast = face.speed != 1
        return Places(
            strip=origin,
            clock=moved(strip.clock.box) if strip.clock else None,
            clock_cells=tuple(cells),
            step_clock=moved(strip.step_clock.box) if strip.step_clock else None,
            speed=moved(strip.speed.box) if strip.speed and fast else None,
            hatch=moved(strip.hatch) if strip.hatch and strip.stripes else None,
            events=tuple(box for _, box in self._stacked(face, origin)),
        )

    def _strip(self, face: OverlayFace) -> Strip:
        clock = "" if face.clock is None else clock_text(face.clock)
        step_clock = "" if face.step_clock is None else short_clock_text(face.step_clock)
        strip = self._strips(
            StripText(
                number=face.number,
                count=face.count,
                title=face.title,
                mark=face.mark,
                clock_shape=shape_of(clock),
                step_shape=_room_for(step_clock),
            )
        )
        speed = "" if face.speed == 1 else speed_text(face.speed)
        strip.show(clock, step_clock, speed, forms.stripes_for(face.speed))
        return strip

    def _stacked(self, face: OverlayFace, strip: Box) -> list[tuple[_EventPlate, Box]]:
        """Event plates above the strip, the last one nearest to it.

        Lines that would leave the safe area are left out, the oldest first.
        """
        out: list[tuple[_EventPlate, Box]] = []
        bottom = strip.y_px
        for event in reversed(face.events):
            made = self._events(event)
            height, width = made.rgba.shape[:2]
            bottom -= even_up(self._layout.gap_px) + height
            if bottom < self._layout.safe.y_px:
                break
            out.append((made, Box(strip.x_px, bottom, width, height)))
        return out[::-1]

    def _event_plate(self, event: EventLine) -> _EventPlate:
        """Form and words of one event on a plate of their own."""
        layout, pad = self._layout, self._layout.pad_px
        form_height = max(6, round(layout.small_px * 0.66))
        form_width = round(form_height * 1.7)
        indent = form_width + max(3, round(layout.small_px * 0.45))
        fitted = fit(
            self._fonts,
            event.text,
            layout.small_px,
            weight="strong",
            narrow_px=max(layout.narrow_px, layout.wide_px * 0.75) - indent,
            wide_px=layout.wide_px - indent,
            smallest_px=layout.smallest_px,
            most_lines=layout.event_lines,
        )
        masks = [self._fonts.draw(line, fitted.size_px, "strong") for line in fitted.lines]
        rise = max([round(fitted.size_px * 0.75), *(-m.top_px for m in masks)])
        fall = max([round(fitted.size_px * 0.22), *(m.top_px + m.mask.shape[0] for m in masks)])
        inner = indent + max([0, *(int(np.ceil(m.right_px)) for m in masks)])
        gap = max(2, pad // 2)
        width = even_up(inner) + 2 * pad
        height = even_up(2 * gap + len(masks) * (rise + fall))
        rgba = plate(width, height, colours.GROUND, PLATE_ALPHA, radius_px=pad * 0.6)
        baseline = gap + rise
        if event.kind == "away":
            form, colour = forms.two_posts(form_width, form_height), colours.AWAY
        else:
            form, colour = forms.dotted_outline(form_width, form_height), colours.NOT_SHOWN
        ink(rgba, form, colour, pad, baseline - form_height)
        for mask in masks:
            ink(
                rgba,
                mask.mask,
                colours.CHALK,
                max(0, pad + indent + mask.left_px),
                baseline + mask.top_px,
            )
            baseline += rise + fall
        return _EventPlate(rgba, prepare(rgba))


def _room_for(step_clock: str) -> str:
    """The room a step's clock is given: five figures, so that the strip keeps its width past 9:59."""
    if not step_clock:
        return ""
    return max("00:00", shape_of(step_clock), key=len)
