"""The room's own sound in step with the film: kept in real time, stretched up to 2×, else silent.

Sample ``n`` of the film stands at ``n / 48000`` s of cut time and is the recording's sample at the
recording time on screen then, whichever part holds it. Where the picture runs at up to twice real
time the sound is quickened without a change of pitch, at most 10 ms off the picture; faster
footage has none. Every joint is faded over a few milliseconds, so that no step of the waveform
clicks.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from annotate.recording import Recording
from annotate.sound.stretch import stretched
from chapters.media.samples import SampleReader
from chapters.timemap import Piece, TimeMap
from chapters.times import round_half_up

RATE_HZ = 48000
#: A joint is faded out and in over this time each.
FADE_S = Fraction(5, 1000)
#: Footage faster than this has no sound: quickened more, nothing in it can be made out.
FASTEST_HEARD = Fraction(2)
_BLOCK = RATE_HZ

Samples = NDArray[np.float32]


class Room(Protocol):
    """Sound by recording time; ``length`` of the whole in seconds."""

    length: Fraction

    def read(self, start: Fraction, count: int) -> Samples:
        """``count`` samples, float32 (count, 2), from recording time ``start`` on."""


class _Room:
    """The sound of all parts by recording time; one part is open at a time."""

    def __init__(self, recording: Recording, stack: ExitStack) -> None:
        self._recording = recording
        self._stack = stack
        self._part = -1
        self._reader: SampleReader | None = None
        self.length = recording.line.length

    def read(self, start: Fraction, count: int) -> Samples:
        """``count`` samples from recording time ``start`` on, silence where there is no sound."""
        out = np.zeros((count, 2), np.float32)
        done = 0
        while done < count:
            r = start + Fraction(done, RATE_HZ)
            span = self._recording.line.part_at(r)
            left = span.offset + span.length - r
            n = min(count - done, max(1, -(-left * RATE_HZ // 1)))
            own = r - span.offset + span.trim
            index = self._recording.line.parts.index(span)
            out[done : done + n] = self._from(index, own, int(n))
            done += int(n)
        return out

    def _from(self, index: int, own: Fraction, count: int) -> Samples:
        probe = self._recording.probes[index]
        if probe.sound is None:
            return np.zeros((count, 2), np.float32)
        if index != self._part:
            self._stack.close()
            reader = SampleReader(self._recording.paths[index], probe, RATE_HZ)
            self._reader, self._part = self._stack.enter_context(reader), index
        assert self._reader is not None
        return self._reader.read(own, own + Fraction(count, RATE_HZ))


def _first_sample(t: Fraction) -> int:
    return round_half_up(t * RATE_HZ)


@dataclass(frozen=True, slots=True)
class Run:
    """Cut time ``[start, end)`` of one continuous sound; without pieces it is silent."""

    start: Fraction
    end: Fraction
    pieces: tuple[Piece, ...] = ()

    @property
    def is_real(self) -> bool:
        """Whether the recording's own samples are heard."""
        return bool(self.pieces) and all(piece.is_real for piece in self.pieces)

    def recording_at(self, t: Fraction) -> Fraction:
        """Recording time on screen at cut time ``t``, which may lie a little outside the run."""
        piece = next((p for p in self.pieces if t < p.cut.end), self.pieces[-1])
        inside = min(max(t, piece.cut.start), piece.cut.end)
        assert piece.recording is not None
        return piece.recording.start + piece.consumed(inside) + (t - inside)


def sound_runs(film: TimeMap) -> tuple[Run, ...]:
    """The whole film as runs, in order, none empty."""
    runs: list[Run] = []
    for piece in film.pieces:
        for run in _runs_of(piece):
            if runs and _goes_on(runs[-1], run):
                runs[-1] = Run(runs[-1].start, run.end, runs[-1].pieces + run.pieces)
            else:
                runs.append(run)
    return tuple(runs)


def _runs_of(piece: Piece) -> list[Run]:
    """One piece: heard, silent, or a ramp of which only the slow end is heard."""
    start, end = piece.cut.start, piece.cut.end
    slow = [speed <= FASTEST_HEARD for speed in piece.speed]
    if piece.kind != "footage" or not any(slow):
        return [Run(start, end)]
    if all(slow):
        return [Run(start, end, (piece,))]
    border = _border(piece, rising=slow[0])
    if slow[0]:
        halves = [Run(start, border, (piece,)), Run(border, end)]
    else:
        halves = [Run(start, border), Run(border, end, (piece,))]
    return [run for run in halves if run.end > run.start]


