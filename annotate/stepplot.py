"""Where everything stands on the step-time plot, in pixels at 1280 wide; ``stepdraw`` draws it.

Time runs left to right, steps top to bottom, the whole case first. Every text is measured with
the font that draws it, so that nothing overlaps; a label without room is moved or left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from annotate.picture.colours import AWAY, INK, RGB
from annotate.picture.direction import base_level
from annotate.picture.fonts import FontChain, Weight
from annotate.picture.textfit import fit
from annotate.words import CAUTIONS
from chapters.spans import Span, clamp, subtract
from chapters.steptimes import AwayEvent, Ledger, StepTime
from chapters.times import duration_text, short_clock_text, speed_text

Form = Literal["real", "fast", "not_shown", "away"]

WIDTH_PX = 1280
MARGIN_PX = 40
TITLES_PX = 330
RIGHT_PX = 236
LEAST_HEIGHT_PX = 720
#: Quiet ink for second lines: 5.9 to 1 on the paper (WCAG 2.2, 1.4.3 asks 4.5).
SOFT: RGB = (0x56, 0x5D, 0x68)
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
    """Everything to draw. ``ticks`` are x positions, ``lanes`` the y of the lines between lanes."""

    height: float = 0.0
    labels: list[Label] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)
    brackets: list[Bracket] = field(default_factory=list)
    ticks: list[float] = field(default_factory=list)
    lanes: list[float] = field(default_factory=list)
    bands: list[tuple[float, float]] = field(default_factory=list)
    time_top: float = 0.0
    time_bottom: float = 0.0


def expectation_words(row: StepTime) -> str:
    """How the step stands to its expected range, in a colleague's words; empty without a range."""
    if row.expect is None:
        return ""
    if row.against_expect == "within":
        return f"as expected ({duration_text(row.expect.low)}–{duration_text(row.expect.high)})"
    off = abs(row.difference)
    said = duration_text(off) if off >= Fraction(1, 2) else "under a second"
    return f"{said} {row.against_expect} than expected"


class _Scale:
    """Clinical seconds to pixels."""

    def __init__(self, end: Fraction) -> None:
        self.left = MARGIN_PX + TITLES_PX
        self.right = WIDTH_PX - MARGIN_PX - RIGHT_PX
        self.end = end if end > 0 else Fraction(1)

    def x(self, second: Fraction) -> float:
        """Where a clinical second lies."""
        return self.left + (self.right - self.left) * float(second / self.end)


def _axis_end(rows: Sequence[StepTime], total: Fraction) -> Fraction:
    ends = [row.clinical.start + row.expect.high for row in rows if row.expect is not None]
    return max([total, *(min(end, total * FARTHEST) for end in ends)])


def _form_of(row: StepTime) -> Form:
    if row.show == "skip" or row.speed is None:
        return "not_shown"
    return "real" if row.speed == 1 else "fast"


def plan_plot(
    rows: Sequence[StepTime], ledger: Ledger, chain: FontChain, *, title: str, notice: str = ""
) -> Plot:
    """Lay the plot out. Raises InputError for a character that no font of the chain has."""
    plot = Plot()
    scale = _Scale(_axis_end(rows, Fraction(ledger.total)))
    y = _head(plot, chain, title, notice, ledger)
    plot.time_top = y
    y = _whole_case(plot, chain, scale, rows, ledger, y)
    cautions = fit(chain, " ".join(CAUTIONS), 15, narrow_px=1200, wide_px=1200).lines
    foot = 62 + 20 * len(cautions)
    lane = min(84.0, max(50.0, (LEAST_HEIGHT_PX - foot - y) / max(len(rows), 1)))
    for row in rows:
        plot.lanes.append(y)
        _step_lane(plot, chain, scale, row, ledger, y, lane)
        y += lane
    plot.time_bottom = y
    _axis(plot, chain, scale, y)
    plot.height = max(y + foot, LEAST_HEIGHT_PX)
    for i, line in enumerate(cautions):
        at = plot.height - 18 - 20 * (len(cautions) - 1 - i)
        plot.labels.append(Label(line, MARGIN_PX, at, 15, colour=SOFT))
    return plot


