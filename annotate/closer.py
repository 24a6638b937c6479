"""What only the pictures can tell of a case: starts that miss a cut, dull stretches shown in real
time, busy ones shown fast.

``look_closely`` looks at the recording, or recalls what was found when it was looked at before.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import pairwise

import numpy as np

from annotate.decide import Decided, cuts_on_line, find_in
from annotate.find import Found
from annotate.plan import near_misses
from annotate.progress import Report
from chapters.fieldtext import time_text
from chapters.proposals import DULL_SHARE, DULL_WORDS
from chapters.spans import Span, clamp, merge
from chapters.steptimes import StepTime
from chapters.stillness import StillStretch
from chapters.timemap import PartSpan
from chapters.times import duration_text, short_clock_text

#: A dull stretch of a kind is worth a word from so many seconds in real time on.
LONG_DULL_S = {
    "still": Fraction(20),
    "repeats": Fraction(60),
    "black": Fraction(5),
    "blank": Fraction(5),
    "blurred": Fraction(10),
}
#: A busy stretch is worth a word from so many seconds of recording on,
BUSY_S = 20
#: in a step this much faster than it was, where so much more of the view changes than in this
#: share of what is shown in real time;
BUSY_SPEED, BUSY_TIMES, BUSY_SHARE = 3, 1.2, 75
#: in a step that is left out, where as much changes as in the middle of what is shown.
SKIPPED_TIMES, SKIPPED_SHARE = 1.0, 50
#: Less than this share of the view is never busy.
BUSY_LEAST = 0.03
#: Rather more than one word a step is no help.
MOST_PER_STEP = 2


def look_closely(decided: Decided, report: Report) -> tuple[str, ...]:
    """A sentence for each thing; quick where the recording was looked through before."""
    hashes = [decided.hash_of(span.file) for span in decided.recording.line.parts]
    found = find_in(decided.recording, decided.folder, report, hashes)
    cuts = cuts_on_line(found, decided.recording)
    frame_s = decided.recording.typical_gap_s
    told = list(near_misses(decided.plan.steps, cuts, frame_s))
    parts = decided.recording.line.parts
    for hole in found.holes:
        for span in _on_line(hole, found, parts):
            at, lasted = short_clock_text(span.start), float(span.length)
            told.append(f"no picture from {at} for {lasted:.1f} s")
    still = still_on_line(found, parts)
    told += dull_in_real_time(decided.plan.rows, still)
    told += busy_in_haste(decided.plan.rows, amounts_on_line(found, parts), still)
    return tuple(told)


def still_on_line(found: Found, parts: Sequence[PartSpan]) -> tuple[StillStretch, ...]:
    """Dull stretches moved from the bare parts onto the line, where repeated starts are dropped."""
    moved = [
        StillStretch(span, stretch.kind, stretch.strength)
        for stretch in found.still
        for span in _on_line(stretch.span, found, parts)
    ]
    return tuple(_joined(moved))


def _on_line(span: Span, found: Found, parts: Sequence[PartSpan]) -> Iterable[Span]:
    for bare, part in zip(found.parts, parts, strict=True):
        shown = Span(bare.start + min(part.trim, bare.length), bare.end)
        inside = clamp(span, shown)
        if inside is not None:
            by = part.offset - part.trim - bare.start
            yield Span(inside.start + by, inside.end + by)


def _joined(stretches: Iterable[StillStretch]) -> Iterable[StillStretch]:
    """Two parts of one stretch that meet where one file ends and the next begins, as one again."""
    out: list[StillStretch] = []
    for stretch in sorted(stretches, key=lambda s: s.span):
        if out and out[-1].kind == stretch.kind and out[-1].span.end == stretch.span.start:
            strength = min(out[-1].strength, stretch.strength)
            whole = Span(out[-1].span.start, stretch.span.end)
            out[-1] = StillStretch(whole, stretch.kind, strength)
        else:
            out.append(stretch)
    return out


def amounts_on_line(found: Found, parts: Sequence[PartSpan]) -> tuple[tuple[Fraction, float], ...]:
    """(second on the line, share of the view that changes there), in order."""
    out: list[tuple[Fraction, float]] = []
    for bare, span in zip(found.parts, parts, strict=True):
        for n, amount in enumerate(found.moves.amount):
            own = found.moves.start + n - bare.start
            if span.trim <= own and own + 1 <= bare.length:
                out.append((own - span.trim + span.offset, amount))
    return tuple(out)


def dull_in_real_time(rows: Sequence[StepTime], still: Sequence[StillStretch]) -> tuple[str, ...]:
    """A sentence for each long dull stretch in a step that is shown in real time."""
    told: list[str] = []
    for row in rows:
        if row.show != "real":
            continue
        inside = [(s, clamp(s.span, row.recording)) for s in still]
        long = [(s, c) for s, c in inside if c and c.length >= LONG_DULL_S.get(s.kind, 20)]
        long.sort(key=lambda pair: -pair[1].length)
        for stretch, span in sorted(long[:MOST_PER_STEP], key=lambda pair: pair[1]):
            what = DULL_WORDS.get(stretch.kind, stretch.kind)
            whole = span.length >= DULL_SHARE * row.recording.length
            way = "write" if whole else "make that a step of its own with"
            told.append(
                f"step {row.id} is shown in real time, but {what} from {_place(span)}; "
                f"{way} show: {_way(stretch.kind)}"
            )
    return tuple(told)


def _way(kind: str) -> str:
    return "skip" if kind in ("black", "blank") else "fast, or skip"


def _place(span: Span) -> str:
    return f"{_second(span.start)} to {_second(span.end)} ({duration_text(span.length)})"


def _second(at: Fraction) -> str:
    return time_text(Fraction(round(at)))


def busy_in_haste(
    rows: Sequence[StepTime],
    amounts: Sequence[tuple[Fraction, float]],
    still: Sequence[StillStretch],
) -> tuple[str, ...]:
    """A sentence for each long stretch of a fast step that is busier than what is shown in real time.

    Without a step in real time there is nothing to hold it against, and nothing is said.
    """
    dull = merge(s.span for s in still)
    lively = [
        (at, amount)
        for at, amount in amounts
        if not any(d.start < at + 1 and at < d.end for d in dull)
    ]
    real = [row.recording for row in rows if row.show == "real"]
    shown = [amount for at, amount in lively if any(span.holds(at) for span in real)]
    if len(shown) < BUSY_S:
        return ()
    fast = max(BUSY_LEAST, BUSY_TIMES * float(np.percentile(shown, BUSY_SHARE)))
    skipped = max(BUSY_LEAST, SKIPPED_TIMES * float(np.percentile(shown, SKIPPED_SHARE)))
    told: list[str] = []
    for row in rows:
        if row.show != "skip" and (row.show == "real" or (row.speed or 1) < BUSY_SPEED):
            continue
        own = [(at, amount) for at, amount in lively if row.recording.holds(at)]
        if row.show == "skip":
            said = "is left out, but as much goes on from {} as in what is shown in real time"
        else:
            said = f"is shown at {_speed(row.speed)}, but more goes on from {{}} than in most of "
            said += "what is shown in real time"
        for span in _busy(own, skipped if row.show == "skip" else fast)[:MOST_PER_STEP]:
            words = said.format(_place(span))
            told.append(f"step {row.id} {words}; look whether it hides something")
    return tuple(told)


def _speed(speed: Fraction | None) -> str:
    return f"{float(speed or 1):.3g}x"


def _busy(own: Sequence[tuple[Fraction, float]], limit: float) -> list[Span]:
    """Stretches of at least BUSY_S whose amount is above the limit, taken over BUSY_S at a time."""
    windows: list[Span] = []
    for first in range(len(own) - BUSY_S + 1):
        window = own[first : first + BUSY_S]
        whole = all(b[0] - a[0] <= 2 for a, b in pairwise(window))
        if whole and float(np.mean([amount for _, amount in window])) > limit:
            windows.append(Span(window[0][0], window[-1][0] + 1))
    out = []
    for span in merge(windows):
        above = [at for at, amount in own if span.holds(at) and amount > limit]
        if above and above[-1] + 1 - above[0] >= BUSY_S:
            out.append(Span(above[0], above[-1] + 1))
    return out
