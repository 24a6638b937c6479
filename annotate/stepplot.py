"""Where everything stands on the step-time plot, in pixels at 1280 wide; ``stepdraw`` draws it.

Time runs left to right, steps top to bottom, the whole case first. Every text is measured with
the font that draws it, so that nothing overlaps; a label without room is moved or left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Literal

from annotate.addup import AddedUp, add_up
from annotate.picture.colours import INK, PAPER
from annotate.picture.direction import base_level
from annotate.picture.fonts import FontChain
from annotate.picture.textfit import Fitted, fit
from annotate.stepparts import (
    AWAY_INK,
    FARTHEST,
    LEAST_HEIGHT_PX,
    MARGIN_PX,
    SOFT,
    TICKS_S,
    TITLES_PX,
    WIDTH_PX,
    Bar,
    Bracket,
    Form,
    Label,
    Plot,
    Scale,
    expectation_words,
)
from annotate.words import CAUTIONS
from chapters.spans import Span, clamp, subtract
from chapters.steptimes import AwayEvent, Ledger, StepTime
from chapters.times import duration_text, short_clock_text, speed_text


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
    scale = Scale(_axis_end(rows, Fraction(ledger.total)))
    steps, _, total = add_up(rows, ledger, Fraction(1))
    y = _head(plot, chain, title, notice, total)
    plot.time_top = y
    y, left_over = _whole_case(plot, chain, scale, rows, ledger, total, y)
    feet = _wrapped(chain, left_over, 16) if left_over else []
    cautions = _wrapped(chain, CAUTIONS, 15, between=" ")
    foot = 62 + 22 * len(feet) + 20 * len(cautions)
    titles = [_fit_title(chain, row) for row in rows]
    least = 60.0 if any(len(t.lines) > 1 for t in titles) else 50.0
    lane = min(120.0, max(least, (LEAST_HEIGHT_PX - foot - y) / max(len(rows), 1)))
    for row, fitted, shown in zip(rows, titles, steps, strict=True):
        plot.lanes.append(y)
        _step_title(plot, row, fitted, y, lane)
        _step_lane(plot, chain, scale, row, ledger, y, lane)
        _step_length(plot, row, shown, y, lane)
        y += lane
    plot.time_bottom = y
    _axis(plot, chain, scale, y)
    plot.height = max(y + foot, LEAST_HEIGHT_PX)
    at = plot.height - 18 - 20 * len(cautions) - 22 * len(feet)
    for line in feet:
        at += 22
        plot.labels.append(Label(line, MARGIN_PX, at - 4, 16, colour=AWAY_INK))
    for line in cautions:
        at += 20
        plot.labels.append(Label(line, MARGIN_PX, at, 15, colour=SOFT))
    return plot


def _wrapped(
    chain: FontChain, items: Sequence[str], size_px: int, between: str = "  ·  "
) -> list[str]:
    """The items one after another in as many lines as they need."""
    lines: list[str] = []
    for item in items:
        joined = f"{lines[-1]}{between}{item}" if lines else item
        if lines and chain.width_px(joined, size_px) <= WIDTH_PX - 2 * MARGIN_PX:
            lines[-1] = joined
        else:
            lines.append(item)
    return lines


def _head(plot: Plot, chain: FontChain, title: str, notice: str, total: AddedUp) -> float:
    """Notice, title and the sum, whose terms carry their forms and so are the key."""
    y = 30.0
    wide = WIDTH_PX - 2 * MARGIN_PX
    if notice:
        said = fit(chain, notice, 22, weight="strong", narrow_px=wide, wide_px=wide)
        plot.plates.append((0, 0, WIDTH_PX, 18 + 30 * len(said.lines)))
        for i, line in enumerate(said.lines):
            plot.labels.append(Label(line, MARGIN_PX, 33 + 30 * i, said.size_px, "strong", PAPER))
        y += 30 * len(said.lines) + 12
    fitted = fit(chain, title, 34, weight="strong", narrow_px=wide, wide_px=wide)
    for line in fitted.lines:
        y += fitted.size_px
        rtl = base_level(line) == 1
        x = WIDTH_PX - MARGIN_PX if rtl else MARGIN_PX
        anchor: Literal["left", "right"] = "right" if rtl else "left"
        plot.labels.append(Label(line, x, y, fitted.size_px, "strong", INK, anchor))
        y += 8
    return _sum_line(plot, chain, total, y + 34) + 26


def _sum_line(plot: Plot, chain: FontChain, total: AddedUp, baseline: float) -> float:
    """``9:15 in the room = 1:57 real time + …``; a kind of time that did not occur is left out."""
    terms: tuple[tuple[Form, int, str], ...] = (
        ("real", total.real, "real time"),
        ("fast", total.fast, "fast"),
        ("not_shown", total.not_shown, "not shown"),
        ("away", total.away, "away"),
    )
    x = float(MARGIN_PX)
    start = f"{_clock(total.clinical)} in the room"
    plot.labels.append(Label(start, x, baseline, 22, "strong"))
    x += chain.width_px(start, 22, "strong") + 12
    for i, (form, length, words) in enumerate(t for t in terms if t[1]):
        sign = "=" if i == 0 else "+"
        plot.labels.append(Label(sign, x, baseline, 22))
        x += chain.width_px(sign, 22) + 12
        plot.bars.append(Bar(form, x, baseline - 16, 42, 16, Fraction(8)))
        x += 52
        text = f"{_clock(length)} {words}"
        plot.labels.append(Label(text, x, baseline, 22))
        x += chain.width_px(text, 22) + 12
    return baseline


def _clock(seconds: int) -> str:
    return short_clock_text(Fraction(seconds))


def _whole_case(
    plot: Plot,
    chain: FontChain,
    scale: Scale,
    rows: Sequence[StepTime],
    ledger: Ledger,
    total: AddedUp,
    y: float,
) -> tuple[float, list[str]]:
    """The first lane: all steps in one bar, their numbers above, time away named below.

    Returns where it ends, and the names of times away that found no room.
    """
    top, height = y + 26, 30.0
    plot.labels.append(Label("The whole case", MARGIN_PX, top + 22, 22, "strong"))
    said = _clock(total.clinical)
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
    below, left_over = _away_labels(plot, chain, scale, ledger.away_events, top + height)
    return below + 14, left_over


def _bar(
    scale: Scale, form: Form, span: Span, top: float, height: float, speed: Fraction | None = None
) -> Bar:
    left = scale.x(span.start)
    width = max(scale.x(span.end) - left, 1.5)
    return Bar(form, left, top, width, height, speed or Fraction(1))


def _away_labels(
    plot: Plot, chain: FontChain, scale: Scale, events: Sequence[AwayEvent], below: float
) -> tuple[float, list[str]]:
    """Name each time away under its gap, in three lines at most.

    Where that is too little room, the gaps are only numbered, and the names are returned for the
    foot. Returns where the last line ends, too.
    """
    names = [f"{duration_text(e.clinical.length)} away: {e.reason}" for e in events]
    placed = _placed(chain, scale, events, names, 3)
    left_over: list[str] = []
    if placed is None:
        marks = [chr(ord("a") + i) if i < 26 else str(i + 1) for i in range(len(events))]
        left_over = [f"{mark}  {name}" for mark, name in zip(marks, names, strict=True)]
        placed = _placed(chain, scale, events, marks, 1) or []
    for label, row in placed:
        at = below + 20 + 22 * row
        plot.labels.append(Label(label.text, label.x, at, 18, colour=AWAY_INK))
    return below + 22.0 * (1 + max((row for _, row in placed), default=-1)), left_over


def _placed(
    chain: FontChain,
    scale: Scale,
    events: Sequence[AwayEvent],
    names: Sequence[str],
    most_rows: int,
) -> list[tuple[Label, int]] | None:
    """Each name under its gap with its line; None where they do not all find room."""
    ends = [float(MARGIN_PX + TITLES_PX) - 40] * most_rows
    placed: list[tuple[Label, int]] = []
    for event, name in zip(events, names, strict=True):
        wide = chain.width_px(name, 18)
        middle = (scale.x(event.clinical.start) + scale.x(event.clinical.end)) / 2
        left = min(max(middle - wide / 2, scale.left - 20.0), WIDTH_PX - MARGIN_PX - wide)
        row = next((i for i, end in enumerate(ends) if left >= end), None)
        if row is None or wide > WIDTH_PX - 2 * MARGIN_PX - TITLES_PX:
            return None
        ends[row] = left + wide + 16
        placed.append((Label(name, left, 0, 18), row))
    return placed


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
    scale: Scale,
    row: StepTime,
    ledger: Ledger,
    y: float,
    lane: float,
) -> None:
    height = min(36.0, max(22.0, 0.36 * lane))
    top = y + lane / 2 - height / 2 - 5
    for piece, form in _pieces(row, ledger):
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


def _step_length(plot: Plot, row: StepTime, shown: AddedUp, y: float, lane: float) -> None:
    """How long the step took and how that stands to the expected range, at the right edge."""
    words = expectation_words(row)
    middle, edge = y + lane / 2, float(WIDTH_PX - MARGIN_PX)
    lifted = middle - 1 if words else middle + 8
    said = _clock(shown.clinical)
    plot.labels.append(Label(said, edge, lifted, 24, "strong", INK, "right"))
    if words:
        plot.labels.append(Label(words, edge, middle + 20, 18, "regular", INK, "right"))


def _fit_title(chain: FontChain, row: StepTime) -> Fitted:
    wide = TITLES_PX - 54.0
    return fit(chain, row.title, 22, narrow_px=wide, wide_px=wide, smallest_px=16, most_lines=2)


def _step_title(plot: Plot, row: StepTime, fitted: Fitted, y: float, lane: float) -> None:
    step = fitted.size_px + 3
    first = y + lane / 2 + 8 - step * (len(fitted.lines) - 1) / 2
    plot.labels.append(Label(str(row.number), MARGIN_PX + 22, first, 22, "strong", SOFT, "right"))
    for i, line in enumerate(fitted.lines):
        rtl = base_level(line) == 1
        x = MARGIN_PX + (TITLES_PX - 20 if rtl else 34)
        anchor: Literal["left", "right"] = "right" if rtl else "left"
        plot.labels.append(Label(line, x, first + step * i, fitted.size_px, "regular", INK, anchor))


def _beside(
    plot: Plot, chain: FontChain, scale: Scale, row: StepTime, top: float, height: float
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


def _axis(plot: Plot, chain: FontChain, scale: Scale, y: float) -> None:
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
