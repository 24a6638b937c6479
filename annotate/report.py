"""Step times and ledger as tables: CSV for spreadsheets, values for JSON, text for a terminal.

Times are exact fractions; a table shows whole units (milliseconds, seconds) that ``addup`` rounds so
that what a reader sees adds up. The plot is laid out by ``stepplot`` and drawn by ``stepdraw``.
Opens nothing, prints nothing.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Sequence
from fractions import Fraction
from typing import Any, Final

from annotate.addup import PARTS, AddedUp, add_up
from annotate.stepparts import expectation_words
from chapters.steptimes import Ledger, StepTime
from chapters.times import clock_text, exact_text, round_half_up, short_clock_text, speed_text

__all__ = [
    "COLUMNS",
    "ledger_json",
    "step_times_csv",
    "step_times_json",
    "table_text",
]

COLUMNS: Final = (
    "number",
    "id",
    "title",
    "phase",
    "show",
    "speed",
    "clinical_start",
    "clinical_end",
    "clinical_s",
    "on_camera_s",
    "away_s",
    "shown_real_s",
    "shown_fast_s",
    "not_shown_s",
    "expected_low_s",
    "expected_high_s",
    "against_expected",
    "difference_s",
    "notice",
)
BETWEEN: Final = "between the steps"
TOTAL: Final = "total"
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


# -- CSV ---------------------------------------------------------------------------------------


def _plain(text: str) -> str:
    """Text that a spreadsheet takes for text: a leading sign of a formula is quoted (CWE-1236)."""
    return (
        f"'{text}" if text.lstrip(" ").startswith(_FORMULA) or text.startswith(_FORMULA) else text
    )


def _ms(count: int) -> str:
    sign, count = ("-", -count) if count < 0 else ("", count)
    return f"{sign}{count // 1000}.{count % 1000:03d}"


def _clock_ms(seconds: Fraction) -> str:
    ms = round_half_up(seconds * 1000)
    return f"{clock_text(Fraction(ms // 1000))}.{ms % 1000:03d}"


def _sums(shown: AddedUp) -> dict[str, str]:
    return {
        "clinical_s": _ms(shown.clinical),
        "on_camera_s": _ms(shown.on_camera),
        "away_s": _ms(shown.away),
        "shown_real_s": _ms(shown.real),
        "shown_fast_s": _ms(shown.fast),
        "not_shown_s": _ms(shown.not_shown),
    }


def _step_cells(row: StepTime, shown: AddedUp) -> dict[str, str]:
    cells = {
        "number": str(row.number),
        "id": _plain(row.id),
        "title": _plain(row.title),
        "phase": _plain(row.phase),
        "show": row.show,
        "speed": "" if row.speed is None else str(float(round(row.speed, 3))),
        "clinical_start": _clock_ms(row.clinical.start),
        "clinical_end": _clock_ms(row.clinical.end),
        "against_expected": row.against_expect,
    }
    if row.expect is not None:
        cells["expected_low_s"] = _ms(round_half_up(row.expect.low * 1000))
        cells["expected_high_s"] = _ms(round_half_up(row.expect.high * 1000))
        cells["difference_s"] = _ms(round_half_up(row.difference * 1000))
    return cells | _sums(shown)


def step_times_csv(rows: Sequence[StepTime], ledger: Ledger, notice: str = "") -> str:
    """The table for a spreadsheet (RFC 4180, with a byte order mark so that it is read as UTF-8).

    One row a step, one for what lies between the steps, one total; seconds have three decimals.
    ``notice`` stands in every row. Write it with ``newline=""``.
    """
    steps, between, total = add_up(rows, ledger, Fraction(1, 1000))
    lines = [_step_cells(row, shown) for row, shown in zip(rows, steps, strict=True)]
    lines.append({"title": BETWEEN} | _sums(between))
    lines.append({"title": TOTAL} | _sums(total))
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for line in lines:
        writer.writerow(line | {"notice": _plain(notice)})
    return "\ufeff" + out.getvalue()


# -- JSON --------------------------------------------------------------------------------------


def _pair(span: Any) -> list[str] | None:
    return None if span is None else [exact_text(span.start), exact_text(span.end)]


def _step_values(row: StepTime) -> dict[str, Any]:
    expect = row.expect
    return {
        "number": row.number,
        "id": row.id,
        "title": row.title,
        "phase": row.phase,
        "note": row.note,
        "show": row.show,
        "speed": None if row.speed is None else exact_text(row.speed),
        "recording": _pair(row.recording),
        "clinical": _pair(row.clinical),
        "cut": _pair(row.cut),
        "clinical_s": exact_text(row.clinical_length),
        "on_camera_s": exact_text(row.on_camera),
        "away_s": exact_text(row.away),
        "shown_real_s": exact_text(row.real),
        "shown_fast_s": exact_text(row.fast),
        "not_shown_s": exact_text(row.not_shown),
        "expect": None if expect is None else [exact_text(expect.low), exact_text(expect.high)],
        "against_expected": row.against_expect,
        "difference_s": None if expect is None else exact_text(row.difference),
    }


def step_times_json(rows: Sequence[StepTime], ledger: Ledger) -> dict[str, Any]:
    """Values of ``step-times.json``; times are exact: decimals of nine places, or ``n/d``."""
    return {
        "steps": [_step_values(row) for row in rows],
        "between_steps": {
            "not_shown_s": exact_text(ledger.between_not_shown),
            "away_s": exact_text(ledger.between_away),
        },
    }


def ledger_json(ledger: Ledger) -> dict[str, Any]:
    """Values of ``ledger.json``: seconds, exact; ``real + fast + not_shown + away = total``."""
    sums = {part: exact_text(getattr(ledger, part)) for part in (*PARTS, "total")}
    film = {part: exact_text(getattr(ledger, part)) for part in ("film", "cards", "stills")}
    return (
        sums
        | film
        | {
            "between_steps": {
                "not_shown": exact_text(ledger.between_not_shown),
                "away": exact_text(ledger.between_away),
            },
            "away_events": [
                {
                    "clinical": _pair(event.clinical),
                    "recording": exact_text(event.recording),
                    "lasted": exact_text(event.clinical.length),
                    "reason": event.reason,
                }
                for event in ledger.away_events
            ],
            "hidden": [
                {
                    "recording": _pair(hidden.recording),
                    "clinical": _pair(hidden.clinical),
                    "step": hidden.step,
                }
                for hidden in ledger.hidden
            ],
        }
    )


# -- Terminal ----------------------------------------------------------------------------------


def _columns_wide(text: str) -> int:
    """How many terminal columns the text takes: 2 for wide characters, 0 for marks."""
    wide = 0
    for ch in text:
        if unicodedata.category(ch) in ("Mn", "Me", "Cf"):
            continue
        wide += 2 if unicodedata.east_asian_width(ch) in ("W", "F") else 1
    return wide


def _fit(text: str, columns: int) -> str:
    """The text cut (with an ellipsis) or padded to so many terminal columns."""
    if _columns_wide(text) > columns:
        while text and _columns_wide(text) > columns - 1:
            text = text[:-1]
        text += "…"
    return text + " " * (columns - _columns_wide(text))


def _shown_as(row: StepTime) -> str:
    if row.show == "skip":
        return "not shown"
    return "real" if row.speed is None or row.speed == 1 else speed_text(row.speed)


def _time(count: int) -> str:
    return short_clock_text(Fraction(count)) if count else "-"


#: Heading and width of the columns of figures, and which goes first when the terminal is narrow.
_FIGURES: Final = (
    ("shown", 9, 6),
    ("start", 7, 4),
    ("clinical", 8, 7),
    ("on camera", 9, 0),
    ("away", 7, 5),
    ("real", 7, 2),
    ("fast", 7, 2),
    ("not shown", 9, 3),
)
_WORDS_WIDE: Final = 26
_WORDS_RANK: Final = 1
_TITLE_LEAST, _TITLE_MOST = 20, 44


class _Layout:
    """Which columns a terminal of this width shows."""

    def __init__(self, width: int) -> None:
        spare = width - 4 - _TITLE_LEAST
        kept: set[int] = set()
        self.words = False
        for rank in range(7, -1, -1):
            group = [i for i, (_, _, own) in enumerate(_FIGURES) if own == rank]
            words = rank == _WORDS_RANK
            needs = sum(_FIGURES[i][1] + 2 for i in group) + (_WORDS_WIDE + 2 if words else 0)
            if needs > spare and rank < 6:
                break
            spare -= needs
            kept.update(group)
            self.words = self.words or words
        self.kept = sorted(kept)
        self.title = max(4, min(_TITLE_MOST, _TITLE_LEAST + spare))

    def line(self, first: str, title: str, figures: Sequence[str], words: str) -> str:
        """One line of the table."""
        cells = "  ".join(figures[i].rjust(_FIGURES[i][1]) for i in self.kept)
        tail = f"  {words}" if self.words else ""
        return f"{first:>2}  {_fit(title, self.title)}  {cells}{tail}".rstrip()


def table_text(rows: Sequence[StepTime], ledger: Ledger, width: int = 120) -> str:
    """The table for a terminal of ``width`` columns, in whole seconds that add up.

    Narrow terminals lose columns, the least needed first; where the words about the expected range
    find no room beside the figures, they follow the table.
    """
    steps, between, total = add_up(rows, ledger, Fraction(1))
    layout = _Layout(width)
    lines = [layout.line("#", "step", [name for name, _, _ in _FIGURES], "expected")]
    for row, shown in zip(rows, steps, strict=True):
        figures = [_shown_as(row), clock_text(row.clinical.start), *_figures(shown)]
        lines.append(layout.line(str(row.number), row.title, figures, expectation_words(row)))
    if between.clinical:
        lines.append(layout.line("", BETWEEN, ["", "", *_figures(between)], ""))
    lines.append(layout.line("", TOTAL, ["", "", *_figures(total)], ""))
    if not layout.words:
        said = [(row, expectation_words(row)) for row in rows]
        lines += [f"{row.number}  {row.title}: {words}" for row, words in said if words]
    return "\n".join(lines)


def _figures(shown: AddedUp) -> list[str]:
    parts = (shown.clinical, shown.on_camera, shown.away, shown.real, shown.fast, shown.not_shown)
    return [_time(part) for part in parts]
