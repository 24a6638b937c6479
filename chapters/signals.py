"""Frames fed one at a time -> numbers; what the numbers mean is decided elsewhere.

``SignalReader`` looks at every picture once and keeps about two seconds of pictures, so memory does
not grow with the recording except for some forty bytes a frame and one small outline every half
second. Nothing here decides what a cut is: ``scenecuts`` and ``stillness`` read the numbers.

A *look* is the closer comparison made wherever the picture stepped: the pictures of the second
before against those of the second after, each shifted as it fits best, so that the decision can
ask whether the picture came back.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

from chapters.likeness import Grey, Plane, View, block_match, block_step, view, whole_match
from chapters.likeness import working_size as _working_size

Numbers = NDArray[np.float32]

#: Pictures this long before and after a step are compared, in seconds.
LOOK_S = Fraction(1)
#: A view put away by a step is looked for again for so long, in seconds.
RETURN_S = Fraction(30)
#: Distance of the marks, the slow signals, in seconds.
MARK_S = Fraction(1, 2)
#: A picture with a smaller share of structured blocks is blank: black, washed out or covered.
BLANK_DETAIL = 0.12

_STEP_LEAST = 0.03
_STEP_RATIO = 1.5
_SPIKE_LEAST = 0.04
_QUIET_S = Fraction(1, 5)
_FROZEN_LEVELS = 0.05
_OUTLINE = (32, 18)
_MOST_OPEN = 12
_MOST_PICTURES = 400


@dataclass(frozen=True, slots=True)
class Look:
    """The comparison of both sides of one step of the picture.

    ``index`` first frame after the step, ``at`` its time, ``gap`` seconds since the frame before and
    ``gap_ratio`` that gap over the usual one. ``across`` is the block match over the step, ``before``
    and ``after`` those of the frame pairs on either side, ``kept`` the share of blocks found again
    over the step, ``compared`` the share of blocks that could be compared. ``step`` is the frame's
    own step, ``step_before`` and ``step_after`` the largest near by. ``spikes`` is the share of
    blocks that stepped at this frame and neither just before nor just after. ``shift_px`` is the
    jump of the picture's place over the step beyond its pace on either side. ``back`` is the best
    match between any picture of the second before and any of the second after. ``blank_s`` is the length of a blank stretch that lies between (then the step
    is the one that ended it), ``blank_level`` its mean level. ``same_frame_s`` is how long the
    picture before the step had been frozen. ``returned_s`` is after how many seconds the picture of before
    was seen again, None if not within half a minute. ``level_step`` is the change of the mean level.
    Matches are -1..1, NaN where nothing could be compared.
    """

    index: int
    at: Fraction
    gap: Fraction
    gap_ratio: float
    across: float
    before: float
    after: float
    kept: float
    compared: float
    shift_px: float
    step: float
    step_before: float
    step_after: float
    spikes: float
    back: float
    level_step: float
    blank_s: Fraction = Fraction(0)
    blank_level: float = 0.0
    same_frame_s: Fraction = Fraction(0)
    returned_s: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Marks:
    """Slow signals, one row every half second; ``outline`` int8 (n, 18, 32) is the structure, small.

    ``level`` 0..255 mean, ``detail`` share of structured blocks, ``fine`` levels of fine detail,
    ``moved`` share of blocks that differ from the mark before, ``stir`` median share of blocks that
    moved from frame to frame since then.
    """

    times: tuple[Fraction, ...]
    level: Numbers
    detail: Numbers
    fine: Numbers
    moved: Numbers
    stir: Numbers
    outline: NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Signals:
    """All numbers of one run of pictures; per-frame arrays have one value a frame.

    ``times`` exact seconds, ``end`` where the last frame ends; ``level`` mean level 0..255; ``detail``
    share of blocks with structure; ``change`` mean absolute difference to the frame before, in
    levels; ``step`` 1 - normalised correlation with the frame before, 0..2.
    """

    times: tuple[Fraction, ...]
    end: Fraction
    level: Numbers
    detail: Numbers
    change: Numbers
    step: Numbers
    looks: tuple[Look, ...]
    marks: Marks


@dataclass(slots=True)
class _Entry:
    index: int
    time: Fraction
    view: View
    unlike: Plane
    step: float
    change: float
    since: Fraction


@dataclass(slots=True)
class _Pending:
    entry: _Entry
    reference: list[View] | None = None
    blank_s: Fraction = Fraction(0)
    blank_level: float = 0.0


@dataclass(slots=True)
class _Blank:
    since: Fraction
    reference: list[View]
    levels: list[float] = field(default_factory=list)


@dataclass(slots=True)
class _Open:
    slot: int
    at: Fraction
    before: View


@dataclass(slots=True)
class _MarkRows:
    times: list[Fraction] = field(default_factory=list)
    rows: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    outlines: list[NDArray[np.int8]] = field(default_factory=list)
    last: View | None = None
    stirs: list[float] = field(default_factory=list)


class SignalReader:
    """Feed every frame in order of time, then ``finish`` once."""

    def __init__(self) -> None:
        self._size: tuple[int, int] | None = None
        self._times: list[Fraction] = []
        self._rows: list[tuple[float, float, float, float]] = []
        self._ring: deque[_Entry] = deque()
        self._pending: deque[_Pending] = deque()
        self._looks: list[Look] = []
        self._open: list[_Open] = []
        self._blank: _Blank | None = None
        self._marks = _MarkRows()

    def feed(self, time: Fraction, luma: Grey) -> None:
        """Take the picture (rows, columns) shown from ``time`` on; times must not run backward.

        Raises ValueError for a time before the last one or an array that is no 8-bit plane.
        """
        if luma.ndim != 2 or luma.dtype != np.uint8:
            raise ValueError(
                f"a luma plane of 8-bit samples is needed, not {luma.dtype} {luma.shape}"
            )
        if self._times and time <= self._times[-1]:
            raise ValueError(f"frame at {time} comes after the frame at {self._times[-1]}")
        if self._size is None:
            self._size = _working_size(luma.shape[0], luma.shape[1])
        entry = self._entry(time, view(luma, self._size))
        self._times.append(time)
        self._rows.append((entry.view.level, entry.view.detail, entry.change, entry.step))
        self._note_blank(entry)
        self._ring.append(entry)
        if self._steps(entry):
            self._pending.append(_Pending(entry))
        self._mark(entry)
        self._resolve(time)

    def finish(self, end: Fraction | None = None) -> Signals:
        """All numbers; ``end`` is where the last frame ends (default: one usual gap after it)."""
        while self._pending:
            self._look(self._pending.popleft())
        if end is None:
            end = self._times[-1] + self._usual_gap() if self._times else Fraction(0)
        columns = np.asarray(self._rows, dtype=np.float32).reshape(-1, 4).T
        return Signals(
            times=tuple(self._times),
            end=end,
            level=columns[0],
            detail=columns[1],
            change=columns[2],
            step=columns[3],
            looks=tuple(sorted(self._looks, key=lambda look: look.index)),
            marks=self._finished_marks(),
        )

    # -- one frame ------------------------------------------------------------------------

    def _entry(self, time: Fraction, seen: View) -> _Entry:
        index = len(self._times)
        if not self._ring:
            return _Entry(index, time, seen, np.zeros_like(seen.blocks), 0.0, 0.0, time)
        last = self._ring[-1].view
        unlike, weight = block_step(last, seen)
        total = float(weight.sum())
        step = float((unlike * weight).sum()) / total if total > 0 else 0.0
        change = float(np.abs(seen.grey - last.grey).mean())
        since = self._ring[-1].since if change <= _FROZEN_LEVELS else time
        return _Entry(index, time, seen, unlike * weight, step, change, since)

    def _usual_gap(self) -> Fraction:
        gaps = sorted(b - a for a, b in zip(self._times[-31:], self._times[-30:], strict=False))
        return gaps[len(gaps) // 2] if gaps else Fraction(1, 25)

    def _note_blank(self, entry: _Entry) -> None:
        blank = entry.view.detail < BLANK_DETAIL
        if blank and self._blank is None:
            self._blank = _Blank(entry.time, _clear_views(self._ring))
        if self._blank is not None:
            if blank:
                self._blank.levels.append(entry.view.level)
                del self._blank.levels[:-200]
            else:
                was, self._blank = self._blank, None
                if was.reference:
                    self._pending.append(
                        _Pending(
                            entry,
                            was.reference,
                            entry.time - was.since,
                            float(np.mean(was.levels)),
                        )
                    )

    def _before(self, entry: _Entry, seconds: Fraction) -> list[_Entry]:
        return [e for e in self._ring if entry.time - seconds <= e.time < entry.time]

    def _steps(self, entry: _Entry) -> bool:
        """Whether the frame stands out from the frames just before it, judged loosely."""
        if len(self._ring) < 2 or self._blank is not None:
            return False
        if self._ring[-2].view.detail < BLANK_DETAIL:
            return False
        near = [e for e in self._before(entry, _QUIET_S) if e.index > 0] or [self._ring[-2]]
        highest = max(e.step for e in near)
        if entry.step > max(_STEP_LEAST, _STEP_RATIO * highest):
            return True
        past = np.maximum.reduce([e.unlike for e in near])
        return float(np.mean(entry.unlike > 2.5 * past + 0.05)) >= _SPIKE_LEAST

    def _mark(self, entry: _Entry) -> None:
        marks = self._marks
        marks.stirs.append(float(np.mean(entry.unlike > 0.05)))
        if marks.times and entry.time - marks.times[-1] < MARK_S:
            return
        seen = entry.view
        moved = 0.0
        if marks.last is not None:
            unlike, weight = block_step(marks.last, seen)
            moved = float(np.mean(unlike * weight > 0.1))
        stir = float(np.median(marks.stirs))
        marks.times.append(entry.time)
        marks.rows.append((seen.level, seen.detail, seen.fine, moved, stir))
        marks.outlines.append(_outline(seen))
        marks.last, marks.stirs = seen, []
        self._seek_returns(entry)

    def _finished_marks(self) -> Marks:
        columns = np.asarray(self._marks.rows, dtype=np.float32).reshape(-1, 5).T
        outlines = self._marks.outlines or [np.zeros(_OUTLINE[::-1], np.int8)][:0]
        stack = np.stack(outlines) if outlines else np.zeros((0, *_OUTLINE[::-1]), np.int8)
        level, detail, fine, moved, stir = columns
        return Marks(tuple(self._marks.times), level, detail, fine, moved, stir, stack)

    # -- the closer look ------------------------------------------------------------------

    def _resolve(self, now: Fraction) -> None:
        while self._pending and now - self._pending[0].entry.time >= LOOK_S:
            self._look(self._pending.popleft())
        oldest = self._pending[0].entry.time if self._pending else now
        while len(self._ring) > 12 and self._ring[0].time < oldest - LOOK_S - _QUIET_S:
            self._ring.popleft()
        while len(self._ring) > _MOST_PICTURES:
            self._ring.popleft()

    def _look(self, pending: _Pending) -> None:
        entry = pending.entry
        before = [e for e in self._ring if e.index < entry.index]
        after = [e for e in self._ring if e.index >= entry.index and e.time <= entry.time + LOOK_S]
        if not before or not after or after[0].index != entry.index:
            return
        near_after = [e for e in after[1:] if e.time <= entry.time + _QUIET_S / 2]
        step_after = max((e.step for e in near_after), default=0.0)
        if pending.reference is None and entry.step < 0.6 * step_after:
            return
        look = _compare(pending, before, after, step_after, float(self._usual_gap()))
        self._looks.append(look)
        if not (look.back > 0.9):
            last = pending.reference[-1] if pending.reference else before[-1].view
            self._open.append(_Open(len(self._looks) - 1, entry.time, last))
            del self._open[:-_MOST_OPEN]

    def _seek_returns(self, entry: _Entry) -> None:
        left: list[_Open] = []
        for item in self._open:
            age = entry.time - item.at
            if age > RETURN_S:
                continue
            if age > LOOK_S and whole_match(item.before, entry.view) > 0.85:
                self._looks[item.slot] = _with_return(self._looks[item.slot], age)
            else:
                left.append(item)
        self._open = left


def _with_return(look: Look, age: Fraction) -> Look:
    return replace(look, returned_s=age)


def _outline(seen: View) -> NDArray[np.int8]:
    small = cv2.resize(seen.structure, _OUTLINE, interpolation=cv2.INTER_AREA)
    return np.clip(np.round(small * 64), -127, 127).astype(np.int8)


def _clear_views(ring: Sequence[_Entry]) -> list[View]:
    """A few pictures of the last second that were not yet fading: the view to be looked for again."""
    recent = [e for e in ring if e.time >= ring[-1].time - LOOK_S] if ring else []
    if not recent:
        return []
    fullest = max(e.view.detail for e in recent)
    if fullest < BLANK_DETAIL:
        return []
    return [e.view for e in recent if e.view.detail >= 0.8 * fullest][-4:]


def _spread(entries: Sequence[_Entry], most: int) -> list[View]:
    """At most ``most`` of the pictures, the first and the last among them."""
    if len(entries) <= most:
        return [e.view for e in entries]
    places = np.linspace(0, len(entries) - 1, most).round().astype(int)
    return [entries[i].view for i in places]


def _best(pairs: Sequence[tuple[View, View]]) -> float:
    values = [v for v in (whole_match(a, b) for a, b in pairs) if not math.isnan(v)]
    return max(values, default=float("nan"))


def _compare(
    pending: _Pending,
    before: Sequence[_Entry],
    after: Sequence[_Entry],
    step_after: float,
    usual_gap: float,
) -> Look:
    entry = pending.entry
    last = pending.reference[-1] if pending.reference else before[-1].view
    across = block_match(last, entry.view)
    behind = block_match(before[-2].view, before[-1].view) if len(before) > 1 else across
    ahead = block_match(entry.view, after[1].view) if len(after) > 1 else across
    near_before = [e for e in before if e.time >= entry.time - _QUIET_S]
    near_after = [e for e in after[1:] if e.time <= entry.time + _QUIET_S]
    around = [e.unlike for e in (*near_before, *near_after) if e.index > 0]
    usual = np.maximum.reduce(around) if around else np.zeros_like(entry.unlike)
    firsts = pending.reference or _spread([e for e in before if e.time >= entry.time - LOOK_S], 5)
    pairs = [(a, b) for a in firsts for b in _spread(after, 5)]
    pace = max((m.shift_px for m in (behind, ahead) if not math.isnan(m.shift_px)), default=0.0)
    gap = entry.time - before[-1].time
    return Look(
        index=entry.index,
        at=entry.time,
        gap=gap,
        gap_ratio=float(gap) / usual_gap if usual_gap > 0 else 1.0,
        across=across.match,
        before=behind.match,
        after=ahead.match,
        kept=across.kept,
        compared=across.compared,
        shift_px=across.shift_px - pace,
        step=entry.step,
        step_before=max((e.step for e in near_before if e.index > 0), default=0.0),
        step_after=step_after,
        spikes=float(np.mean(entry.unlike > 2 * usual + 0.05)),
        back=_best(pairs),
        level_step=entry.view.level - last.level,
        blank_s=pending.blank_s,
        blank_level=pending.blank_level,
        same_frame_s=entry.time - before[-1].since,
    )
