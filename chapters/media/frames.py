"""Frames of a recording by time: the last one whose time stamp is not after the instant asked for.

Every picture comes upright, with square pixels, deinterlaced, BT.709 limited range, 8-bit 4:2:0,
at the size asked for. Damage is passed over and noted; reading always ends.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import Literal, Self

import av
import cv2
import numpy as np
from av.video.frame import VideoFrame

from chapters.media.colour import Converter
from chapters.media.decode import Aim, PacketDecoder
from chapters.media.picture import Matrix, Plane, Range
from chapters.media.probe import Damage, Probe
from chapters.media.timeline import NONE
from chapters.spans import Span

_KEYS_TRIED = 4

ColourChoice = Literal["auto", "bt601", "bt709", "bt2020"]
RangeChoice = Literal["auto", "limited", "full"]


@dataclass(frozen=True, slots=True)
class Picture:
    """One frame: ``at`` and ``length`` in exact seconds of part time, planes as in colour.py."""

    at: Fraction
    length: Fraction
    y: Plane
    u: Plane
    v: Plane


@dataclass(frozen=True, slots=True)
class Undrawn:
    """A decoded frame whose planes are made only when asked for; times as in Picture."""

    at: Fraction
    length: Fraction
    _frame: VideoFrame
    _converter: Converter

    def picture(self, into: tuple[Plane, Plane, Plane] | None = None) -> Picture:
        """The frame as a picture: fresh planes each time, or drawn ``into`` planes of that size."""
        return Picture(self.at, self.length, *self._converter.planes(self._frame, into))


class Deinterlacer:
    """Joins the two fields of a frame (bwdif); passes progressive frames through unchanged."""

    def __init__(self, frame: VideoFrame) -> None:
        self._graph = av.filter.Graph()
        source = self._graph.add_buffer(
            width=frame.width,
            height=frame.height,
            format=frame.format,
            time_base=Fraction(1, 1000),
        )
        bwdif = self._graph.add("bwdif", "mode=send_frame:deint=interlaced")
        sink = self._graph.add("buffersink")
        source.link_to(bwdif)
        bwdif.link_to(sink)
        self._graph.configure()
        self._waiting: deque[int] = deque()
        self._count = 0

    def push(self, tick: int, frame: VideoFrame | None) -> Iterator[tuple[int, VideoFrame]]:
        """Feed a frame (None at the end); yields those that are ready, each with its own tick."""
        if frame is not None:
            self._waiting.append(tick)
            frame.pts, frame.time_base = self._count, Fraction(1, 1000)
            self._count += 1
        self._graph.push(frame)
        while self._waiting:
            try:
                ready = self._graph.pull()
            except (BlockingIOError, EOFError):
                return
            assert isinstance(ready, VideoFrame)
            yield self._waiting.popleft(), ready


class _Timed:
    """Decoded frames with their ticks, in strictly growing order, losses noted in ``damage``."""

    def __init__(
        self, probe: Probe, damage: list[Damage], *, quick: bool, threads: int = 0
    ) -> None:
        self._probe, self._damage = probe, damage
        self._decoder = PacketDecoder(probe.source, quick=quick, threads=threads)
        self._aim: Aim | None = None
        if not probe.video.interlaced and not probe.timeline.by_order and not quick:
            self._aim = Aim(probe.source.table, probe.timeline, probe.video.codec)
            self._decoder.leave_out = self._aim.leaves_out

    def close(self) -> None:
        self._decoder.__exit__(None, None, None)

    def want(self, at: Fraction, then: Fraction | None) -> None:
        """The frames on screen at ``at`` and from ``then`` on are looked at."""
        if self._aim is not None:
            line = self._probe.timeline
            self._aim.wanted = self._aim.then = int(line.shown[line.index_at(at)])
            if then is not None:
                self._aim.then = int(line.shown[line.index_at(then)])
            self._decoder.skip_to = self._aim.forward()

    def run(self, start: Fraction) -> Iterator[tuple[int, VideoFrame]]:
        """Frames from the key frame at or before ``start`` on."""
        line = self._probe.timeline
        wanted = int(line.shown[line.index_at(start)])
        if self._aim is not None:
            self._aim.begin(wanted)
        frames: Iterator[tuple[int, VideoFrame]] = iter(())
        last = -1
        for key in self._keys_for(wanted):
            last = -1 if key == 0 else int(line.ticks[key]) - 1
            frames = self._growing(key, last)
            first = next(frames, None)
            if first is not None and (first[0] <= wanted or key == 0):
                frames = chain((first,), frames)
                break
        spoilt = False  # from a lost or damaged picture to the next key frame
        for tick, frame in frames:
            lost = self._note_lost(last, tick)
            spoilt = (spoilt or lost or frame.is_corrupt) and not (
                frame.key_frame and not frame.is_corrupt
            )
            if spoilt:
                self._note(tick, self._next_tick(tick), "the picture is damaged")
            last = tick
            yield tick, frame
        self._note_lost(last, int(line.shown[-1]) + line.last)

    def _growing(self, key: int, last: int) -> Iterator[tuple[int, VideoFrame]]:
        """Frames from packet ``key`` on whose ticks grow beyond ``last``; others are left out."""
        for tick, frame in self._ticked(key):
            if tick > last:
                last = tick
                yield tick, frame

    def _keys_for(self, tick: int) -> list[int]:
        """Packets to start decoding at for the frame at ``tick``, to be tried one after another.

        The key frame at or before it should do; where the first frame that comes out is later
        (damage, a key frame that needs a run-in), an earlier one must, in the end the beginning.
        """
        source, line = self._probe.source, self._probe.timeline
        if not source.seekable:
            return [0]
        owner = int(np.flatnonzero(line.ticks == tick)[0])
        ticks = line.ticks[: owner + 1]
        keys = np.flatnonzero(source.table.key[: owner + 1] & (ticks != NONE) & (ticks <= tick))
        return [*keys[::-1][:_KEYS_TRIED].tolist(), 0]

    def _ticked(self, key: int) -> Iterator[tuple[int, VideoFrame]]:
        line = self._probe.timeline
        nth = 0
        for number, frame in self._decoder.run(key):
            if line.by_order:
                if frame.key_frame and line.ticks[number] != NONE:
                    nth = max(nth, int(np.searchsorted(line.shown, line.ticks[number])))
                if nth < len(line.shown):
                    yield int(line.shown[nth]), frame
                nth += 1
                continue
            tick = int(line.ticks[number])
            if tick != NONE:
                yield tick, frame

    def _next_tick(self, tick: int) -> int:
        line = self._probe.timeline
        after = int(np.searchsorted(line.shown, tick, side="right"))
        return int(line.shown[after]) if after < len(line.shown) else tick + line.last

    def _note_lost(self, last: int, tick: int) -> bool:
        """Note the frames of the table strictly between two ticks that came out in a row."""
        line = self._probe.timeline
        first = int(np.searchsorted(line.shown, last, side="right"))
        stop = int(np.searchsorted(line.shown, tick, side="left"))
        between = line.shown[first:stop].tolist()
        lost = between if self._aim is None else self._aim.not_passed(between)
        if lost:
            self._note(lost[0], self._next_tick(lost[-1]), "no picture can be decoded")
        return bool(lost)

    def _note(self, tick: int, end: int, what: str) -> None:
        """Add a stretch to the damage, joined to the one before where it goes on."""
        line, damage = self._probe.timeline, self._damage
        span = Span(line.seconds(tick), line.seconds(end))
        for i, old in enumerate(damage):
            if old.what == what and old.span.start <= span.end and span.start <= old.span.end:
                start, stop = min(old.span.start, span.start), max(old.span.end, span.end)
                damage[i] = Damage(Span(start, stop), what)
                return
        damage.append(Damage(span, what))


class FrameReader:
    """Reads pictures of one part; a context manager that holds the file open for reading.

    ``size_px``: even width and height of the planes; another shape is letterboxed in black.
    ``colour`` and ``colour_range`` overrule what the file says about itself. ``damage`` grows
    while reading: what could not be decoded, in part time. ``threads`` of the decoder, 0: it
    chooses (each holds frames of its own).
    """

    def __init__(
        self,
        path: Path,
        probe: Probe,
        size_px: tuple[int, int],
        colour: ColourChoice = "auto",
        colour_range: RangeChoice = "auto",
        threads: int = 0,
    ) -> None:
        if path != probe.source.path:
            raise ValueError(f"{path} is not the file that was probed")
        self._probe = probe
        matrix: Matrix | None = None if colour == "auto" else colour
        chosen: Range | None = None if colour_range == "auto" else colour_range
        self._converter = Converter(probe.video, size_px, matrix, chosen)
        self.damage: list[Damage] = []
        self._timed = _Timed(probe, self.damage, quick=False, threads=threads)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._timed.close()

    def want(self, at: Fraction, then: Fraction | None = None) -> None:
        """Tell that frames before the one on screen at ``at`` are passed over: they may be left out.

        So may those between it and the one at ``then`` (None: nothing is known of it). For later
        calls ``at`` never falls until another iteration is started.
        """
        self._timed.want(at, then)

    def from_time(self, start: Fraction) -> Iterator[Picture]:
        """Pictures from the one on screen at ``start`` (part time) to the end of the part.

        The first picture is the last whose time is not after ``start`` (before part time zero:
        the first of all; where that one cannot be decoded: the nearest that can). One reader
        serves one such iteration at a time; starting another ends the one before.
        """
        return (undrawn.picture() for undrawn in self.undrawn_from(start))

    def undrawn_from(self, start: Fraction) -> Iterator[Undrawn]:
        """The same frames, for a caller that passes over many of them."""
        line = self._probe.timeline
        held: tuple[int, VideoFrame] | None = None
        for tick, frame in self._deinterlaced(start):
            if held is not None and line.seconds(tick) > start:
                yield self._undrawn(held, tick)
            held = tick, frame
        if held is not None:
            yield self._undrawn(held, int(line.shown[-1]) + line.last)

    def _undrawn(self, held: tuple[int, VideoFrame], until: int) -> Undrawn:
        line = self._probe.timeline
        tick, frame = held
        return Undrawn(line.seconds(tick), line.seconds(until - tick), frame, self._converter)

    def _deinterlaced(self, start: Fraction) -> Iterator[tuple[int, VideoFrame]]:
        """Frames, their fields joined from the first interlaced one on."""
        joiner: Deinterlacer | None = None
        size: tuple[int, int, str] | None = None
        for tick, frame in self._timed.run(start):
            if joiner is None and not frame.interlaced_frame:
                yield tick, frame
                continue
            now = (frame.width, frame.height, frame.format.name)
            if now != size:
                if joiner is not None:
                    yield from joiner.push(0, None)
                joiner, size = self._joiner(frame), now
            if joiner is None:
                yield tick, frame
            else:
                yield from joiner.push(tick, frame)
        if joiner is not None:
            yield from joiner.push(0, None)

    def _joiner(self, frame: VideoFrame) -> Deinterlacer | None:
        """A deinterlacer for such frames; None, noted as damage, where their format has none."""
        try:
            return Deinterlacer(frame)
        except (av.error.FFmpegError, ValueError):
            what = f"the fields of {frame.format.name} pictures cannot be joined"
            self.damage.append(Damage(Span(Fraction(0), self._probe.length), what))
            return None


def small_luma(path: Path, probe: Probe, width_px: int = 160) -> Iterator[tuple[Fraction, Plane]]:
    """(part time, luma uint8 (h, w)) of every frame, upright and small, for signals only.

    Cheap and slightly wrong: the decoder's loop filter is off, every other sample of every other
    line is taken, then the area is averaged down. Limited range, as far as the file says so.
    """
    if path != probe.source.path:
        raise ValueError(f"{path} is not the file that was probed")
    video, line = probe.video, probe.timeline
    height_px = max(2, round(width_px * video.height_px / video.width_px))
    flat = (height_px, width_px) if video.turn.transpose else (width_px, height_px)
    squeeze = np.rint(np.arange(256) * (219 / 255) + 16).astype(np.uint8)
    timed = _Timed(probe, [], quick=True)
    try:
        for tick, frame in timed.run(Fraction(0)):
            coarse = _coarse_luma(frame, width_px)
            luma = np.asarray(cv2.resize(coarse, flat, interpolation=cv2.INTER_AREA), np.uint8)
            if video.colour_range == "full":
                luma = squeeze[luma]
            yield line.seconds(tick), np.ascontiguousarray(video.turn.apply(luma))
    finally:
        timed.close()


def _coarse_luma(frame: VideoFrame, width_px: int) -> Plane:
    """Luma of any format as 8 bits, every other sample where the picture is large."""
    step = 2 if frame.width >= 4 * width_px else 1
    part = frame.format.components[0]
    name = frame.format.name
    if name.startswith(("yuv", "nv", "gray")) and not name.startswith("yuyv"):
        plane = frame.planes[0]
        if part.bits == 8:
            flat = np.frombuffer(memoryview(plane), np.uint8)
            luma = flat.reshape(plane.height, plane.line_size)[::step, : frame.width : step]
            return np.ascontiguousarray(luma)
        if name.endswith("le"):
            wide = np.frombuffer(memoryview(plane), np.uint16).reshape(plane.height, -1)
            return (wide[::step, : frame.width : step] >> (part.bits - 8)).astype(np.uint8)
    grey = np.asarray(frame.to_ndarray(format="gray"), np.uint8)
    return np.ascontiguousarray(grey[::step, ::step])
