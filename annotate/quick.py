"""The quick cut: pictures of real-time steps copied from the recording, the rest encoded, all joined.

A group of pictures is copied where the film shows every one of its frames once, in order, and
nothing is drawn on it. Edges, fast steps, cards and stills are encoded with parameter sets of
their own number. The clock travels as timed text. Each frame of the film is the frame that the
full cut shows.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annotate.cache import SegmentCache
from annotate.decide import Decided
from annotate.engine import Job, encode_segments, join, open_muxer
from annotate.faces import Faces
from annotate.progress import Report
from annotate.quality import LEVELS, QUICK
from annotate.segments import Segment, split
from chapters.markers import Chapter
from chapters.media.copycut import CannotCopy, CopySource, Group, copy_source, used_ids
from chapters.media.encode import EncoderSettings
from chapters.media.segmentfile import CodedSegment
from chapters.times import clock_text, speed_text


@dataclass(frozen=True)
class Copy:
    """Frames of the film from ``first`` on that are groups of a part, copied whole."""

    first: int
    part: int
    groups: tuple[Group, ...]

    @property
    def frames(self) -> int:
        """How many frames."""
        return sum(group.frames for group in self.groups)


@dataclass(frozen=True)
class QuickPlan:
    """What is copied and what encoded, in film order. ``notices``: why a part is not copied."""

    items: tuple[Segment | Copy, ...]
    sources: dict[int, CopySource]
    notices: tuple[str, ...]

    @property
    def copied(self) -> int:
        """Frames that are copied."""
        return sum(item.frames for item in self.items if isinstance(item, Copy))


def plan_quick(decided: Decided) -> QuickPlan:
    """Find what can be copied. Nothing is opened but the parts' headers and key packets."""
    sources, notices = _sources(decided)
    return QuickPlan(tuple(_joined(list(_items(decided, sources)))), sources, notices)


def _sources(decided: Decided) -> tuple[dict[int, CopySource], tuple[str, ...]]:
    recording, case = decided.recording, decided.plan.case
    colour = case.colour if case.colour_range == "auto" else case.colour_range
    sources: dict[int, CopySource] = {}
    notices: list[str] = []
    for index, (path, probed) in enumerate(zip(recording.paths, recording.probes, strict=True)):
        try:
            source = copy_source(probed, path, decided.size_px, colour)
            known = next(iter(sources.values()), source)
            if source.parameter_sets != known.parameter_sets:
                raise CannotCopy("it is coded unlike the parts before it")
            sources[index] = source
        except CannotCopy as reason:
            notices.append(f"{probed.shown_as}: encoded, not copied: {reason}")
    return sources, tuple(notices)


def _items(decided: Decided, sources: dict[int, CopySource]) -> Iterator[Segment | Copy]:
    """Copies, and the segments of the film as far as they are not copied."""
    segments = split(decided.plan.film, decided.recording.key_times)
    at = 0
    for copy in _copies(decided, sources):
        yield from _between(segments, at, copy.first)
        yield copy
        at = copy.first + copy.frames
    yield from _between(segments, at, decided.plan.film.frame_count)


def _between(segments: Sequence[Segment], first: int, last: int) -> Iterator[Segment]:
    for segment in segments:
        start, stop = max(first, segment.first), min(last, segment.last)
        if start < stop:
            yield Segment(start, stop)


def _copies(decided: Decided, sources: dict[int, CopySource]) -> Iterator[Copy]:
    frames = _shown(decided)
    for start, stop in _even_runs(frames):
        part, first = frames[start]
        if part not in sources:
            continue
        groups = sources[part].groups
        low = bisect_left(groups, first, key=lambda group: group.shown_first)
        for group in groups[low:]:
            begins = group.shown_first - first + start
            if begins + group.frames > stop:
                break
            yield Copy(begins, part, (group,))


def _shown(decided: Decided) -> list[tuple[int, int]]:
    """Which part and which of its shown frames each frame of the film is; (-1, 0): not real time."""
    film, recording = decided.plan.film, decided.recording
    out = []
    for j in range(film.frame_count):
        t = j / film.fps
        piece = film.piece_at(t)
        r = piece.recording_at(t) if piece.is_real else None
        if r is None:
            out.append((-1, 0))
            continue
        part, tick = recording.frame_at(r)
        out.append((part, int(np.searchsorted(recording.probes[part].timeline.shown, tick))))
    return out


