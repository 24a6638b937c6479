"""Step times as CSV, JSON and a terminal's table: read back, they say what was measured."""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from annotate.report import COLUMNS, ledger_json, step_times_csv, step_times_json, table_text
from annotate.words import NOT_FOR_PUBLICATION
from tests.annotate.reports import drawn_plan, worked_plan

SUMS = ("clinical_s", "on_camera_s", "away_s", "shown_real_s", "shown_fast_s", "not_shown_s")


def read_csv(text: str) -> list[dict[str, str]]:
    """The rows as the csv module reads the file that a spreadsheet would open."""
    plain = text.encode("utf-8").decode("utf-8-sig")
    assert plain != text, "the byte order mark is missing"
    return list(csv.DictReader(io.StringIO(plain, newline="")))


def test_csv_has_the_columns_and_one_row_a_step() -> None:
    """Header, steps, what lies between them, and the total, in lines that end as RFC 4180 says."""
    plan = worked_plan()
    text = step_times_csv(plan.rows, plan.ledger)
    rows = read_csv(text)
    assert tuple(rows[0]) == COLUMNS
    assert [row["title"] for row in rows] == [
        "Open", "Clean", "Wait", "Close", "between the steps", "total",
    ]  # fmt: skip
    assert text.count("\r\n") == text.count("\n") == 7


def test_csv_of_the_worked_case() -> None:
    """Start, end, speed, range and difference of a step that was worked out by hand."""
    plan = worked_plan()
    clean = read_csv(step_times_csv(plan.rows, plan.ledger))[1]
    assert clean["clinical_start"] == "0:01:10.000"
    assert clean["clinical_end"] == "0:03:50.000"
    assert (clean["show"], clean["speed"]) == ("fixed", "8.0")
    assert [clean[name] for name in SUMS] == [
        "160.000", "60.000", "100.000", "0.000", "60.000", "0.000",
    ]  # fmt: skip
    assert (clean["expected_low_s"], clean["expected_high_s"]) == ("170.000", "300.000")
    assert (clean["against_expected"], clean["difference_s"]) == ("shorter", "-10.000")


@pytest.mark.parametrize("seed", range(6))
def test_csv_columns_add_up_to_the_last_digit(seed: int) -> None:
    """Whoever adds the column in a spreadsheet gets the total row, and the ledger."""
    plan = drawn_plan(9, ["A", "B"], seed=seed, away=2)
    rows = read_csv(step_times_csv(plan.rows, plan.ledger))
    for name in SUMS:
        assert sum(Decimal(row[name]) for row in rows[:-1]) == Decimal(rows[-1][name])
    for row in rows:
        parts = [Decimal(row[name]) for name in SUMS[3:]]
        assert sum(parts) == Decimal(row["on_camera_s"])
        assert sum(parts) + Decimal(row["away_s"]) == Decimal(row["clinical_s"])
    total = Fraction(rows[-1]["clinical_s"])
    assert abs(total - plan.ledger.total) <= Fraction(1, 2000)


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t=", " =", "\r@"])
def test_csv_never_starts_a_cell_with_a_formula(sign: str) -> None:
    """Titles that a spreadsheet would run are quoted (CWE-1236); the text itself is kept."""
    plan = worked_plan()
    title = f'{sign}HYPERLINK("http://x.example","y")'
    rows = (replace(plan.rows[0], title=title, phase=title), *plan.rows[1:])
    back = read_csv(step_times_csv(rows, plan.ledger, notice=title))[0]
    assert back["title"] == back["phase"] == back["notice"] == "'" + title


def test_csv_carries_every_script_and_every_separator() -> None:
    """Commas, quotes, line breaks, right-to-left and wide letters come back as they went in."""
    plan = worked_plan()
    title = 'Étape 1, "délicate";\nאיתור 根管 ≥ 3'
    rows = (replace(plan.rows[0], title=title), *plan.rows[1:])
    assert read_csv(step_times_csv(rows, plan.ledger))[0]["title"] == title


def test_the_notice_stands_in_every_row() -> None:
    """A case that may not be published says so wherever a row is copied to."""
    plan = worked_plan()
    rows = read_csv(step_times_csv(plan.rows, plan.ledger, notice=NOT_FOR_PUBLICATION))
    assert {row["notice"] for row in rows} == {NOT_FOR_PUBLICATION}


