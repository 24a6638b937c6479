"""What the overlay says at every instant of the film: pure, from the time map and the step times.

A face is made of whole seconds and rounded speeds, so that the many frames that look the same
are the same value and are drawn once.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from annotate.captions.cues import Cue
from annotate.picture.overlay import COUNT_UP_S, STAY_S, EventLine, OverlayFace, counted, event_text
from chapters.steptimes import StepTime
from chapters.timemap import Jump, Piece, TimeMap
from chapters.times import ClinicalTime, milliseconds, round_half_up

ONE = Fraction(1)


def shown_speed(speed: Fraction) -> Fraction:
    """The speed as it is written: whole numbers inside a ramp from 2 up, tenths below, 1 only for 1."""
    if speed == 1 or speed >= 2:
        return Fraction(round_half_up(speed)) if speed != 1 else ONE
    return max(Fraction(11, 10), Fraction(round_half_up(speed * 10), 10))


@dataclass(frozen=True)
class Faces:
    """The overlay of a whole film. ``mark`` stands on every face of a film not for publication.

    ``captions`` are drawn into the picture where there are any.
    """

    film: TimeMap
    rows: tuple[StepTime, ...]
    mark: str = ""
    captions: tuple[Cue, ...] = ()

    @cached_property
    def _caption_starts(self) -> list[int]:
        return [cue.start_ms for cue in self.captions]

    def _caption(self, t: Fraction) -> tuple[str, ...]:
        ms = milliseconds(t)
        index = bisect_right(self._caption_starts, ms) - 1
        if index >= 0 and ms < self.captions[index].end_ms:
            return self.captions[index].lines
        return ()

    @cached_property
    def _rows(self) -> dict[str, StepTime]:
        return {row.id: row for row in self.rows}

    @cached_property
    def _jump_times(self) -> list[Fraction]:
        return [Fraction(j.at) for j in self.film.jumps]

    def at(self, t: Fraction) -> OverlayFace | None:
        """The face at cut time ``t``; None on a card."""
        piece = self.film.piece_at(t)
        clock = piece.clinical_at(t)
        if clock is None or piece.step is None:
            return None
        row = self._rows[piece.step]
        return OverlayFace(
            number=row.number,
            count=len(self.rows),
            title=row.title,
            clock=ClinicalTime(Fraction(clock // 1)),
            step_clock=Fraction(max(Fraction(0), clock - row.clinical.start) // 1),
            speed=self._speed(piece, t),
            events=tuple(self._event(j, t) for j in self._current(t)),
            mark=self.mark,
            caption=self._caption(t),
        )

    @staticmethod
    def _speed(piece: Piece, t: Fraction) -> Fraction:
        if piece.kind != "footage":
            return ONE
        s0, s1 = piece.speed
        return s0 if s0 == s1 else shown_speed(piece.speed_at(t))

    def _current(self, t: Fraction) -> list[Jump]:
        last = bisect_right(self._jump_times, t)
        first = bisect_right(self._jump_times, t - COUNT_UP_S - STAY_S)
        return list(self.film.jumps[first:last])

    @staticmethod
    def _event(jump: Jump, t: Fraction) -> EventLine:
        if jump.lasted < 1:  # too short to be counted up
            text = event_text(jump.kind, jump.lasted, jump.reason, tenths=True)
            return EventLine(text, jump.kind)
        seconds = counted(jump.lasted, t - jump.at) or Fraction(0)
        if seconds != jump.lasted:
            seconds = Fraction(seconds // 1)
        return EventLine(event_text(jump.kind, seconds, jump.reason), jump.kind)