def _even_runs(frames: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Stretches in which one part's frames pass one by one."""
    start = 0
    for i in range(1, len(frames) + 1):
        part, shown = frames[i - 1]
        if i == len(frames) or frames[i] != (part, shown + 1):
            if part >= 0:
                yield start, i
            start = i


def _joined(items: Sequence[Segment | Copy]) -> list[Segment | Copy]:
    """Copies of one part that follow one another in the recording too, as one."""
    out: list[Segment | Copy] = []
    for item in items:
        last = out[-1] if out else None
        if (
            isinstance(item, Copy)
            and isinstance(last, Copy)
            and last.part == item.part
            and last.groups[-1].stop == item.groups[0].first
        ):
            out[-1] = Copy(last.first, last.part, last.groups + item.groups)
        else:
            out.append(item)
    return out


def quick_settings(settings: EncoderSettings, plan: QuickPlan) -> EncoderSettings:
    """The settings with a parameter-set number that the copied pictures do not use; always x264.

    At the club level they give up bits for time.
    """
    settings = QUICK if settings == LEVELS["club"] else settings
    taken = set[int]()
    for source in plan.sources.values():
        taken |= used_ids(source.parameter_sets)
    number = next(n for n in range(32) if n not in taken)
    extra = dict(settings.extra)
    own = extra.get("x264-params", "8x8dct=1:cabac=1:open-gop=0")
    extra["x264-params"] = f"{own}:sps-id={number}"
    return replace(settings, codec="libx264", extra=tuple(extra.items()))


def encode_quick(
    job: Job,
    plan: QuickPlan,
    path: Path,
    chapters: tuple[Chapter, ...],
    sound: Iterator[NDArray[np.float32]],
    cache: SegmentCache,
    report: Report,
) -> tuple[Any, ...]:
    """Write the quick cut to ``path``; notes of damage met as in ``engine.encode_film``.

    Raises EncoderError, DiskFull, RecordingError; nothing is left under ``path`` then.
    """
    film, rows = job.decided.plan.film, job.decided.plan.rows
    bare = replace(job, bare=True, settings=quick_settings(job.settings, plan))
    segments = [item for item in plan.items if isinstance(item, Segment)]
    coded = encode_segments(bare, segments, cache, report)
    first = next(iter(plan.sources.values()), None)
    copying = None
    if first is not None:
        delay = max(source.delay for source in plan.sources.values())
        copying = replace(first.copying, delay=delay)
    muxer = open_muxer(bare, path, chapters, copying)
    cues = clock_cues(Faces(film, rows, job.mark)) if copying is not None else []

    def in_order() -> Generator[tuple[int, CodedSegment]]:
        waiting = iter(cues)
        cue = next(waiting, None)
        try:
            for item in plan.items:
                while cue is not None and cue.first < item.first + item.frames:
                    muxer.write_clock(cue.text, cue.first, cue.frames)
                    cue = next(waiting, None)
                if isinstance(item, Segment):
                    yield next(coded)
                else:
                    packets = plan.sources[item.part].read(item.groups)
                    yield item.first, CodedSegment(b"", tuple(packets))
        finally:
            coded.close()

    notes = join(bare, muxer, sound, in_order(), report)
    cache.trim()
    return notes


@dataclass(frozen=True, slots=True)
class ClockCue:
    """What the clock says from film frame ``first`` on, for ``frames`` frames; empty: nothing."""

    first: int
    frames: int
    text: str


def clock_text_of(faces: Faces, t: Fraction) -> str:
    """The clock at cut time ``t`` in words: clinical time, speed, what passed unseen, the step."""
    face = faces.at(t)
    if face is None:
        return faces.mark
    clock = [] if face.clock is None else [clock_text(face.clock)]
    if face.speed != 1:
        clock.append(speed_text(face.speed))
    events = [event.text for event in face.events]
    title = f"{face.number}/{face.count} {face.title}" if face.number else face.title
    return "\n".join(line for line in ("  ".join(clock), *events, title, face.mark) if line)


def clock_cues(faces: Faces) -> list[ClockCue]:
    """The whole film's clock, without a gap: one cue for each stretch that says the same."""
    film = faces.film
    out: list[ClockCue] = []
    for j in range(film.frame_count):
        text = clock_text_of(faces, j / film.fps)
        if out and out[-1].text == text:
            out[-1] = ClockCue(out[-1].first, out[-1].frames + 1, text)
        else:
            out.append(ClockCue(j, 1, text))
    return out
