"""The parts that the step-time plot is made of, as values in pixels at 1280 wide, and its words."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from annotate.picture.colours import INK, RGB
from annotate.picture.fonts import Weight
from chapters.steptimes import StepTime
from chapters.times import duration_text

Form = Literal["real", "fast", "not_shown", "away"]

WIDTH_PX = 1280
MARGIN_PX = 40
TITLES_PX = 330
RIGHT_PX = 250
LEAST_HEIGHT_PX = 720
#: Quiet ink for second lines: 5.9 to 1 on the paper (WCAG 2.2, 1.4.3 asks 4.5).
SOFT: RGB = (0x56, 0x5D, 0x68)
#: Vermilion dark enough for small words on the paper: 5.8 to 1.
AWAY_INK: RGB = (0xA3, 0x46, 0x00)
#: Tick distances in seconds, from which the one that gives four to nine ticks is taken.
TICKS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 36000)
#: An expected range that ends beyond this many times the case's length is drawn open-ended.
FARTHEST = Fraction(5, 4)


@dataclass(frozen=True, slots=True)
class Label:
    """One line of text: ``x`` is its left edge, right edge or middle, ``baseline`` its baseline."""

    text: str
    x: float
    baseline: float
    size_px: int
    weight: Weight = "regular"
    colour: RGB = INK
    anchor: Literal["left", "right", "middle"] = "left"
    plate: bool = False


@dataclass(frozen=True, slots=True)
class Bar:
    """One stretch of clinical time: a box (left, top, width, height) in its kind's form."""

    form: Form
    left: float
    top: float
    width: float
    height: float
    speed: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class Bracket:
    """The expected range under a bar; ``open_end`` where it runs past the plot."""

    left: float
    right: float
    top: float
    open_end: bool


@dataclass(slots=True)
class Plot:
    """Everything to draw. ``ticks`` are x positions, ``lanes`` the y of the lines between lanes.

    ``bands`` are the left and right edges of times away, ``plates`` dark boxes under light words.
    """

    height: float = 0.0
    labels: list[Label] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)
    brackets: list[Bracket] = field(default_factory=list)
    ticks: list[float] = field(default_factory=list)
    lanes: list[float] = field(default_factory=list)
    bands: list[tuple[float, float]] = field(default_factory=list)
    plates: list[tuple[float, float, float, float]] = field(default_factory=list)
    time_top: float = 0.0
    time_bottom: float = 0.0


def expectation_words(row: StepTime) -> str:
    """How the step stands to its expected range, in a colleague's words; empty without a range."""
    if row.expect is None:
        return ""
    if row.against_expect == "within":
        return f"as expected ({duration_text(row.expect.low)}–{duration_text(row.expect.high)})"
    off = abs(row.difference)
    said = duration_text(off) if off >= Fraction(1, 2) else "just"
    return f"{said} {row.against_expect} than expected"


class Scale:
    """Clinical seconds to pixels."""

    def __init__(self, end: Fraction) -> None:
        self.left = MARGIN_PX + TITLES_PX
        self.right = WIDTH_PX - MARGIN_PX - RIGHT_PX
        self.end = end if end > 0 else Fraction(1)

    def x(self, second: Fraction) -> float:
        """Where a clinical second lies."""
        return self.left + (self.right - self.left) * float(second / self.end)
