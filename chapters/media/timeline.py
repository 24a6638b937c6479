"""From the time stamps of packets to the times of frames. Pure: arrays in, arrays out.

Stamps are whole ticks of the stream's time base. Decode order is the order of the packets;
presentation order is that of the stamps, except in containers that store none (AVI with
B-frames), where the decoder's output order is the presentation order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from chapters.spans import Span

Ticks = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: "no stamp" in an array of ticks
NONE = np.iinfo(np.int64).min

#: a step longer than this between neighbouring packets is a hole or a wrong clock, not a frame
HOLE_S = Fraction(10)
#: a step backward longer than this means that the recorder's clock was set back
BACK_S = Fraction(1, 2)
#: a stray stretch is at most so many packets long
_STRAY_PACKETS = 60


@dataclass(frozen=True, slots=True)
class PacketTable:
    """Every packet of one stream in decode order; arrays of one length (n,)."""

    time_base: Fraction
    pts: Ticks
    dts: Ticks
    duration: Ticks
    size: Ticks
    key: Flags
    hidden: Flags  # to be decoded but not shown: before an edit, or a codec's own hidden frame
    corrupt: Flags

    def __len__(self) -> int:
        return len(self.pts)


@dataclass(frozen=True, slots=True)
class Jump:
    """A place where the recorder's clock jumped: packet ``ordinal``, by ``by_s`` seconds.

    ``shift_s``: what is added to all stamps from there on (after a jump back), in all.
    """

    ordinal: int
    kind: Literal["back", "stray", "forward"]
    by_s: Fraction
    shift_s: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Timeline:
    """Times of one stream's frames on the part's own clock: the first frame shown is tick 0.

    ``ticks[ordinal]`` belongs to the packet of that number (NONE: not shown); ``shown`` are the
    ticks of all shown frames in order, ``last`` is how long the last one stays. ``by_order``:
    packets carry no presentation stamps, the n-th frame out of the decoder is ``shown[n]``.
    ``steady``: raw stamps and ticks differ by ``zero`` only, so raw stamps can be sought.
    """

    time_base: Fraction
    zero: int
    ticks: Ticks
    shown: Ticks
    last: int
    by_order: bool
    steady: bool
    jumps: tuple[Jump, ...]

    def seconds(self, ticks: int) -> Fraction:
        """Exact seconds of a number of ticks."""
        return int(ticks) * self.time_base

    @property
    def length(self) -> Fraction:
        """Last time stamp + last frame's duration − first time stamp, in seconds."""
        return self.seconds(int(self.shown[-1]) + self.last)

    def index_at(self, at: Fraction) -> int:
        """Which shown frame is on screen: the last whose time is not after ``at`` (0 before all)."""
        tick = at / self.time_base
        whole = tick.numerator // tick.denominator
        return max(0, int(np.searchsorted(self.shown, whole, side="right")) - 1)


def lay_out(table: PacketTable, *, by_order: bool, first: int) -> Timeline:
    """The timeline of a packet table; packet ``first`` made the first frame that is shown.

    Frames with an earlier stamp than that one are never shown (a recording that was cut in the
    middle of a group of pictures begins with some). ``by_order`` as in Timeline.
    """
    raw = _raw_stamps(table)
    order = np.where(table.dts != NONE, table.dts, raw)
    usual = usual_gap(raw[~table.hidden])
    jumps: tuple[Jump, ...] = ()
    if by_order:
        raw = order.copy()
    else:
        raw, jumps = _without_jumps(raw, order, table.time_base, usual)
    visible = ~table.hidden & (table.size > 0)
    zero = int(raw[visible].min()) if by_order else int(raw[first])
    visible &= raw >= zero
    ticks = np.where(visible, raw - zero, NONE)
    shown = np.unique(ticks[visible])
    steady = not by_order and not any(jump.kind != "forward" for jump in jumps)
    line = Timeline(
        table.time_base, zero, ticks, shown, usual, by_order, steady and _keyed(table), jumps
    )
    return replace(line, last=_last_duration(table, line, usual))


def _keyed(table: PacketTable) -> bool:
    """Whether every packet has its own stamp, so that a packet can be recognised after a seek."""
    return bool(np.all(table.pts != NONE)) and len(np.unique(table.pts)) == len(table)


def usual_gap(stamps: Ticks) -> int:
    """The median step between neighbouring stamps, at least one tick."""
    steps = np.diff(np.unique(stamps))
    return max(1, int(np.median(steps))) if len(steps) else 1


