"""The exact relation of the three clocks: recording ``r``, clinical ``c``, cut ``t``.

A ``Line`` lays the parts of a recording end to end and knows the time away; a ``TimeMap`` is the
film as a list of pieces, each ``[t0, t1)`` of cut time: footage (at constant speed or in a ramp),
a still (the clock holds) or a card (the clock is hidden). A jump of ``r`` between two pieces of
footage is recording that the film does not show.

``c(r)`` is continuous from the right: time away at ``r`` has passed for the frame that starts at
``r``, and has not yet passed for a span that ends there.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Literal

from chapters.case import Away, Still
from chapters.ramps import ramp_consumed, ramp_speed, share_at
from chapters.spans import Span, subtract
from chapters.times import ClinicalTime, CutTime, RecordingTime

PieceKind = Literal["footage", "still", "card"]
CardKind = Literal["title", "closing"]
ZERO = Fraction(0)
ONE = Fraction(1)
#: Just before an instant: shorter than any frame. A held last picture lies this far before its end.
HAIR_S = Fraction(1, 10**6)


@dataclass(frozen=True, slots=True)
class PartSpan:
    """One part on the recording's line; a part's own time is ``r - offset + trim``.

    ``trim`` is what is dropped from its start because the part before holds it already.
    """

    file: str
    offset: Fraction
    length: Fraction
    trim: Fraction = ZERO

    @property
    def span(self) -> Span:
        """Where the part lies in recording time."""
        return Span(self.offset, self.offset + self.length)


@dataclass(frozen=True)
class Line:
    """The parts end to end, and the clinical time that passed while nothing was recorded."""

    parts: tuple[PartSpan, ...]
    away: tuple[Away, ...] = ()

    def __post_init__(self) -> None:
        at = ZERO
        for part in self.parts:
            if part.offset != at:
                raise ValueError(f"{part.file} starts at {part.offset}, not at {at}")
            at += part.length
        if any(a.at > b.at for a, b in zip(self.away, self.away[1:], strict=False)):
            raise ValueError("time away is not in order")

    @property
    def length(self) -> Fraction:
        """Recording seconds of all parts."""
        return sum((p.length for p in self.parts), ZERO)

    @cached_property
    def _away_at(self) -> list[Fraction]:
        return [Fraction(a.at) for a in self.away]

    @cached_property
    def _away_sum(self) -> list[Fraction]:
        sums = [ZERO]
        for a in self.away:
            sums.append(sums[-1] + a.lasted)
        return sums

    def clinical(self, r: Fraction) -> ClinicalTime:
        """Clinical time of the frame that starts at ``r``; time away at ``r`` has passed."""
        return ClinicalTime(r + self._away_sum[bisect_right(self._away_at, r)])

    def clinical_before(self, r: Fraction) -> ClinicalTime:
        """Clinical time of a span that ends at ``r``; time away at ``r`` has not yet passed."""
        return ClinicalTime(r + self._away_sum[bisect_left(self._away_at, r)])

    def recording(self, c: Fraction) -> RecordingTime | None:
        """The recording time shown at clinical time ``c``, None while away or outside."""
        if c < 0 or c > self.clinical(self.length):
            return None
        gone = ZERO
        for a in self.away:
            if c < a.at + gone:
                break
            if c < a.at + gone + a.lasted:
                return None
            gone += a.lasted
        r = c - gone
        return RecordingTime(r) if r <= self.length else None

    def away_within(self, span: Span, *, ends: bool = False) -> tuple[Away, ...]:
        """Time away strictly inside a span of recording time; with ``ends`` also on its borders."""
        if ends:
            return tuple(a for a in self.away if span.start <= a.at <= span.end)
        return tuple(a for a in self.away if span.start < a.at < span.end)

    def part_at(self, r: Fraction) -> PartSpan:
        """The part that holds the frame at ``r``; the last part holds the end as well."""
        for part in reversed(self.parts):
            if r >= part.offset and part.length > 0:
                return part
        return self.parts[0]


@dataclass(frozen=True, slots=True)
class Piece:
    """``[t0, t1)`` of the film. ``recording`` and ``clinical`` are None on a card.

    On a still both are empty spans (the clock holds); a still without a picture of its own holds
    the recording's picture at that instant. ``speed`` holds the speeds at its two ends.
    """

    kind: PieceKind
    cut: Span
    recording: Span | None
    clinical: Span | None
    speed: tuple[Fraction, Fraction]
    step: str | None = None
    still: Still | None = None
    card: CardKind | None = None

    @property
    def is_real(self) -> bool:
        """Footage at real time."""
        return self.kind == "footage" and self.speed == (ONE, ONE)

    def _share(self, t: Fraction) -> Fraction:
        return (t - self.cut.start) / self.cut.length

    def consumed(self, t: Fraction) -> Fraction:
        """Recording seconds consumed from the piece's start to cut time ``t``; 0 off footage."""
        if self.kind != "footage":
            return ZERO
        s0, s1 = self.speed
        if s0 == s1:
            return (t - self.cut.start) * s0
        return ramp_consumed(s0, s1, self.cut.length, self._share(t))

    def recording_at(self, t: Fraction) -> RecordingTime | None:
        """Recording time on screen at cut time ``t``; None on a card."""
        if self.recording is None:
            return None
        return RecordingTime(self.recording.start + self.consumed(t))

    def clinical_at(self, t: Fraction) -> ClinicalTime | None:
        """Clinical time at cut time ``t``; None on a card, held on a still."""
        if self.clinical is None:
            return None
        return ClinicalTime(self.clinical.start + self.consumed(t))

    def speed_at(self, t: Fraction) -> Fraction:
        """Recording seconds per cut second at ``t``; 0 on stills and cards."""
        if self.kind != "footage":
            return ZERO
        s0, s1 = self.speed
        return s0 if s0 == s1 else ramp_speed(s0, s1, self._share(t))

    def cut_at(self, r: Fraction) -> CutTime:
        """Cut time at which footage reaches ``r`` (inside the piece's recording span)."""
        if self.recording is None or self.kind != "footage":
            return CutTime(self.cut.start)
        done = r - self.recording.start
        s0, s1 = self.speed
        if s0 == s1:
            return CutTime(self.cut.start + done / s0)
        return CutTime(self.cut.start + self.cut.length * share_at(s0, s1, self.cut.length, done))


