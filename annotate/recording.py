"""A case's recording opened: every part probed, laid on one line, its pictures handed out by time."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chapters.assemble import make_line
from chapters.case import Case, Part, Step
from chapters.errors import InputError, RecordingError
from chapters.media.files import check_input
from chapters.media.frames import FrameReader, Picture, Undrawn
from chapters.media.probe import Damage, Probe, probe
from chapters.spans import Span
from chapters.timemap import Line, PartSpan
from chapters.times import exact_text, from_exact_text, short_clock_text

Plane = NDArray[np.uint8]

#: A jump ahead is sought where it passes over more than this; else it is read through.
SEEK_SAVES_S = Fraction(1, 2)
#: Damage with less than this between is one stretch to the reader.
ONE_DAMAGE_S = Fraction(1)


class RecordingErrors(InputError):
    """Every part that cannot be used, each with its own sentence."""

    def __init__(self, errors: Sequence[tuple[Part, RecordingError]]) -> None:
        self.errors = tuple(errors)
        super().__init__("\n".join(str(error) for _, error in errors))


@dataclass(frozen=True)
class Recording:
    """The parts as found on disk and the line they make together."""

    paths: tuple[Path, ...]
    probes: tuple[Probe, ...]
    line: Line

    @property
    def typical_gap_s(self) -> Fraction:
        """The usual distance of two frames of the first part, seconds."""
        line = self.probes[0].timeline
        gaps = np.diff(line.shown)
        return Fraction(int(np.median(gaps))) * line.time_base if len(gaps) else Fraction(0)

    def frame_at(self, r: Fraction) -> tuple[int, int]:
        """Which frame is on screen at ``r``: the part's index and the frame's tick in that part."""
        span = self.line.part_at(r)
        index = self.line.parts.index(span)
        timeline = self.probes[index].timeline
        shown = timeline.index_at(r - span.offset + span.trim)
        return index, int(timeline.shown[shown])

    def notices(self, steps: Sequence[Step], *, sound: bool = True) -> tuple[str, ...]:
        """What the probes have to say of each part; of damage also which steps it touches.

        ``sound`` False leaves out what is wrong with a sound that the film does not keep.
        """
        told: list[str] = []
        for span, probed in zip(self.line.parts, self.probes, strict=True):
            told += [f"{span.file}: {n}" for n in probed.notices if sound or "sound" not in n]
            told += damage_sentences(span, probed.damage, steps)
        return tuple(told)

    @cached_property
    def key_times(self) -> tuple[Fraction, ...]:
        """Recording times of all pictures that decoding can begin at, in order."""
        return tuple(
            span.offset - span.trim + at
            for span, probed in zip(self.line.parts, self.probes, strict=True)
            for at in probed.key_times
            if span.trim <= at < span.trim + span.length
        )

    @property
    def display_size_px(self) -> tuple[int, int]:
        """Width and height of the largest part, upright and with square pixels."""
        largest = max(self.probes, key=lambda p: p.video.width_px * p.video.height_px)
        return largest.video.width_px, largest.video.height_px


def open_recording(case: Case, find_file: Callable[[str], Path]) -> Recording:
    """Probe every part of a case; ``find_file`` gives the path of a file that the case names.

    Raises RecordingErrors naming every part that cannot be used.
    """
    paths: list[Path] = []
    probes: list[Probe] = []
    errors: list[tuple[Part, RecordingError]] = []
    for part in case.parts:
        try:
            path = check_input(find_file(part.file), part.file)
            probes.append(probe(path, part.file))
            paths.append(path)
        except RecordingError as error:
            errors.append((part, error))
    if errors:
        raise RecordingErrors(errors)
    line = make_line(case, [p.length for p in probes], clock_gaps(probes))
    return Recording(tuple(paths), tuple(probes), line)


def damage_sentences(
    part: PartSpan, damage: Sequence[Damage], steps: Sequence[Step]
) -> tuple[str, ...]:
    """Where a part is damaged, in recording time, and which steps lie there.

    Damage of the pictures that lies close together is told in one sentence.
    """
    shift = part.offset - part.trim
    groups: list[tuple[Span, list[str]]] = []
    for one in sorted(damage, key=lambda d: d.span):
        span = Span(one.span.start + shift, one.span.end + shift)
        within = one.span.start < part.trim + part.length
        if groups and within and span.start - groups[-1][0].end <= ONE_DAMAGE_S:
            known, whats = groups[-1]
            span = Span(known.start, max(known.end, span.end))
            groups[-1] = (span, whats if one.what in whats else [*whats, one.what])
        else:
            groups.append((span, [one.what]))
    end = part.offset + part.length
    return tuple(f"{part.file}: {_damaged(span, end, whats, steps)}" for span, whats in groups)


def _damaged(span: Span, end: Fraction, whats: Sequence[str], steps: Sequence[Step]) -> str:
    if span.length == 0 or span.start >= end:
        where = f"at {_tenths(span.start)}"
    else:
        where = f"from {_tenths(span.start)} to {_tenths(min(span.end, end))}"
    touched = [s.id for s in steps if _touches(span, end, s)]
    tail = f"; it touches {', '.join(touched)}" if touched else ""
    return f"{where}: {', '.join(whats)}{tail}"


def _touches(span: Span, end: Fraction, step: Step) -> bool:
    """Whether damage lies in a step; what is lost at a part's end belongs to the step that runs to it."""
    if span.start >= end:
        return step.start < end and (step.end is None or step.end >= end)
    if step.start >= min(span.end, end) and step.start != span.start:
        return False
    return step.end is None or step.end > span.start


