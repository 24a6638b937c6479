"""Round step times so that what a reader sees adds up: along every row, down every column, in all.

Times are exact fractions; a table shows whole units (milliseconds, seconds). Every row keeps
clinical = real + fast + not shown + away, every column adds up to its total, and the totals are the
ledger's. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from chapters.steptimes import Ledger, StepTime
from chapters.times import round_half_up

#: The kinds of clinical time, as fields of a step's times, of the ledger and of ``AddedUp``.
PARTS: Final = ("real", "fast", "not_shown", "away")


@dataclass(frozen=True, slots=True)
class AddedUp:
    """One row of the table in whole units; the sums are sums of what is shown."""

    real: int
    fast: int
    not_shown: int
    away: int

    @property
    def on_camera(self) -> int:
        """What was recorded."""
        return self.real + self.fast + self.not_shown

    @property
    def clinical(self) -> int:
        """What passed in the room."""
        return self.on_camera + self.away


def _apportion(parts: Sequence[Fraction]) -> list[int]:
    """Whole numbers next to ``parts`` whose sum is the rounded sum: largest remainders go up."""
    floors = [p.numerator // p.denominator for p in parts]
    up = round_half_up(sum(parts, Fraction(0))) - sum(floors)
    order = sorted(range(len(parts)), key=lambda i: (floors[i] - parts[i], i))
    return [floor + (i in order[:up]) for i, floor in enumerate(floors)]


def _column(cells: Sequence[Fraction], total: int) -> list[int]:
    """Whole numbers for the cells of one column, each within 1 of its cell, that sum to ``total``.

    The running sum is rounded, always at the same threshold, and its steps are taken: a cell of
    0 stays 0 and no cell turns negative. ``total`` must be the sum rounded down or up.
    """
    whole = sum(cells, Fraction(0))
    rest = whole - whole.numerator // whole.denominator
    half = Fraction(1, 2)
    shift = max(half, 1 - rest) if total > whole else min(half, (1 - rest) / 2)
    out: list[int] = []
    running, before = Fraction(0), 0
    for cell in cells:
        running += cell
        now = (running + shift).numerator // (running + shift).denominator
        out.append(now - before)
        before = now
    return out


def add_up(
    rows: Sequence[StepTime], ledger: Ledger, unit_s: Fraction
) -> tuple[tuple[AddedUp, ...], AddedUp, AddedUp]:
    """Every step, what lies between the steps, and the total, in whole units of ``unit_s`` seconds.

    Each row adds up, each column adds up to the total, and the total is the ledger's, rounded.
    Raises ValueError when the rows do not belong to the ledger.
    """
    cells = [[getattr(row, part) for part in PARTS] for row in rows]
    cells.append([Fraction(0), Fraction(0), ledger.between_not_shown, ledger.between_away])
    wholes = [Fraction(getattr(ledger, part)) for part in PARTS]
    for part, whole, column in zip(PARTS, wholes, zip(*cells, strict=True), strict=True):
        if sum(column, Fraction(0)) != whole:
            raise ValueError(f"the steps' {part} times do not add up to the ledger's")
    totals = _apportion([whole / unit_s for whole in wholes])
    columns = [
        _column([Fraction(cell) / unit_s for cell in column], total)
        for column, total in zip(zip(*cells, strict=True), totals, strict=True)
    ]
    shown = [AddedUp(*row) for row in zip(*columns, strict=True)]
    return tuple(shown[:-1]), shown[-1], AddedUp(*totals)
