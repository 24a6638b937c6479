"""The fast pass over a recording: small luma pictures, groups of pictures in parallel over the cores.

``survey`` gives what ``frames.small_luma`` gives, in order, at a fraction of the time. Its gate leaves
out the inside of a group of pictures only where three things agree that nothing can have cut there:
the key pictures on both sides match block for block, no two packets of the group stand out in size,
and the same holds for the groups on either side. A cut away and back inside one group has to be
coded twice, so it shows in two packets; an encoder with many reference pictures could code the way
back for nothing only within 16 frames, and what comes back that soon is no cut. ``key_survey``
gives key pictures only, for thumbnails, first drafts and the idle map.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TypeAlias

import cv2
import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from chapters.likeness import View, block_step, view, working_size
from chapters.media.decode import PacketDecoder
from chapters.media.frames import small_luma
from chapters.media.picture import VideoInfo
from chapters.media.probe import Probe
from chapters.media.timeline import NONE

Plane: TypeAlias = NDArray[np.uint8]

#: Two packets this much larger than the usual one of their kind near by may hold a new view.
GATE_SIZE = 1.25
#: One packet this much larger may be the last trace of one.
GATE_ONE_SIZE = 2.5
#: A packet below this part of the group's key packet holds no new view, whatever the others are.
GATE_KEY_PART = 0.1
#: Blocks of two key pictures less alike than this may hold a change (see likeness.block_step).
GATE_UNLIKE = 0.10
#: Groups are handed to the workers in runs of about so many seconds.
RUN_S = 8
#: Packet sizes are compared with those of so many seconds around.
_NEAR_S = 8


@dataclass(frozen=True, slots=True)
class Group:
    """One group of pictures: packets ``first`` up to ``stop``, its key picture at tick ``start``."""

    first: int
    stop: int
    start: int


@dataclass(slots=True)
class Tally:
    """How the pass went: groups in all and those whose inside was left out."""

    groups: int = 0
    skipped: int = 0


def groups(probe: Probe) -> tuple[Group, ...]:
    """The groups of pictures in order; one for the whole part where key pictures cannot be sought."""
    table, line = probe.source.table, probe.timeline
    firsts = np.flatnonzero(table.key & (line.ticks != NONE)).tolist()
    whole = (Group(0, len(table), 0),)
    if not firsts or line.by_order or not probe.source.seekable:
        return whole
    firsts[0] = 0
    stops = [*firsts[1:], len(table)]
    starts = [0, *(int(line.ticks[k]) for k in firsts[1:])]
    found = tuple(Group(f, s, t) for f, s, t in zip(firsts, stops, starts, strict=True))
    return found if all(a.start < b.start for a, b in pairwise(found)) else whole


def survey(
    path: Path,
    probe: Probe,
    width_px: int = 160,
    *,
    workers: int | None = None,
    gate: bool = True,
    tally: Tally | None = None,
) -> Iterator[tuple[Fraction, Plane]]:
    """(part time, luma uint8 (h, w)) of every frame but those the gate leaves out, in order.

    ``workers`` threads decode (None: one a core). Memory holds one run of groups a worker, however
    long the part is. Raises ValueError when ``probe`` is of another file.
    """
    if path != probe.source.path:
        raise ValueError(f"{path} is not the file that was probed")
    tally = tally if tally is not None else Tally()
    found = groups(probe)
    tally.groups = len(found)
    if len(found) == 1:
        yield from small_luma(path, probe, width_px)
        return
    count = workers or os.cpu_count() or 1
    with _Readers(probe, width_px, count) as readers:
        calm = _calm(readers, probe, found) if gate else [False] * len(found)
        tally.skipped = sum(calm)
        yield from _in_order(readers, probe, _runs(probe, found, calm), count)


def key_survey(
    path: Path, probe: Probe, width_px: int = 160, *, workers: int | None = None
) -> Iterator[tuple[Fraction, Plane]]:
    """(part time, luma uint8 (h, w)) of the key pictures only; one to some seconds apart.

    Raises ValueError when ``probe`` is of another file.
    """
    if path != probe.source.path:
        raise ValueError(f"{path} is not the file that was probed")
    count = workers or os.cpu_count() or 1
    with _Readers(probe, width_px, count) as readers:
        for tick, luma in readers.keys(groups(probe)):
            yield probe.timeline.seconds(tick), luma


class _Readers:
    """Worker threads, each with a decoder of its own on the same part."""

    def __init__(self, probe: Probe, width_px: int, count: int) -> None:
        self._probe, self._width = probe, width_px
        self._free: SimpleQueue[PacketDecoder] = SimpleQueue()
        self._all: list[PacketDecoder] = []
        self.pool = ThreadPoolExecutor(count, thread_name_prefix="survey")
        self._count = count

    def __enter__(self) -> _Readers:
        return self

    def __exit__(self, *_: object) -> None:
        self.pool.shutdown(wait=True, cancel_futures=True)
        for decoder in self._all:
            decoder.__exit__(None, None, None)

    def read(self, first: int, start: int, end: int | None) -> list[tuple[int, Plane]]:
        """Small pictures from packet ``first`` with ticks from ``start`` up to ``end``."""
        decoder = self._borrow()
        try:
            return self._read(decoder, first, start, end)
        finally:
            self._free.put(decoder)

    def _read(
        self, decoder: PacketDecoder, first: int, start: int, end: int | None
    ) -> list[tuple[int, Plane]]:
        ticks = self._probe.timeline.ticks
        out: list[tuple[int, Plane]] = []
        for number, frame in decoder.run(first):
            tick = int(ticks[number])
            if tick == NONE or tick < start:
                continue
            if end is not None and tick >= end:
                break
            out.append((tick, _shrink(frame, self._probe.video, self._width)))
        return sorted(out, key=lambda pair: pair[0])

    def keys(self, found: tuple[Group, ...]) -> Iterator[tuple[int, Plane]]:
        """The first picture of every group, in order; none for a group whose key is damaged."""
        jobs: deque[Future[list[tuple[int, Plane]]]] = deque()
        for group in found:
            jobs.append(self.pool.submit(self.read, group.first, group.start, group.start + 1))
            if len(jobs) > 4 * self._count:
                yield from jobs.popleft().result()
        while jobs:
            yield from jobs.popleft().result()

    def _borrow(self) -> PacketDecoder:
        try:
            return self._free.get_nowait()
        except Empty:
            decoder = PacketDecoder(self._probe.source, quick=True, threads=1)
            self._all.append(decoder)
            return decoder


def _in_order(
    readers: _Readers, probe: Probe, runs: Iterator[tuple[int, int, int | None]], count: int
) -> Iterator[tuple[Fraction, Plane]]:
    """Run after run, at most one more in hand than there are workers."""
    line = probe.timeline
    jobs: deque[Future[list[tuple[int, Plane]]]] = deque()
    for first, start, end in runs:
        jobs.append(readers.pool.submit(readers.read, first, start, end))
        if len(jobs) > count:
            yield from ((line.seconds(t), luma) for t, luma in jobs.popleft().result())
    while jobs:
        yield from ((line.seconds(t), luma) for t, luma in jobs.popleft().result())


def _runs(
    probe: Probe, found: tuple[Group, ...], calm: list[bool]
) -> Iterator[tuple[int, int, int | None]]:
    """(first packet, first tick, tick after the last or None): runs to decode, and single keys."""
    longest = int(RUN_S / probe.timeline.time_base)
    begun: tuple[int, int] | None = None
    for group, skipped in zip(found, calm, strict=True):
        if begun is not None and (skipped or group.start - begun[1] >= longest):
            yield (*begun, group.start)
            begun = None
        if skipped:
            yield group.first, group.start, group.start + 1
        elif begun is None:
            begun = (group.first, group.start)
    if begun is not None:
        yield (*begun, None)


def _calm(readers: _Readers, probe: Probe, found: tuple[Group, ...]) -> list[bool]:
    """Which groups need not be decoded inside; never the first or the last one."""
    quiet = _quiet_packets(probe, found)
    place = {group.start: n for n, group in enumerate(found)}
    alike = [False] * len(found)
    last: tuple[int, View] | None = None
    for tick, luma in readers.keys(found):
        here = place[tick], view(luma, working_size(*luma.shape))
        if last is not None and last[0] == here[0] - 1:
            alike[last[0]] = _same(last[1], here[1])
        last = here
    calm = [a and q for a, q in zip(alike, quiet, strict=True)]
    return [
        0 < n < len(found) - 1 and calm[n - 1] and calm[n] and calm[n + 1]
        for n in range(len(found))
    ]


def _same(a: View, b: View) -> bool:
    """Whether no block of two pictures differs, nor the light."""
    unlike, weight = block_step(a, b)
    return abs(a.level - b.level) < 3 and float((unlike * weight).max()) < GATE_UNLIKE


def _quiet_packets(probe: Probe, found: tuple[Group, ...]) -> list[bool]:
    """Whether no two packets of a group, its key picture apart, are much larger than their like.

    Packets shown before one that was decoded earlier (B pictures) are held against their own kind.
    """
    table, line = probe.source.table, probe.timeline
    size = table.size.astype(np.float64)
    late = line.ticks < np.maximum.accumulate(line.ticks)
    near = max(2, round(_NEAR_S * len(table) / max(float(line.length), 1.0)))
    out: list[bool] = []
    for group in found:
        inside = np.arange(group.first + 1, group.stop)
        around = np.arange(max(0, group.first - near), min(len(table), group.stop + near))
        least = GATE_KEY_PART * size[group.first]
        quiet = len(inside) > 0
        for kind in (late, ~late):
            mine = np.sort(size[inside[kind[inside]]])
            usual = size[around[kind[around] & ~table.key[around]]]
            if len(mine) and len(usual):
                limit = float(np.median(usual))
                quiet = quiet and bool(
                    mine[-1] <= max(GATE_ONE_SIZE * limit, least)
                    and mine[-min(2, len(mine))] <= max(GATE_SIZE * limit, least)
                )
        out.append(quiet)
    return out


def _shrink(frame: VideoFrame, video: VideoInfo, width_px: int) -> Plane:
    """The frame's luma, upright, small, limited range: samples picked, then averaged by area."""
    height_px = max(2, round(width_px * video.height_px / video.width_px))
    flat = (height_px, width_px) if video.turn.transpose else (width_px, height_px)
    small = cv2.resize(_picked(frame, width_px), flat, interpolation=cv2.INTER_AREA)
    if video.colour_range == "full":
        small = cv2.LUT(small, np.rint(np.arange(256) * (219 / 255) + 16).astype(np.uint8))
    return np.ascontiguousarray(video.turn.apply(np.asarray(small, np.uint8)))


def _picked(frame: VideoFrame, width_px: int) -> Plane:
    """Every n-th sample of every n-th line as 8 bits, so that twice the width or more is left."""
    step = max(1, frame.width // (2 * width_px))
    name, depth = frame.format.name, frame.format.components[0].bits
    if name.startswith(("yuv4", "yuvj", "nv12", "gray")) and depth == 8:
        plane = frame.planes[0]
        rows = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
        return np.ascontiguousarray(rows[step // 2 :: step, : frame.width][:, step // 2 :: step])
    if name.startswith(("yuv4", "gray")) and name.endswith("le"):
        plane = frame.planes[0]
        deep = np.frombuffer(memoryview(plane), np.uint16).reshape(plane.height, -1)
        picked = deep[step // 2 :: step, : frame.width][:, step // 2 :: step]
        return np.ascontiguousarray(picked >> (depth - 8)).astype(np.uint8)
    grey = np.asarray(frame.to_ndarray(format="gray"), np.uint8)
    return np.ascontiguousarray(grey[step // 2 :: step, step // 2 :: step])