def _border(piece: Piece, *, rising: bool) -> Fraction:
    """The first sample's time at which a ramp passes the fastest speed that is heard."""
    low, high = _first_sample(piece.cut.start), _first_sample(piece.cut.end)
    while high - low > 1:
        middle = (low + high) // 2
        t = min(max(Fraction(middle, RATE_HZ), piece.cut.start), piece.cut.end)
        if (piece.speed_at(t) > FASTEST_HEARD) == rising:
            high = middle
        else:
            low = middle
    return min(max(Fraction(high, RATE_HZ), piece.cut.start), piece.cut.end)


def _goes_on(before: Run, after: Run) -> bool:
    """Whether two runs are one: both silent, or sound of one kind that runs on."""
    if not before.pieces or not after.pieces:
        return not before.pieces and not after.pieces
    if before.is_real != after.is_real:
        return False
    return before.recording_at(before.end) == after.recording_at(after.start)


def room_sound(film: TimeMap, recording: Recording) -> Iterator[Samples]:
    """The film's sound, float32 (n, 2) in blocks of about a second, exactly as long as the film."""
    with ExitStack() as stack:
        yield from film_sound(film, _Room(recording, stack))


def film_sound(film: TimeMap, room: Room) -> Iterator[Samples]:
    """The same from anything that reads sound by recording time."""
    total = _first_sample(film.length)
    at = 0
    for run in sound_runs(film):
        first, last = _first_sample(run.start), min(total, _first_sample(run.end))
        for block in _sounding(run, room, first, last - first):
            yield block * _fade(at - first, len(block), last - first)[:, None]
            at += len(block)
    if total > at:
        yield np.zeros((total - at, 2), np.float32)


def _sounding(run: Run, room: Room, first: int, count: int) -> Iterator[Samples]:
    """The run's samples, of which ``first`` is the first one's number in the film."""
    if run.pieces and not run.is_real:
        course = _Course(run, room, first)
        yield from stretched(course.read, course.source_at, count, _BLOCK)
        return
    for done in range(0, count, _BLOCK):
        n = min(_BLOCK, count - done)
        if run.pieces:
            yield room.read(run.recording_at(Fraction(first + done, RATE_HZ)), n)
        else:
            yield np.zeros((n, 2), np.float32)


class _Course:
    """The recording's samples around a quickened run, counted from the run's own start."""

    def __init__(self, run: Run, room: Room, first: int) -> None:
        self._run, self._room, self._first = run, room, first
        self._origin = run.recording_at(run.start)
        self._held = np.zeros((0, 2), np.float32)
        self._held_at = 0

    def source_at(self, n: int) -> int:
        """Source sample on screen at output sample ``n`` of the run."""
        t = Fraction(self._first + n, RATE_HZ)
        return _first_sample(self._run.recording_at(t) - self._origin)

    def read(self, start: int, count: int) -> Samples:
        """Source samples; the last two seconds are kept, so that looking back reads nothing anew."""
        end = start + count
        if not len(self._held) or start < self._held_at:
            self._held_at, self._held = start, self._from(start, count)
        have = self._held_at + len(self._held)
        if end > have:
            self._held = np.concatenate(
                [self._held, self._from(have, max(end - have, _BLOCK // 4))]
            )
        if len(self._held) > 3 * _BLOCK:
            drop = len(self._held) - 2 * _BLOCK
            drop = min(drop, start - self._held_at)
            self._held, self._held_at = self._held[drop:].copy(), self._held_at + drop
        return self._held[start - self._held_at : end - self._held_at]

    def _from(self, start: int, count: int) -> Samples:
        """Read from the recording; silence stands before its beginning and after its end."""
        out = np.zeros((count, 2), np.float32)
        begin = self._origin + Fraction(start, RATE_HZ)
        lead = min(count, max(0, -_first_sample(begin)))
        length = _first_sample(self._room.length - begin)
        n = min(count, length) - lead
        if n > 0:
            out[lead : lead + n] = self._room.read(begin + Fraction(lead, RATE_HZ), n)
        return out


def _fade(at: int, n: int, length: int) -> Samples:
    """Gain of samples ``at`` to ``at + n`` of a run of ``length``: up at its start, down at its end."""
    over = max(1, round_half_up(FADE_S * RATE_HZ))
    index = np.arange(at, at + n, dtype=np.float32)
    gain = np.minimum((index + 1) / over, (length - index) / over)
    return np.clip(gain, 0, 1).astype(np.float32)