def _head(plot: Plot, chain: FontChain, title: str, notice: str, ledger: Ledger) -> float:
    """Title, notice and the sum, whose terms carry their forms and so are the key."""
    y = 30.0
    if notice:
        for line in fit(chain, notice, 22, weight="strong", narrow_px=1200, wide_px=1200).lines:
            y += 20
            plot.labels.append(Label(line, MARGIN_PX, y, 22, "strong", AWAY))
            y += 10
    wide = WIDTH_PX - 2 * MARGIN_PX
    fitted = fit(chain, title, 34, weight="strong", narrow_px=wide, wide_px=wide)
    for line in fitted.lines:
        y += fitted.size_px
        rtl = base_level(line) == 1
        x = WIDTH_PX - MARGIN_PX if rtl else MARGIN_PX
        anchor: Literal["left", "right"] = "right" if rtl else "left"
        plot.labels.append(Label(line, x, y, fitted.size_px, "strong", INK, anchor))
        y += 8
    return _sum_line(plot, chain, ledger, y + 34) + 26


def _sum_line(plot: Plot, chain: FontChain, ledger: Ledger, baseline: float) -> float:
    terms: tuple[tuple[Form, Fraction, str], ...] = (
        ("real", ledger.real, "real time"),
        ("fast", ledger.fast, "fast"),
        ("not_shown", ledger.not_shown, "not shown"),
        ("away", ledger.away, "away"),
    )
    x = float(MARGIN_PX)
    start = f"{duration_text(Fraction(ledger.total))} in the room"
    plot.labels.append(Label(start, x, baseline, 22, "strong"))
    x += chain.width_px(start, 22, "strong") + 12
    for i, (form, length, words) in enumerate(terms):
        sign = "=" if i == 0 else "+"
        plot.labels.append(Label(sign, x, baseline, 22))
        x += chain.width_px(sign, 22) + 12
        plot.bars.append(Bar(form, x, baseline - 16, 42, 16, Fraction(8)))
        x += 52
        text = f"{duration_text(length)} {words}"
        plot.labels.append(Label(text, x, baseline, 22))
        x += chain.width_px(text, 22) + 12
    return baseline


def _whole_case(
    plot: Plot,
    chain: FontChain,
    scale: _Scale,
    rows: Sequence[StepTime],
    ledger: Ledger,
    y: float,
) -> float:
    """The first lane: all steps in one bar, their numbers above, time away named below."""
    top, height = y + 26, 30.0
    plot.labels.append(Label("The whole case", MARGIN_PX, top + 22, 22, "strong"))
    said = duration_text(Fraction(ledger.total))
    plot.labels.append(Label(said, WIDTH_PX - MARGIN_PX, top + 22, 24, "strong", INK, "right"))
    last = -1e9
    for row in rows:
        for piece, form in _pieces(row, ledger):
            plot.bars.append(_bar(scale, form, piece, top, height, row.speed))
        name = str(row.number)
        wide = chain.width_px(name, 18)
        x = scale.x(row.clinical.start)
        if x >= last + 6:
            plot.labels.append(Label(name, x, top - 6, 18, colour=SOFT))
            last = x + wide
    for hidden in ledger.hidden:
        if hidden.step is None:
            plot.bars.append(_bar(scale, "not_shown", hidden.clinical, top, height))
    for event in ledger.away_events:
        plot.bars.append(_bar(scale, "away", event.clinical, top, height))
        plot.bands.append((scale.x(event.clinical.start), scale.x(event.clinical.end)))
    return top + height + _away_labels(plot, chain, scale, ledger.away_events, top + height) + 14


def _bar(
    scale: _Scale, form: Form, span: Span, top: float, height: float, speed: Fraction | None = None
) -> Bar:
    left = scale.x(span.start)
    width = max(scale.x(span.end) - left, 1.5)
    return Bar(form, left, top, width, height, speed or Fraction(1))


def _away_labels(
    plot: Plot, chain: FontChain, scale: _Scale, events: Sequence[AwayEvent], below: float
) -> float:
    """Name each time away under its gap, in as many lines as they need (three at most)."""
    ends = [float(MARGIN_PX + TITLES_PX)] * 3
    used = 0
    for event in events:
        text = f"{duration_text(event.clinical.length)} away: {event.reason}"
        fitted = fit(chain, text, 18, narrow_px=420, wide_px=420, most_lines=1)
        line = fitted.lines[0] if fitted.lines else ""
        wide = chain.width_px(line, fitted.size_px)
        middle = (scale.x(event.clinical.start) + scale.x(event.clinical.end)) / 2
        left = min(max(middle - wide / 2, scale.left), WIDTH_PX - MARGIN_PX - wide)
        row = next((i for i, end in enumerate(ends) if left >= end), None)
        if row is None:
            continue
        ends[row] = left + wide + 16
        used = max(used, row + 1)
        at = below + 20 + 22 * row
        plot.labels.append(Label(line, left, at, fitted.size_px, colour=AWAY))
    return 22.0 * used