def _tenths(seconds: Fraction) -> str:
    return f"{short_clock_text(seconds)}.{int(seconds % 1 * 10)}"


def met_damage(
    recording: Recording, values: Iterable[Sequence[str]], steps: Sequence[Step]
) -> tuple[str, ...]:
    """Sentences for damage met while drawing (``Pictures.damage_values``); known damage is not told again."""
    met: dict[int, dict[Damage, None]] = {}
    for part, start, end, what in values:
        index = int(part)
        damage = Damage(Span(from_exact_text(start), from_exact_text(end)), what)
        if all(damage.span != known.span for known in recording.probes[index].damage):
            met.setdefault(index, {})[damage] = None
    told: list[str] = []
    for index in sorted(met):
        told += damage_sentences(recording.line.parts[index], list(met[index]), steps)
    return tuple(told)


def clock_gaps(probes: Sequence[Probe]) -> list[Fraction]:
    """The gap before each part by the creation times: 0 where a clock is missing or runs back."""
    gaps = [Fraction(0)]
    for before, after in pairwise(probes):
        gap = Fraction(0)
        if before.creation_time is not None and after.creation_time is not None:
            seconds = (after.creation_time - before.creation_time).total_seconds()
            gap = max(Fraction(0), Fraction(seconds).limit_denominator(1000) - before.length)
        gaps.append(gap)
    return gaps


class Pictures:
    """The picture on screen at a recording time: the last frame whose time stamp is at or before it.

    Ask in rising order; a jump ahead is sought. Frames that are passed over are not converted.
    Memory holds two pictures, however long the recording. ``size_px`` is the size every part is
    fitted to; ``decoder_threads`` 0 lets the decoder choose.
    """

    def __init__(
        self,
        recording: Recording,
        size_px: tuple[int, int],
        case: Case,
        *,
        decoder_threads: int = 0,
    ) -> None:
        self._recording = recording
        self._size_px = size_px
        self._case = case
        self._threads = decoder_threads
        self._part = -1
        self._reader: FrameReader | None = None
        self._frames: Iterator[Undrawn] = iter(())
        self._now: Undrawn | None = None
        self._next: Undrawn | None = None
        self._damage: list[tuple[int, Damage]] = []

    def __enter__(self) -> Pictures:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def planes_at(
        self,
        r: Fraction,
        into: tuple[Plane, Plane, Plane] | None = None,
        then: Fraction | None = None,
    ) -> tuple[Plane, Plane, Plane]:
        """Y, U and V of the picture at ``r``, fresh each time or ``into`` planes of the caller.

        The caller may draw on them. ``then``: the ``r`` that is asked for next, where it is known.
        """
        picture = self._undrawn_at(r, then).picture(into)
        return picture.y, picture.u, picture.v

    def close(self) -> None:
        """Close the part that is open."""
        if self._reader is not None:
            self._damage += [(self._part, damage) for damage in self._reader.damage]
            self._reader.__exit__(None, None, None)
            self._reader = None

    def at(self, r: Fraction) -> Picture:
        """The picture at recording time ``r``. Raises RecordingError where a part gives none."""
        return self._undrawn_at(r).picture()

    def _undrawn_at(self, r: Fraction, then: Fraction | None = None) -> Undrawn:
        span = self._recording.line.part_at(r)
        index = self._recording.line.parts.index(span)
        own = r - span.offset + span.trim
        if index != self._part or self._now is None or self._far(own):
            self._open(index, own)
        assert self._reader is not None
        self._reader.want(own, None if then is None or then < r else own + then - r)
        while self._next is not None and self._next.at <= own:
            self._now, self._next = self._next, next(self._frames, None)
        if self._now is None:
            raise RecordingError(span.file, f"no picture can be read from {own} s on")
        return self._now

    @property
    def damage(self) -> tuple[tuple[int, Damage], ...]:
        """What could not be read so far: the part's index and the damage."""
        now = () if self._reader is None else tuple((self._part, d) for d in self._reader.damage)
        return (*self._damage, *now)

    def damage_values(self) -> list[list[str]]:
        """The same as plain texts: part, start, end, what."""
        return [
            [str(part), exact_text(d.span.start), exact_text(d.span.end), d.what]
            for part, d in self.damage
        ]

    def _far(self, own: Fraction) -> bool:
        """Whether to seek: backward, or ahead past a key frame that lies well beyond what comes next."""
        assert self._now is not None
        if own < self._now.at:
            return True
        probed = self._recording.probes[self._part]
        if self._next is None or own <= self._next.at or not probed.source.seekable:
            return False
        key = bisect_right(probed.key_times, own) - 1
        return key >= 0 and probed.key_times[key] - self._next.at > SEEK_SAVES_S

    def _open(self, index: int, own: Fraction) -> None:
        if index != self._part or self._reader is None:
            self.close()
            case, recording = self._case, self._recording
            self._reader = FrameReader(
                recording.paths[index],
                recording.probes[index],
                self._size_px,
                case.colour,
                case.colour_range,
                self._threads,
            )
            self._reader.__enter__()
            self._part = index
        self._frames = self._reader.undrawn_from(own)
        self._now = next(self._frames, None)
        self._next = next(self._frames, None)
