"""What the title card and the closing card say, as values: nothing here draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from annotate import words
from chapters.case import Case
from chapters.steptimes import Ledger
from chapters.teeth import tooth_name
from chapters.times import round_half_up, short_clock_text

#: The four kinds of time as they are called on every card, in the order of the ledger.
KINDS = ("shown in real time", "shown fast", "not shown", "away")
#: What the clock on the film is.
CLOCK_LINE = "The clock on the film shows clinical time."


@dataclass(frozen=True, slots=True)
class TitleCard:
    """What the opening card says. ``mark`` is empty for a film that may be published."""

    title: str
    lines: tuple[str, ...]
    mark: str = ""


@dataclass(frozen=True, slots=True)
class ClosingCard:
    """What the closing card says: whole seconds of each kind of time, which add up, and the cautions."""

    real_s: int
    fast_s: int
    not_shown_s: int
    away_s: int
    cautions: tuple[str, ...] = words.CAUTIONS
    mark: str = ""

    @property
    def parts_s(self) -> tuple[int, int, int, int]:
        """The four kinds in the order of KINDS."""
        return self.real_s, self.fast_s, self.not_shown_s, self.away_s

    @property
    def total_s(self) -> int:
        """All clinical time."""
        return sum(self.parts_s)

    @property
    def sentence(self) -> str:
        """``Clinical time 36:00 = real 27:00 + fast 8:00 + not shown 0:00 + away 1:00``."""
        real, fast, hidden, away = (length_text(n) for n in self.parts_s)
        return (
            f"Clinical time {length_text(self.total_s)} = real {real} + fast {fast} "
            f"+ not shown {hidden} + away {away}"
        )


def length_text(seconds: int) -> str:
    """``2:41``, ``1:02:41``."""
    return short_clock_text(Fraction(seconds))


def title_card(case: Case) -> TitleCard:
    """The opening card of a case: title, procedure, tooth in both notations, subject, presenter."""
    lines = [case.procedure]
    if case.tooth is not None:
        lines.append(
            f"Tooth {case.tooth.fdi} (ISO 3950), {case.tooth.universal} (Universal): "
            f"{tooth_name(case.tooth)}"
        )
    if case.subject == "simulated":
        lines.append("Practice case, no patient")
    elif case.consent is not None:
        lines.append("Patient case, consent on record")
    else:
        lines.append("Patient case")
    lines.append(case.presenter)
    mark = "" if case.publishable else words.NOT_FOR_PUBLICATION
    return TitleCard(case.title, tuple(line for line in lines if line), mark)


def closing_card(ledger: Ledger, mark: str = "") -> ClosingCard:
    """The closing card: the ledger in whole seconds that still add up to the rounded total."""
    real, fast, hidden, away = whole_seconds(
        (ledger.real, ledger.fast, ledger.not_shown, ledger.away)
    )
    return ClosingCard(real, fast, hidden, away, mark=mark)


def whole_seconds(parts: Sequence[Fraction]) -> tuple[int, ...]:
    """Each part rounded so that together they are the rounded sum (largest remainders go up)."""
    down = [part.numerator // part.denominator for part in parts]
    short = round_half_up(sum(parts, Fraction(0))) - sum(down)
    order = sorted(range(len(parts)), key=lambda i: (down[i] - parts[i], i))
    for i in order[:short]:
        down[i] += 1
    return tuple(down)