def _pieces(row: StepTime, ledger: Ledger) -> list[tuple[Span, Form]]:
    """A step's clinical time in stretches of one kind, away left out."""
    away = [e.clinical for e in ledger.away_events]
    hidden = [h.clinical for h in ledger.hidden if h.step == row.id]
    unseen = [
        s for h in hidden if (inside := clamp(h, row.clinical)) for s in subtract(inside, away)
    ]
    shown = subtract(row.clinical, [*away, *hidden])
    form = _form_of(row)
    return [(s, "not_shown") for s in unseen] + [(s, form) for s in shown]


def _step_lane(
    plot: Plot,
    chain: FontChain,
    scale: _Scale,
    row: StepTime,
    ledger: Ledger,
    y: float,
    lane: float,
) -> None:
    _step_title(plot, chain, row, y, lane)
    height = 22.0
    top = y + lane / 2 - height / 2 - 4
    pieces = _pieces(row, ledger)
    for piece, form in pieces:
        plot.bars.append(_bar(scale, form, piece, top, height, row.speed))
    for event in ledger.away_events:
        inside = clamp(event.clinical, row.clinical)
        if inside is not None:
            plot.bars.append(_bar(scale, "away", inside, top, height))
    if row.expect is not None:
        left, right = (scale.x(row.clinical.start + e) for e in (row.expect.low, row.expect.high))
        beyond = right > scale.right + 0.5
        end = min(max(right, left + 3), float(scale.right) + (0 if beyond else 3))
        plot.brackets.append(Bracket(min(left, end - 3), end, top + height + 5, beyond))
    _beside(plot, chain, scale, row, top, height)
    words = expectation_words(row)
    middle = y + lane / 2
    lifted = middle - 1 if words else middle + 8
    said = duration_text(row.clinical_length)
    right_edge = WIDTH_PX - MARGIN_PX
    plot.labels.append(Label(said, right_edge, lifted, 24, "strong", INK, "right"))
    if words:
        plot.labels.append(Label(words, right_edge, middle + 20, 18, "regular", INK, "right"))


def _step_title(plot: Plot, chain: FontChain, row: StepTime, y: float, lane: float) -> None:
    wide = TITLES_PX - 54.0
    fitted = fit(chain, row.title, 22, narrow_px=wide, wide_px=wide, smallest_px=16, most_lines=2)
    step = fitted.size_px + 3
    first = y + lane / 2 + 8 - step * (len(fitted.lines) - 1) / 2
    plot.labels.append(Label(str(row.number), MARGIN_PX + 22, first, 22, "strong", SOFT, "right"))
    for i, line in enumerate(fitted.lines):
        rtl = base_level(line) == 1
        x = MARGIN_PX + (TITLES_PX - 20 if rtl else 34)
        anchor: Literal["left", "right"] = "right" if rtl else "left"
        plot.labels.append(Label(line, x, first + step * i, fitted.size_px, "regular", INK, anchor))


def _beside(
    plot: Plot, chain: FontChain, scale: _Scale, row: StepTime, top: float, height: float
) -> None:
    """The speed, or "not shown", in the bar where it fits, else right or left of it."""
    form = _form_of(row)
    if form == "real":
        return
    text = "not shown" if form == "not_shown" or row.speed is None else speed_text(row.speed)
    wide = chain.width_px(text, 18, "strong")
    left, right = scale.x(row.clinical.start), scale.x(row.clinical.end)
    base = top + height / 2 + 7
    free = not any(b.form == "away" and b.top == top and b.left < right for b in plot.bars)
    if free and right - left >= wide + 26:
        middle = (left + right) / 2
        label = Label(text, middle, base, 18, "strong", INK, "middle", plate=True)
    elif right + 10 + wide <= scale.right + 8:
        label = Label(text, right + 8, base, 18, "strong", INK)
    elif left - 8 - wide >= scale.left:
        label = Label(text, left - 8, base, 18, "strong", INK, "right")
    else:
        return
    plot.labels.append(label)


def _axis(plot: Plot, chain: FontChain, scale: _Scale, y: float) -> None:
    step = next((s for s in TICKS_S if scale.end / s <= 8), TICKS_S[-1])
    while scale.end / step > 8:
        step *= 2
    last = -1e9
    for i in range(int(scale.end / step) + 1):
        x = scale.x(Fraction(i * step))
        plot.ticks.append(x)
        text = short_clock_text(Fraction(i * step))
        wide = chain.width_px(text, 18)
        if x - wide / 2 > last + 10:
            plot.labels.append(Label(text, x, y + 24, 18, colour=SOFT, anchor="middle"))
            last = x + wide / 2
    plot.labels.append(Label("clinical time", MARGIN_PX, y + 24, 18, colour=SOFT))
