"""Cues as values, and what a profile has to say about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from annotate.captions.profiles import Profile
from annotate.textunits import columns, word_count
from chapters.times import round_half_up, vtt_time


@dataclass(frozen=True, slots=True)
class Cue:
    """Text shown from ``start_ms`` until ``end_ms`` of cut time; ``step`` is the id it belongs to."""

    start_ms: int
    end_ms: int
    lines: tuple[str, ...]
    step: str = ""

    @property
    def length_ms(self) -> int:
        """Milliseconds on the screen."""
        return self.end_ms - self.start_ms

    @property
    def columns(self) -> int:
        """What a reader reads: the columns of all lines, and one for each line's end but the last."""
        return sum(map(columns, self.lines)) + max(0, len(self.lines) - 1)

    @property
    def words(self) -> Fraction:
        """Words on all lines."""
        return sum(map(word_count, self.lines), Fraction(0))


@dataclass(frozen=True, slots=True)
class TimedWord:
    """A word as it is to be written, punctuation included, and when it is spoken (ms of cut time)."""

    text: str
    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class Complaint:
    """A figure of a profile that a cue does not keep: which, what was found, what is allowed, where.

    ``cue`` counts from 1; ``source`` is the figure's clause.
    """

    rule: str
    found: Fraction
    allowed: Fraction
    unit: str
    cue: int
    at_ms: int
    step: str
    source: str

    def __str__(self) -> str:
        step = f", step {self.step}" if self.step else ""
        word = "at least" if self.found < self.allowed else "at most"
        places = 3 if self.unit == "s" else 2
        return (
            f"caption {self.cue} at {vtt_time(self.at_ms)}{step}: {self.rule}: found "
            f"{_number(self.found, places)} {self.unit}, allowed {word} "
            f"{_number(self.allowed, places)} ({self.source})"
        )


@dataclass(frozen=True, slots=True)
class NoteTooLong:
    """A step's note that its step is too short for.

    ``over_ms`` is how much longer the step would have to be, ``over_columns`` how many characters
    too many the note has, ``shown`` and ``sentences`` how many sentences are shown, of how many.
    """

    step: str
    over_ms: int
    over_columns: int
    shown: int
    sentences: int

    def __str__(self) -> str:
        seconds = _number(Fraction(-(-self.over_ms // 100), 10), 1)
        shown = (
            f"{self.shown} of {self.sentences} sentences shown" if self.shown else "nothing shown"
        )
        return (
            f"step {self.step}: the note is too long for the time its step has in the film: it "
            f"needs {seconds} s more, or {self.over_columns} fewer characters ({shown}); shorten "
            f"the note or show the step more slowly"
        )


def summed_up(complaints: Sequence[Complaint]) -> tuple[str, ...]:
    """One sentence for each rule that a step's captions break: the worst of them, and how many more."""
    groups: dict[tuple[str, str], list[Complaint]] = {}
    for complaint in complaints:
        groups.setdefault((complaint.step, complaint.rule), []).append(complaint)
    out = []
    for found in groups.values():
        worst = max(found, key=lambda c: abs(c.found - c.allowed))
        more = f"; {len(found) - 1} more in this step" if len(found) > 1 else ""
        out.append(f"{worst}{more}")
    return tuple(out)


def _number(value: Fraction, places: int) -> str:
    """At most so many decimals, none that say nothing."""
    scaled = round_half_up(value * 10**places)
    return f"{scaled / 10**places:.{places}f}".rstrip("0").rstrip(".")


def check_cues(cues: Sequence[Cue], profile: Profile) -> tuple[Complaint, ...]:
    """Everything the profile forbids, in the order of the cues; () when there is nothing.

    Order and overlap are checked under any profile: no cue may start before the one ahead of it
    has ended, and none may end before it has been on the screen for a millisecond.
    """
    out: list[Complaint] = []
    for number, cue in enumerate(cues, start=1):
        out.extend(_size_complaints(cue, number, profile))
        out.extend(_time_complaints(cue, number, profile))
        if number > 1:
            out.extend(_gap_complaints(cues[number - 2], cue, number, profile))
    return tuple(out)


def _complain(
    cue: Cue, number: int, rule: str, amounts: tuple[Fraction | int, Fraction | int], about: str
) -> Complaint:
    """``amounts`` are found and allowed, ``about`` is "unit|source"."""
    unit, source = about.split("|", 1)
    found, allowed = (Fraction(amount) for amount in amounts)
    return Complaint(rule, found, allowed, unit, number, cue.start_ms, cue.step, source)


def _size_complaints(cue: Cue, number: int, profile: Profile) -> list[Complaint]:
    out = []
    lines, line = profile.lines, profile.line_columns
    if len(cue.lines) > lines.value:
        amounts = len(cue.lines), lines.value
        out.append(_complain(cue, number, "number of lines", amounts, f"lines|{lines.source}"))
    for text in cue.lines:
        if columns(text) > line.value:
            amounts = columns(text), line.value
            about = f"characters|{line.source}"
            out.append(_complain(cue, number, "line length", amounts, about))
    return out


def _time_complaints(cue: Cue, number: int, profile: Profile) -> list[Complaint]:
    amounts: tuple[Fraction, Fraction]
    if cue.length_ms <= 0:
        about = "ms|W3C WebVTT, cue timings: the end is after the start"
        return [_complain(cue, number, "time on the screen", (cue.length_ms, 1), about)]
    out = []
    fastest, unit = profile.speed.fastest, profile.speed.unit
    rate = profile.speed.rate(cue.columns, cue.words, cue.length_ms)
    if rate > fastest.value:
        amounts = rate, Fraction(fastest.value)
        out.append(_complain(cue, number, "reading speed", amounts, f"{unit}|{fastest.source}"))
    seconds = Fraction(cue.length_ms, 1000)
    if profile.shortest_ms and cue.length_ms < profile.shortest_ms.value:
        amounts = seconds, Fraction(profile.shortest_ms.value, 1000)
        about = f"s|{profile.shortest_ms.source}"
        out.append(_complain(cue, number, "shortest time", amounts, about))
    if profile.longest_ms and cue.length_ms > profile.longest_ms.value:
        amounts = seconds, Fraction(profile.longest_ms.value, 1000)
        about = f"s|{profile.longest_ms.source}"
        out.append(_complain(cue, number, "longest time", amounts, about))
    return out


def _gap_complaints(before: Cue, cue: Cue, number: int, profile: Profile) -> list[Complaint]:
    gap_ms = cue.start_ms - before.end_ms
    if gap_ms < 0:
        about = "s|two captions at once"
        return [_complain(cue, number, "gap", (Fraction(gap_ms, 1000), 0), about)]
    gap = profile.gap
    if gap is None or gap_ms >= gap.shortest_ms.value or (gap_ms == 0 and gap.closed):
        return []
    amounts = Fraction(gap_ms, 1000), Fraction(gap.shortest_ms.value, 1000)
    return [_complain(cue, number, "gap", amounts, f"s|{gap.shortest_ms.source}")]