@pytest.mark.parametrize("seed", range(3))
def test_json_is_exact(seed: int) -> None:
    """Read back as fractions, the times of the steps add up to the ledger with nothing lost."""
    plan = drawn_plan(7, ["A"], seed=seed, away=2)
    steps = json.loads(json.dumps(step_times_json(plan.rows, plan.ledger)))
    ledger = json.loads(json.dumps(ledger_json(plan.ledger)))
    between = steps["between_steps"]
    for column, part, rest in (
        ("shown_real_s", "real", "0"),
        ("shown_fast_s", "fast", "0"),
        ("not_shown_s", "not_shown", between["not_shown_s"]),
        ("away_s", "away", between["away_s"]),
    ):
        whole = sum((Fraction(s[column]) for s in steps["steps"]), Fraction(rest))
        assert whole == Fraction(ledger[part]) == getattr(plan.ledger, part)
    parts = [Fraction(ledger[part]) for part in ("real", "fast", "not_shown", "away")]
    assert sum(parts) == Fraction(ledger["total"]) == plan.ledger.total
    for row, step in zip(plan.rows, steps["steps"], strict=True):
        assert [Fraction(t) for t in step["clinical"]] == [row.clinical.start, row.clinical.end]
        assert Fraction(step["clinical_s"]) == row.clinical_length
        assert (step["cut"] is None) == (row.cut is None)


def test_ledger_json_names_every_time_away_and_every_hidden_stretch() -> None:
    """The events lie on the clinical clock, and their lengths are the ledger's sums."""
    plan = worked_plan()
    ledger = ledger_json(plan.ledger)
    (event,) = ledger["away_events"]
    assert event["reason"] == "check radiograph"
    assert [Fraction(t) for t in event["clinical"]] == [100, 200]
    assert Fraction(event["recording"]) == 100
    hidden = [(h["step"], [Fraction(t) for t in h["clinical"]]) for h in ledger["hidden"]]
    assert hidden == [(None, [0, 10]), ("s2", [230, 290])]


def columns_of(line: str) -> int:
    """Terminal columns of a line, counted apart from the code under test."""
    marks = ("Mn", "Me", "Cf")
    kept = [ch for ch in line if unicodedata.category(ch) not in marks]
    return sum(2 if unicodedata.east_asian_width(ch) in "WF" else 1 for ch in kept)


@pytest.mark.parametrize("width", [60, 72, 80, 100, 120, 160])
def test_the_terminal_table_fits_its_width(width: int) -> None:
    """No line of figures is wider than the terminal, whatever the titles are written in."""
    titles = ["Isolate", "根管長の測定と電子的根尖位置検出" * 2, "A" * 90, "קביעת אורך עבודה"]
    plan = drawn_plan(6, titles, away=1)
    table = table_text(plan.rows, plan.ledger, width).splitlines()
    figures = [line for line in table if ": " not in line]
    assert len(figures) >= 8
    assert max(columns_of(line) for line in figures) <= width


def test_the_terminal_table_of_the_worked_case() -> None:
    """Times, sums and the words about the range, as a clinician reads them."""
    plan = worked_plan()
    table = table_text(plan.rows, plan.ledger, 140).splitlines()
    assert table[1].split() == [
        "1", "Open", "real", "0:00:10", "1:00", "1:00", "-", "1:00", "-", "-",
        "0:10", "longer", "than", "expected",
    ]  # fmt: skip
    assert table[2].split()[2:9] == ["8×", "0:01:10", "2:40", "1:00", "1:40", "-", "1:00"]
    assert table[2].endswith("0:10 shorter than expected")
    assert "not shown" in table[3]
    assert table[4].endswith("as expected (0:30–1:30)")
    assert table[-1].split() == ["total", "5:50", "4:10", "1:40", "2:00", "1:00", "1:10"]


def test_a_narrow_terminal_says_the_range_below_the_table() -> None:
    """What does not fit beside the figures follows them."""
    plan = worked_plan()
    table = table_text(plan.rows, plan.ledger, 70)
    assert "1  Open: 0:10 longer than expected" in table
    assert "4  Close: as expected (0:30–1:30)" in table
