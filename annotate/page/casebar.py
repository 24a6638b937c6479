"""Time map -> what the case bar draws: the whole case in clinical time, each second in one kind.

The clinical time of a recording time is ``r + sum of away with at <= r`` (right-continuous); a
span's clinical end takes the left limit. Pure: exact seconds in, exact seconds out.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from annotate.page.data import AwayTime, PageData, Piece
from chapters.spans import Span
from chapters.times import round_half_up

Kind = Literal["real", "fast", "not_shown", "away"]


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of clinical time of one kind.

    ``speed`` is the highest speed in it, ``cut`` the moment of the film that a click leads to,
    ``note`` the reason of an away time.
    """

    kind: Kind
    clinical: Span
    step: str | None
    speed: Fraction
    cut: Fraction
    note: str = ""


@dataclass(frozen=True, slots=True)
class Joint:
    """A moment of the film at which clinical time passes that the film does not show."""

    cut: Fraction
    kind: Literal["not_shown", "away"]
    lasted: Fraction
    note: str


def clinical_at(away: tuple[AwayTime, ...], r: Fraction) -> Fraction:
    """Clinical time of recording time ``r``."""
    return r + sum((a.lasted for a in away if a.at <= r), Fraction(0))


def clinical_before(away: tuple[AwayTime, ...], r: Fraction) -> Fraction:
    """The limit of clinical time as recording time comes up to ``r``."""
    return r + sum((a.lasted for a in away if a.at < r), Fraction(0))


def recording_in(piece: Piece, u: Fraction) -> Fraction:
    """Recording seconds since the piece's start at ``u`` in 0..1 of its cut length.

    r(u) = d (s0 u + (s1 - s0)(u^3 - u^4 / 2)): the integral of the eased speed
    s(u) = s0 + (s1 - s0)(3 u^2 - 2 u^3).
    """
    s0, s1 = piece.speed
    return piece.cut.length * (s0 * u + (s1 - s0) * (u**3 - u**4 / 2))


def cut_at(pieces: tuple[Piece, ...], r: Fraction, end: Fraction) -> Fraction:
    """The moment of the film that shows ``r``, or the first one after it; ``end`` where none does."""
    for piece in pieces:
        span = piece.recording
        if piece.kind != "footage" or span is None or r >= span.end:
            continue
        if r <= span.start:
            return piece.cut.start
        return piece.cut.start + piece.cut.length * _invert(piece, r - span.start)
    return end


def _invert(piece: Piece, consumed: Fraction) -> Fraction:
    """The ``u`` at which ``consumed`` recording seconds have passed, to a thousand-millionth."""
    s0, s1 = piece.speed
    if s0 == s1:
        return consumed / recording_in(piece, Fraction(1))
    low, high = 0, 2**30
    while high - low > 1:
        middle = (low + high) // 2
        if recording_in(piece, Fraction(middle, 2**30)) <= consumed:
            low = middle
        else:
            high = middle
    return Fraction(low, 2**30)


def _spread(page: PageData, span: Span, kind: Kind, like: Segment) -> list[Segment]:
    """The clinical stretches of one span of recording, broken where away time stands inside it."""
    inner = [a.at for a in page.away if span.start < a.at < span.end]
    edges = sorted({span.start, span.end, *inner})
    out = []
    for start, end in pairwise(edges):
        clinical = Span(clinical_at(page.away, start), clinical_before(page.away, end))
        out.append(Segment(kind, clinical, like.step, like.speed, like.cut))
    return out


def _footage(page: PageData) -> list[Segment]:
    out: list[Segment] = []
    for piece in page.pieces:
        if piece.kind != "footage" or piece.recording is None:
            continue
        kind: Kind = "real" if set(piece.speed) == {Fraction(1)} else "fast"
        like = Segment(
            kind, Span(piece.cut.start, piece.cut.start), piece.step, max(piece.speed), Fraction(0)
        )
        for one in _spread(page, piece.recording, kind, like):
            start_r = piece.recording.start
            for a in page.away:
                if a.at > start_r and clinical_at(page.away, a.at) <= one.clinical.start:
                    start_r = a.at
            at = cut_at(page.pieces, start_r, page.length)
            out.append(Segment(kind, one.clinical, one.step, one.speed, at))
    return out


def _away(page: PageData) -> list[Segment]:
    out: list[Segment] = []
    for a in page.away:
        held = next((s for s in page.steps if s.clinical.holds(a.clinical)), None)
        at = cut_at(page.pieces, a.at, page.length)
        span = Span(a.clinical, a.clinical + a.lasted)
        out.append(Segment("away", span, held.id if held else None, Fraction(1), at, a.reason))
    return out


def _hidden(page: PageData) -> list[Segment]:
    out: list[Segment] = []
    for h in page.hidden:
        at = cut_at(page.pieces, h.recording.end, page.length)
        like = Segment("not_shown", h.clinical, h.step, Fraction(1), at)
        out.extend(_spread(page, h.recording, "not_shown", like))
    return out


def segments(page: PageData) -> tuple[Segment, ...]:
    """Every clinical second once, in order; neighbours of one kind and step are one segment."""
    every = sorted(
        (s for s in _footage(page) + _hidden(page) + _away(page) if s.clinical.length > 0),
        key=lambda s: (s.clinical.start, s.clinical.end),
    )
    out: list[Segment] = []
    for one in every:
        last = out[-1] if out else None
        if (
            last is not None
            and one.kind != "away"
            and (last.kind, last.step) == (one.kind, one.step)
            and last.clinical.end == one.clinical.start
        ):
            joined = Span(last.clinical.start, one.clinical.end)
            out[-1] = Segment(
                last.kind, joined, last.step, max(last.speed, one.speed), last.cut, last.note
            )
        else:
            out.append(one)
    return tuple(out)


def joints(parts: tuple[Segment, ...]) -> tuple[Joint, ...]:
    """The moments at which the film passes over clinical time, in the order of the film."""
    out = [
        Joint(s.cut, s.kind, s.clinical.length, s.note)
        for s in parts
        if s.kind == "not_shown" or s.kind == "away"  # noqa: PLR1714 (mypy narrows only so)
    ]
    return tuple(sorted(out, key=lambda j: j.cut))


def axis(total: Fraction, most: int = 8) -> tuple[Fraction, ...]:
    """Round clinical times for the axis, at most ``most`` of them, from 0."""
    for step in (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 18000, 36000):
        if total / step <= most:
            return tuple(Fraction(step * i) for i in range(int(total / step) + 1))
    return (Fraction(0),)


def sketch(parts: tuple[Segment, ...]) -> str:
    """The bar in one short text for a card: a letter and whole seconds for each run of one kind."""
    letters: dict[Kind, str] = {"real": "r", "fast": "f", "not_shown": "n", "away": "a"}
    runs: list[tuple[str, Fraction]] = []
    for part in parts:
        letter = letters[part.kind]
        if runs and runs[-1][0] == letter:
            runs[-1] = (letter, runs[-1][1] + part.clinical.length)
        else:
            runs.append((letter, part.clinical.length))
    return "".join(f"{letter}{max(1, round_half_up(length))}" for letter, length in runs)