def _raw_stamps(table: PacketTable) -> Ticks:
    """Presentation stamps, with the decode stamp or the packet before standing in for a missing one."""
    raw = np.where(table.pts != NONE, table.pts, table.dts)
    if not np.any(raw == NONE):
        return raw
    usual = usual_gap(raw[raw != NONE]) if np.any(raw != NONE) else 1
    at = 0
    for i in np.flatnonzero(raw == NONE):
        if i:
            at = int(raw[i - 1]) + (int(table.duration[i - 1]) or usual)
        raw[i] = at
    return raw


def _without_jumps(
    raw: Ticks, order: Ticks, time_base: Fraction, usual: int
) -> tuple[Ticks, tuple[Jump, ...]]:
    """Stamps without backward jumps and strays; a lasting forward jump is a hole and stays.

    Some packets whose clock leaps away, after which the clock before them goes on, are astray
    and are laid evenly between their neighbours. After a lasting jump back the recording goes on
    one usual step after the latest frame before it.
    """
    hole, back = int(HOLE_S / time_base), int(BACK_S / time_base)
    reorder = raw - order  # how much later than decoded a frame is shown: always little
    usual_reorder = int(np.median(reorder))
    wild = np.abs(reorder - usual_reorder) > max(hole, 20 * usual)
    raw = np.where(wild, order + usual_reorder, raw)
    steps = np.diff(order)
    breaks = (np.flatnonzero((steps > hole) | (steps < -back)) + 1).tolist()
    out, clock = raw.copy(), order.copy()
    jumps: list[Jump] = []
    shifted = 0
    for at in breaks:
        by = int(clock[at] - clock[at - 1])
        if -back <= by <= hole:
            continue  # the end of a stray that is already laid out
        stray = _stray(clock, at, back, hole)
        if stray is not None:
            low, high = stray
            for stamps in (out, clock):
                first, last = int(stamps[low - 1]), int(stamps[high])
                even = np.linspace(first, max(first, last), high - low + 2)
                stamps[low:high] = even[1:-1].astype(np.int64)
            jumps.append(Jump(low, "stray", by * time_base))
        elif by < 0:
            shift = int(out[:at].max()) + usual - int(out[at])
            out[at:] += shift
            clock[at:] += shift
            shifted += shift
            jumps.append(Jump(at, "back", by * time_base, shifted * time_base))
        else:
            jumps.append(Jump(at, "forward", by * time_base))
    return out, tuple(jumps)


def _stray(clock: Ticks, at: int, back: int, hole: int) -> tuple[int, int] | None:
    """The packets [low, high) around the break at ``at`` that are astray, None if it lasts.

    Either those from the break on, until the clock of before it goes on, or, where the clock
    falls back, those just before it that had run ahead. Both ends of a stray are leaps: else two
    short recordings one after the other would look like one.
    """
    before = int(clock[at - 1])
    ahead = clock[at : at + _STRAY_PACKETS + 1]
    fit = np.flatnonzero((ahead >= before - back) & (ahead <= before + hole))
    if len(fit) and fit[0] > 0:
        high = at + int(fit[0])
        return (at, high) if abs(int(clock[high] - clock[high - 1])) > back else None
    now = int(clock[at])
    low = max(1, at - _STRAY_PACKETS)
    earlier = clock[low - 1 : at]
    fit = np.flatnonzero((earlier <= now) & (earlier >= now - hole))
    if now < before and len(fit):
        low += int(fit[-1])
        return (low, at) if int(clock[low] - clock[low - 1]) > back else None
    return None


def _last_duration(table: PacketTable, line: Timeline, usual: int) -> int:
    """Ticks the last frame stays: its own duration where plausible, else the usual step.

    Some containers write one tick or nothing as the duration of every frame.
    """
    owner = np.flatnonzero(line.ticks == line.shown[-1])
    declared = int(table.duration[owner[-1]]) if len(owner) else 0
    return declared if declared * 2 >= usual else usual


def holes(line: Timeline) -> tuple[Span, ...]:
    """Stretches of the part in which there ought to be frames and are none, in seconds.

    A hole is a step over half a second and over four times what is usual in this recording
    (95 of 100 steps are shorter), so that a camera that slows down in the dark makes none.
    """
    steps = np.diff(line.shown)
    if not len(steps):
        return ()
    usual = int(np.median(steps))
    limit = max(int(Fraction(1, 2) / line.time_base), 4 * int(np.percentile(steps, 95)))
    return tuple(
        Span(
            line.seconds(int(line.shown[i]) + usual),
            line.seconds(int(line.shown[i + 1])),
        )
        for i in np.flatnonzero(steps > limit).tolist()
    )
