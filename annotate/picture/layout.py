"""Where things stand on the film: pure geometry from the picture's size, in whole pixels.

Everything drawn stays inside the graphics-safe area of EBU R 95 (v1.1, 2017): 5 % of the width
and of the height from each edge. Sizes follow the picture's shorter side, so that a portrait
film's letters are as large as a landscape one's of the same class, and never fall below what can
still be read.
"""

from __future__ import annotations

from dataclasses import dataclass

#: EBU R 95 graphics-safe: share of the width (height) kept clear at each edge, as a fraction 1/20.
SAFE_PER_EDGE = 20
#: Smallest letters that can be told apart on a picture of the usual kind, pixels of font size.
SMALLEST_PX = 9
#: On a picture with a shorter side than this no clock can be read.
SMALLEST_PICTURE_PX = 112

#: A picture with a shorter side than this has to give the overlay more than its lower third.
ROOMY_PX = 200


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of whole pixels; ``right_px`` and ``bottom_px`` are one past the last."""

    x_px: int
    y_px: int
    width_px: int
    height_px: int

    @property
    def right_px(self) -> int:
        """The first column to the right of the box."""
        return self.x_px + self.width_px

    @property
    def bottom_px(self) -> int:
        """The first row below the box."""
        return self.y_px + self.height_px

    def holds(self, other: Box) -> bool:
        """Whether the other box lies wholly inside this one."""
        return (
            self.x_px <= other.x_px
            and self.y_px <= other.y_px
            and other.right_px <= self.right_px
            and other.bottom_px <= self.bottom_px
        )


def even_up(value: float) -> int:
    """The smallest even whole number not below the value (4:2:0 planes pair their pixels)."""
    return -int(-value // 2) * 2


def safe_area(width_px: int, height_px: int) -> Box:
    """The graphics-safe area, rounded inward to even pixels."""
    left = even_up(width_px / SAFE_PER_EDGE)
    top = even_up(height_px / SAFE_PER_EDGE)
    right = (width_px * (SAFE_PER_EDGE - 1) // SAFE_PER_EDGE) // 2 * 2
    bottom = (height_px * (SAFE_PER_EDGE - 1) // SAFE_PER_EDGE) // 2 * 2
    return Box(left, top, right - left, bottom - top)


@dataclass(frozen=True, slots=True)
class StripLayout:
    """Sizes of the overlay strip. Font sizes and distances are in pixels.

    ``narrow_px`` is the width the strip keeps to, ``wide_px`` the most a long title may take;
    ``strip_most_px`` is the most rows the strip takes before its title is given fewer lines,
    ``smallest_px`` the size below which no
    letters shrink, and ``event_lines`` how many lines one event may have.
    """

    safe: Box
    title_px: int
    clock_px: int
    small_px: int
    pad_px: int
    gap_px: int
    narrow_px: int
    wide_px: int
    strip_most_px: int
    smallest_px: int
    event_lines: int


def strip_layout(width_px: int, height_px: int) -> StripLayout:
    """The strip's sizes for a picture; raises ValueError below SMALLEST_PICTURE_PX."""
    if min(width_px, height_px) < SMALLEST_PICTURE_PX:
        raise ValueError(f"a picture of {width_px}x{height_px} has no room for the overlay")
    side = min(height_px, width_px)
    safe = safe_area(width_px, height_px)
    title = max(round(side / 30), min(SMALLEST_PX + 2, side // 11))
    clock = max(round(side / 17), min(18, side // 7))
    small = max(round(side / 34), min(SMALLEST_PX + 1, side // 12))
    pad = even_up(max(2, title * 0.45))
    share = 0.52 if width_px > height_px else 0.9
    return StripLayout(
        safe=safe,
        title_px=title,
        clock_px=clock,
        small_px=small,
        pad_px=pad,
        gap_px=max(2, round(title * 0.35)),
        narrow_px=min(safe.width_px, int(safe.width_px * share)) - 2 * pad,
        wide_px=safe.width_px - 2 * pad,
        strip_most_px=int(safe.height_px * (0.4 if side >= ROOMY_PX else 0.72)),
        smallest_px=SMALLEST_PX if side >= ROOMY_PX else SMALLEST_PX - 2,
        event_lines=2 if side >= ROOMY_PX else 1,
    )
