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
from typing import Generic, TypeVar

from annotate.picture import forms
from annotate.picture.burnt import BurntCaptions
from annotate.picture.colours import U8
from annotate.picture.events import (
    EventKind,
    EventLine,
    EventPlate,
    EventText,
    build_event,
    split_event,
)
from annotate.picture.figures import FigureCase, shape_of
from annotate.picture.fonts import FontChain
from annotate.picture.layout import SMALLEST_PICTURE_PX, Box, even_up, strip_layout
from annotate.picture.plates import blend
from annotate.picture.strip import Strip, StripText, build_strip
from chapters.errors import InputError
from chapters.times import (
    ClinicalTime,
    clock_text,
    duration_text,
    round_half_up,
    short_clock_text,
    speed_text,
)

__all__ = [
    "COUNT_UP_S",
    "STAY_S",
    "EventKind",
    "EventLine",
    "Overlay",
    "OverlayFace",
    "Places",
    "counted",
    "event_text",
]

#: More event lines than this on one frame are past reading; the newest are shown.
_MOST_EVENTS = 6
#: An event line counts up this long, then stays.
COUNT_UP_S = Fraction(1, 2)
STAY_S = Fraction(5, 2)


@dataclass(frozen=True, slots=True)
class OverlayFace:
    """Everything the overlay shows on one frame.

    ``clock`` and ``step_clock`` None hide that clock; a ``speed`` of 1 shows none; an empty
    ``mark`` shows none; ``number`` 0 hides the number. ``caption`` are the lines of a caption that
    is part of the picture.
    """

    number: int
    count: int
    title: str
    clock: ClinicalTime | None
    step_clock: Fraction | None
    speed: Fraction = Fraction(1)
    events: tuple[EventLine, ...] = ()
    mark: str = ""
    caption: tuple[str, ...] = ()


def event_text(
    kind: EventKind, seconds_shown: Fraction, reason: str = "", *, tenths: bool = False
) -> str:
    """``+3:10 not shown``, ``+1:00 away: check radiograph``; a length, rounded to the second.

    ``tenths``: for a length below a second, ``+0.2 s not shown``, never nothing at all.
    """
    words = "not shown" if kind == "not_shown" else "away"
    tail = f": {reason}" if reason else ""
    length = f"{max(1, round_half_up(seconds_shown * 10)) / 10} s"
    return f"+{length if tenths else duration_text(seconds_shown)} {words}{tail}"


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
        if min(size_px) < SMALLEST_PICTURE_PX:
            raise InputError(
                f"a film of {size_px[0]}x{size_px[1]} pixels is too small for the clock; "
                f"write height: 240 or more in the case file"
            )
        self._layout = strip_layout(*size_px)
        case = FigureCase(fonts)
        self._strips: _Recent[StripText, Strip] = _Recent(
            4, lambda text: build_strip(fonts, case, self._layout, text)
        )
        # By place too: two lines of the same words may show two lengths on one frame.
        self._events: _Recent[tuple[int, EventText], EventPlate] = _Recent(
            12, lambda key: build_event(fonts, case, self._layout, key[1])
        )
        self._captions = BurntCaptions(fonts, size_px)

    def draw(self, y: U8, u: U8, v: U8, face: OverlayFace) -> None:
        """Blend the face into the planes in place; y is (height, width), u and v half of that.

        Raises InputError where a text needs a character that no font has.
        """
        strip = self._strip(face)
        blend(y, u, v, strip.canvas.ready, strip.box.x_px, strip.box.y_px)
        for made, box in self._stacked(face, strip.box):
            blend(y, u, v, made.canvas.ready, box.x_px, box.y_px)
        if face.caption:
            ready, box = self._captions.ready(face.caption)
            blend(y, u, v, ready, box.x_px, box.y_px)

    def rgba(self, face: OverlayFace) -> list[tuple[Box, U8]]:
        """The face's plates as RGBA pictures (straight alpha) with their places."""
        strip = self._strip(face)
        return [
            (strip.box, strip.canvas.rgba.copy()),
            *((box, made.canvas.rgba.copy()) for made, box in self._stacked(face, strip.box)),
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
            hatch=moved(strip.hatch.box) if strip.hatch and strip.stripes else None,
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

    def _stacked(self, face: OverlayFace, strip: Box) -> list[tuple[EventPlate, Box]]:
        """Event plates above the strip, the last one nearest to it.

        Lines that would leave the safe area are left out, the oldest first.
        """
        out: list[tuple[EventPlate, Box]] = []
        bottom = strip.y_px
        for number, event in enumerate(reversed(face.events[-_MOST_EVENTS:])):
            figures, text = split_event(event)
            made = self._events((number, text))
            made.show(figures)
            height, width = made.canvas.rgba.shape[:2]
            bottom -= even_up(self._layout.gap_px) + height
            if bottom < self._layout.safe.y_px:
                break
            out.append((made, Box(strip.x_px, bottom, width, height)))
        return out[::-1]


def _room_for(step_clock: str) -> str:
    """The room a step's clock is given: five figures, so that the strip keeps its width past 9:59."""
    if not step_clock:
        return ""
    return max("00:00", shape_of(step_clock), key=len)