@dataclass(frozen=True, slots=True)
class Jump:
    """What the picture must say at cut time ``at``: clinical time that passed unseen just before.

    ``kind`` is ``not_shown`` (recorded, left out of the film) or ``away`` (never recorded).
    """

    kind: Literal["not_shown", "away"]
    at: CutTime
    lasted: Fraction
    reason: str
    step: str | None


@dataclass(frozen=True)
class TimeMap:
    """The whole film. Pieces follow one another from 0 without a gap."""

    fps: Fraction
    line: Line
    pieces: tuple[Piece, ...]

    def __post_init__(self) -> None:
        at, r = ZERO, ZERO
        for piece in self.pieces:
            if piece.cut.start != at or piece.cut.length <= 0:
                raise ValueError(f"pieces do not follow one another at {at}")
            at = piece.cut.end
            if piece.recording is not None:
                if piece.recording.start < r - (HAIR_S if piece.kind == "still" else 0):
                    raise ValueError(f"the recording runs backward at {at}")
                r = max(r, piece.recording.end)

    @property
    def frame_count(self) -> int:
        """Frames of the film: the last piece is shown to the end of its last frame."""
        frames = self.pieces[-1].cut.end * self.fps if self.pieces else ZERO
        return -((-frames.numerator) // frames.denominator)

    @property
    def length(self) -> CutTime:
        """Seconds of the film, a whole number of frames."""
        return CutTime(Fraction(self.frame_count) / self.fps)

    @cached_property
    def _starts(self) -> list[Fraction]:
        return [p.cut.start for p in self.pieces]

    @cached_property
    def footage(self) -> tuple[Piece, ...]:
        """The pieces that show the recording, in order."""
        return tuple(p for p in self.pieces if p.kind == "footage")

    def piece_at(self, t: Fraction) -> Piece:
        """The piece on screen at ``t``; past the end the last one. Raises IndexError before 0."""
        if t < 0 or not self.pieces:
            raise IndexError(f"{t} is not in the film")
        return self.pieces[bisect_right(self._starts, t) - 1]

    def recording_at(self, t: Fraction) -> RecordingTime | None:
        """Recording time on screen at ``t``; None on cards."""
        return self.piece_at(t).recording_at(t)

    def clinical_at(self, t: Fraction) -> ClinicalTime | None:
        """What the clock says at ``t``; None on cards."""
        return self.piece_at(t).clinical_at(t)

    def speed_at(self, t: Fraction) -> Fraction:
        """Recording seconds per cut second at ``t``; 0 on stills and cards."""
        return self.piece_at(t).speed_at(t)

    def cut_at(self, r: Fraction) -> tuple[CutTime, bool]:
        """Where ``r`` is in the film, and whether it is shown; unseen ``r`` gives the next kept edge.

        After the last footage the edge is that footage's end. Raises LookupError without footage.
        """
        for piece in self.footage:
            assert piece.recording is not None
            if r < piece.recording.start:
                return CutTime(piece.cut.start), False
            if r < piece.recording.end:
                return piece.cut_at(r), True
        if not self.footage:
            raise LookupError("the film shows no footage")
        return CutTime(self.footage[-1].cut.end), False

    def step_cut(self, step_id: str) -> Span | None:
        """Where a step lies in the film, its stills included; None where it is not shown."""
        own = [p.cut for p in self.pieces if p.step == step_id]
        return Span(own[0].start, own[-1].end) if own else None

    @cached_property
    def not_shown(self) -> tuple[Span, ...]:
        """Recording time that the film leaves out, in order."""
        shown = [p.recording for p in self.footage if p.recording is not None]
        return subtract(Span(ZERO, self.line.length), shown)

    @cached_property
    def jumps(self) -> tuple[Jump, ...]:
        """Every instant at which the clock jumps between footage, in film order."""
        found: list[Jump] = []
        last = ZERO
        for piece in self.footage:
            assert piece.recording is not None
            hidden = Span(last, piece.recording.start)
            at = CutTime(piece.cut.start)
            if hidden.length > 0:
                found.append(Jump("not_shown", at, hidden.length, "", piece.step))
            found.extend(
                Jump("away", at, away.lasted, away.reason, piece.step)
                for away in self.line.away_within(hidden, ends=True)
            )
            last = piece.recording.end
        return tuple(found)
