"""The fast pass over a recording: small luma pictures, groups of pictures in parallel over the cores.

``survey`` gives what ``frames.small_luma`` gives, in order, in a fraction of the time. How much of a
recording it decodes is a matter of ``care``:

every   every frame.
calm    the inside of a group of pictures is left out where it shows that nothing cuts there: the
        key pictures on both sides match block for block, and neither does the top of the picture
        change from frame to frame all along the group (see stripes) nor, where a recording's
        packets cannot be cut off, do any two of them stand out in size. A cut away and back inside
        one group changes the top twice. It is tried only while the view stands still, so that a
        moving view costs next to nothing.
hard    the inside of a group is left out where the key pictures on both sides show one view and the
        top of the picture does not change suddenly twice in between, away and back: for cuts
        between different views, not for jumps.

``key_survey`` gives key pictures only, for thumbnails, first drafts and the idle map.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Literal, TypeAlias

import numpy as np
from av.video.frame import VideoFrame

from chapters.likeness import (
    Landmarks,
    View,
    block_step,
    common_landmarks,
    landmarks,
    view,
    whole_match,
    working_size,
)
from chapters.media.decode import PacketDecoder
from chapters.media.frames import small_luma
from chapters.media.probe import Probe
from chapters.media.small import Plane, Tint, shrink, tint
from chapters.media.stripes import Glance, can_scan, scan
from chapters.media.timeline import NONE

Care: TypeAlias = Literal["every", "calm", "hard"]
Small: TypeAlias = tuple[int, Plane, Tint]
_Key: TypeAlias = tuple[Small, View]

#: Blocks of two key pictures less alike than this may hold a change (see likeness.block_step).
CALM_UNLIKE = 0.10
#: A stripe that changes more than this from one frame to the next may hold a change.
CALM_STEP = 0.08
#: Two stripes that change more than this, and so much more than just before, may be a cut away and
#: back. The first after a key picture does not count: what its packet left out comes from nowhere.
HARD_STEP, HARD_RATIO = 0.5, 1.8
#: Key pictures that match better than this, or have so many landmarks in common, show one view.
HARD_MATCH, HARD_LANDMARKS = 0.6, 5
#: Two packets this much larger than the usual one of their kind near by may hold a new view,
PACKET_SIZE = 1.25
#: and so may one this much larger,
PACKET_ONE_SIZE = 2.5
#: but none below this part of the group's key packet.
PACKET_KEY_PART = 0.1
#: Groups are handed to the workers in runs of about so many seconds; the key picture between two runs
#: is decoded for both.
RUN_S = 24
#: Packet sizes are compared with those of so many seconds around.
_NEAR_S = 8
#: Frames just before, for a sudden change.
_JUST_BEFORE = 6


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
    care: Care = "calm",
    workers: int | None = None,
    tally: Tally | None = None,
) -> Iterator[tuple[Fraction, Plane, Tint]]:
    """(part time, luma uint8 (h, w), tint) of every frame but those left out, in order.

    ``workers`` threads decode (None: one a core). Memory holds one run of groups a worker, however
    long the part is. Raises ValueError when ``probe`` is of another file.
    """
    if path != probe.source.path:
        raise ValueError(f"{path} is not the file that was probed")
    tally = tally if tally is not None else Tally()
    found = groups(probe)
    tally.groups = len(found)
    if len(found) == 1:
        yield from ((time, luma, None) for time, luma in small_luma(path, probe, width_px))
        return
    count = workers or os.cpu_count() or 1
    line = probe.timeline
    with _Readers(probe, width_px, count, found, care) as readers:
        jobs: deque[Future[tuple[list[Small], int]]] = deque()
        for first, stop in _runs(probe, found):
            jobs.append(readers.pool.submit(readers.run, first, stop))
            while len(jobs) > count or (jobs and stop == len(found)):
                small, skipped = jobs.popleft().result()
                tally.skipped += skipped
                yield from ((line.seconds(t), luma, colour) for t, luma, colour in small)


def key_survey(
    path: Path, probe: Probe, width_px: int = 160, *, workers: int | None = None
) -> Iterator[tuple[Fraction, Plane]]:
    """(part time, luma uint8 (h, w)) of the key pictures only; one to some seconds apart.

    Raises ValueError when ``probe`` is of another file.
    """
    if path != probe.source.path:
        raise ValueError(f"{path} is not the file that was probed")
    count = workers or os.cpu_count() or 1
    found = groups(probe)
    with _Readers(probe, width_px, count, found, "every") as readers:
        jobs: deque[Future[list[Small]]] = deque()
        for n, group in enumerate(found):
            jobs.append(
                readers.pool.submit(readers.read, group.first, group.start, group.start + 1)
            )
            while len(jobs) > 4 * count or (jobs and n == len(found) - 1):
                for tick, luma, _ in jobs.popleft().result():
                    yield probe.timeline.seconds(tick), luma


def _runs(probe: Probe, found: tuple[Group, ...]) -> Iterator[tuple[int, int]]:
    """Places in ``found`` from and up to which one worker reads at a time."""
    longest = int(RUN_S / probe.timeline.time_base)
    first = 0
    for n, group in enumerate(found):
        if group.start - found[first].start >= longest:
            yield first, n
            first = n
    yield first, len(found)


class _Readers:
    """Worker threads, each with a decoder of its own on the same part."""

    def __init__(
        self, probe: Probe, width_px: int, count: int, found: tuple[Group, ...], care: Care
    ) -> None:
        self._probe, self._width, self._found = probe, width_px, found
        self._care = care
        self._in_order = np.sort(probe.timeline.ticks)
        self._free: SimpleQueue[PacketDecoder] = SimpleQueue()
        self._all: list[PacketDecoder] = []
        self.pool = ThreadPoolExecutor(count, thread_name_prefix="survey")

    def __enter__(self) -> _Readers:
        return self

    def __exit__(self, *_: object) -> None:
        self.pool.shutdown(wait=True, cancel_futures=True)
        for decoder in self._all:
            decoder.__exit__(None, None, None)

    def run(self, first: int, stop: int) -> tuple[list[Small], int]:
        """The small pictures of groups ``first`` up to ``stop``, and how many were left out."""
        out: list[Small] = []
        skipped, still = 0, True
        with self._gate(stop) as gate:
            for n in range(first, stop):
                key = gate.key_only(n) if still or self._care == "hard" else None
                if key is not None:
                    out.append(key)
                    skipped += 1
                    continue
                group = self._found[n]
                end = self._found[n + 1].start if n + 1 < len(self._found) else None
                small = self.read(group.first, group.start, end)
                still = len(small) > 1 and _same(_seen(small[0][1]), _seen(small[-1][1]))
                out.extend(small)
        return out, skipped

    @contextmanager
    def _gate(self, stop: int) -> Iterator[_Gate]:
        """A gate with a decoder of its own, up to group ``stop``."""
        decoder = self._borrow()
        try:
            yield _Gate(self, self._found, self._care, decoder, stop)
        finally:
            self._free.put(decoder)

    def read(self, first: int, start: int, end: int | None) -> list[Small]:
        """Small pictures from packet ``first`` with ticks from ``start`` up to ``end``."""
        decoder = self._borrow()
        try:
            return self._read(decoder, first, start, end)
        finally:
            self._free.put(decoder)

    def _read(self, decoder: PacketDecoder, first: int, start: int, end: int | None) -> list[Small]:
        ticks = self._probe.timeline.ticks
        low, high = np.searchsorted(self._in_order, [start, end or 0])
        count = None if end is None else int(high - low)
        out: list[Small] = []
        for number, frame in decoder.run(first):
            tick = int(ticks[number])
            if tick == NONE or tick < start:
                continue
            if end is not None and tick >= end:
                break
            out.append(self._small(tick, frame))
            if len(out) == count:
                break  # the next key picture would be decoded only to be put aside
        return sorted(out, key=lambda small: small[0])

    def _small(self, tick: int, frame: VideoFrame) -> Small:
        return tick, shrink(frame, self._probe.video, self._width), tint(frame)

    def key_of(self, glance: Glance) -> _Key | None:
        """The key picture of a glance, made ready for comparison."""
        if glance.whole is None:
            return None
        small = self._small(int(self._probe.timeline.ticks[glance.number]), glance.whole)
        return small, _seen(small[1])

    def packets_quiet(self, n: int) -> Small | None:
        """By the sizes of the packets, and the key pictures on both sides."""
        here, after = self._found[n], self._found[n + 1]
        if not _quiet(self._probe, here):
            return None
        keys = self.read(here.first, here.start, here.start + 1)
        keys += self.read(after.first, after.start, after.start + 1)
        if len(keys) != 2 or not _same(_seen(keys[0][1]), _seen(keys[1][1])):
            return None
        return keys[0]

    def _borrow(self) -> PacketDecoder:
        try:
            return self._free.get_nowait()
        except Empty:
            decoder = PacketDecoder(self._probe.source, quick=True, threads=1)
            self._all.append(decoder)
            return decoder


class _Gate:
    """Whether the inside of a group may be left out, asked for one group after another.

    The scan goes on from group to group as long as they are left out, so that every key picture
    between them is decoded once.
    """

    def __init__(
        self,
        readers: _Readers,
        found: tuple[Group, ...],
        care: Care,
        decoder: PacketDecoder,
        stop: int,
    ) -> None:
        self._readers, self._found, self._care, self._decoder = readers, found, care, decoder
        self._last = min(stop, len(found) - 1)
        self._glances: Iterator[Glance] = iter(())
        self._next = -1
        self._key: _Key | None = None
        self._marks = _Marks()

    def key_only(self, n: int) -> Small | None:
        """The key picture of group ``n`` where the rest of it may be left out."""
        if self._care == "every" or n >= self._last:
            return None
        if not can_scan(self._decoder):
            return self._readers.packets_quiet(n) if self._care == "calm" else None
        if self._next != n or self._key is None:
            first, stop = self._found[n].first, self._found[self._last].first + 1
            depth = 0 if self._care == "calm" else 1
            self._glances = scan(self._decoder, first, stop, depth)
            self._key = self._to_key([])
        key, steps = self._key, list[float]()
        self._next, self._key = n + 1, self._to_key(steps)
        if key is None or self._key is None or not self._one_view(n, key, self._key, steps):
            self._key = None
            return None
        return key[0]

    def _to_key(self, steps: list[float]) -> _Key | None:
        """Go on to the next key picture; None where it does not come, or what lies between moves."""
        for glance in self._glances:
            if self._care == "calm" and glance.step > CALM_STEP:
                return None
            if glance.whole is not None:
                return self._readers.key_of(glance)
            steps.append(glance.step)
        return None

    def _one_view(self, n: int, a: _Key, b: _Key, steps: list[float]) -> bool:
        (here, seen), (after, then) = a, b
        if here[0] != self._found[n].start or after[0] != self._found[n + 1].start:
            return False
        if self._care == "calm":
            return _same(seen, then)
        return _sudden(steps) < 2 and self._marks.one_view((here[0], seen), (after[0], then))


def _seen(luma: Plane) -> View:
    return view(luma, working_size(*luma.shape))


def _same(a: View, b: View) -> bool:
    """Whether no block of two pictures differs, nor the light."""
    unlike, weight = block_step(a, b)
    return abs(a.level - b.level) < 3 and float((unlike * weight).max()) < CALM_UNLIKE


def _sudden(steps: list[float]) -> int:
    """How many stripes change suddenly; endless steps, where nothing can be said, count too."""
    count = 0
    for n in range(1, len(steps)):
        near = max(steps[max(1, n - _JUST_BEFORE) : n], default=0.0)
        near = near if near < 2 else 0.0
        count += steps[n] > max(HARD_STEP, HARD_RATIO * near)
    return count


class _Marks:
    """The landmarks of the key picture seen last: the next group begins with it."""

    def __init__(self) -> None:
        self._tick = -1
        self._known: Landmarks | None = None

    def one_view(self, here: tuple[int, View], after: tuple[int, View]) -> bool:
        """Whether two key pictures, each with its tick, show one view, moved or not."""
        if whole_match(here[1], after[1]) > HARD_MATCH:
            return True
        known = self._known if self._known and self._tick == here[0] else landmarks(here[1])
        self._tick, self._known = after[0], landmarks(after[1])
        return common_landmarks(known, self._known) >= HARD_LANDMARKS


def _quiet(probe: Probe, group: Group) -> bool:
    """Whether no two packets of a group, its key picture apart, are much larger than their like.

    Packets shown before one that was decoded earlier (B pictures) are held against their own kind.
    An encoder with many reference pictures could code the way back of a cut away and back for
    nothing, but only within 16 frames, and what comes back that soon is no cut.
    """
    table, line = probe.source.table, probe.timeline
    near = max(2, round(_NEAR_S * len(table) / max(float(line.length), 1.0)))
    low, high = max(0, group.first - near), min(len(table), group.stop + near)
    size = table.size[low:high].astype(np.float64)
    ticks = line.ticks[low:high]
    late = ticks < np.maximum.accumulate(ticks)
    inside = np.zeros(high - low, bool)
    inside[group.first + 1 - low : group.stop - low] = True
    least = PACKET_KEY_PART * float(table.size[group.first])
    for kind in (late, ~late):
        mine = np.sort(size[inside & kind])
        usual = size[kind & ~table.key[low:high]]
        if len(mine) == 0:
            continue
        limit = float(np.median(usual))
        if mine[-1] > max(PACKET_ONE_SIZE * limit, least):
            return False
        if mine[-min(2, len(mine))] > max(PACKET_SIZE * limit, least):
            return False
    return bool(inside.any())
