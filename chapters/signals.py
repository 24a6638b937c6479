"""Frames fed one at a time -> numbers; what the numbers mean is decided elsewhere.

``SignalReader`` looks at every picture once and keeps less than five seconds of pictures, so memory does
not grow with the recording except for some forty bytes a frame and one small outline every half
second. Nothing here decides what a cut is: ``scenecuts`` and ``stillness`` read the numbers.
Wherever the picture stepped, ``looks`` compares both sides of the step more closely.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from chapters.blends import KEEP_S, BlendLook, BlendWatch
from chapters.bursts import (
    BURST_LEAST,
    Band,
    Before,
    band,
    before_of,
    burst_of,
    excess,
    newness,
)
from chapters.likeness import (
    Grey,
    Landmarks,
    View,
    block_step,
    common_landmarks,
    landmarks,
    view,
    whole_match,
    working_size,
)
from chapters.looks import (
    BLANK_DETAIL,
    LOOK_S,
    QUIET_S,
    Entry,
    Look,
    Pending,
    Torn,
    clear_views,
    compare,
    near_by,
    spread,
)
from chapters.marks import MARK_S, MarkReader, Marks, Numbers
from chapters.motion import MotionReader, Motions
from chapters.stirs import STIR_LEAST, Stir, moved, stir_of
from chapters.stirs import excess as stirred
from chapters.strides import Course, Flow, Stride, stride_of

__all__ = [
    "BLANK_DETAIL",
    "LOOK_S",
    "MARK_S",
    "BlendLook",
    "Look",
    "Marks",
    "SignalReader",
    "Signals",
]

#: A view put away by a step is looked for again for so long, in seconds.
RETURN_S = Fraction(30)
#: For so long it is also looked for by its landmarks, in seconds.
RETURN_SOON_S = Fraction(3)

_STEP_LEAST = 0.03
_STEP_RATIO = 1.5
_SPIKE_LEAST = 0.04
_FROZEN_LEVELS = 0.05
_RETURNED_LANDMARKS = 8
_UNDONE_LEFT = 0.6
_MOST_OPEN = 12
_MOST_TEARS = 16
_MOST_PICTURES = 400


@dataclass(frozen=True, slots=True)
class Signals:
    """All numbers of one run of pictures; per-frame arrays have one value a frame.

    ``times`` exact seconds, ``end`` where the last frame ends; ``level`` mean level 0..255; ``detail``
    share of blocks with structure; ``change`` mean absolute difference to the frame before, in
    levels; ``step`` 1 - normalised correlation with the frame before, 0..2; ``contrast`` mean size
    of the coarse structure in levels.
    """

    times: tuple[Fraction, ...]
    end: Fraction
    level: Numbers
    detail: Numbers
    change: Numbers
    step: Numbers
    contrast: Numbers
    looks: tuple[Look, ...]
    blends: tuple[BlendLook, ...]
    marks: Marks
    motions: Motions

    def looks_between(self, first: Fraction, last: Fraction) -> Sequence[Look]:
        """The looks from one time to another, with those at either, in order."""
        low = bisect_left(self.looks, first, key=lambda look: look.at)
        return self.looks[low : bisect_right(self.looks, last, key=lambda look: look.at)]


@dataclass(slots=True)
class _Blank:
    since: Fraction
    reference: list[View]
    levels: list[float] = field(default_factory=list)


@dataclass(slots=True)
class _Open:
    """A view put away: by look or blend ``slot``, at a time, with its landmarks."""

    slot: int
    blended: bool
    at: Fraction
    before: View
    known: Landmarks | None


class SignalReader:
    """Feed every frame in order of time, then ``finish`` once."""

    def __init__(self) -> None:
        self._size: tuple[int, int] | None = None
        self._times: list[Fraction] = []
        self._rows: list[tuple[float, float, float, float, float]] = []
        self._ring: deque[Entry] = deque()
        self._pending: deque[Pending] = deque()
        self._looks: list[Look] = []
        self._open: list[_Open] = []
        self._blank: _Blank | None = None
        self._band: Band | None = None
        self._flow = Flow()
        self._marks = MarkReader()
        self._motions = MotionReader()
        self._blends = BlendWatch()
        self._melts: list[BlendLook] = []
        self._tears: deque[tuple[int, Fraction, Torn | Before]] = deque(maxlen=_MOST_TEARS)

    def feed(
        self,
        time: Fraction,
        luma: Grey,
        tint: tuple[float, float] | None = None,
        key: bool = False,
    ) -> None:
        """Take the picture (rows, columns) shown from ``time`` on; times must not run backward.

        ``tint`` is its mean colour difference Cb and Cr, 0 without colour, where it is known;
        ``key`` tells a key picture, where that is known.

        Raises ValueError for a time before the last one or an array that is no 8-bit plane.
        """
        if luma.ndim != 2 or luma.dtype != np.uint8:
            raise ValueError(
                f"a luma plane of 8-bit samples is needed, not {luma.dtype} {luma.shape}"
            )
        if self._times and time <= self._times[-1]:
            raise ValueError(f"frame at {time} comes after the frame at {self._times[-1]}")
        if self._size is None:
            self._size = working_size(luma.shape[0], luma.shape[1])
        entry = self._entry(time, view(luma, self._size))
        if tint is not None:
            entry.tint = tint
        self._times.append(time)
        contrast = float(np.abs(entry.view.coarse).mean())
        self._rows.append((entry.view.level, entry.view.detail, entry.change, entry.step, contrast))
        self._note_blank(entry)
        self._ring.append(entry)
        if self._steps(entry):
            self._pending.append(Pending(entry))
        marked = self._marks.feed(entry)
        self._motions.feed(time, entry.view, key)
        self._watch_blends()
        self._resolve(time)
        if marked:
            self._seek_returns(entry)

    def finish(self, end: Fraction | None = None) -> Signals:
        """All numbers; ``end`` is where the last frame ends (default: one usual gap after it)."""
        while self._pending:
            self._look(self._pending.popleft())
        self._blends.finish(self._ring)
        self._take_blends()
        if end is None:
            end = self._times[-1] + self._usual_gap() if self._times else Fraction(0)
        columns = np.asarray(self._rows, dtype=np.float32).reshape(-1, 5).T
        return Signals(
            times=tuple(self._times),
            end=end,
            level=columns[0],
            detail=columns[1],
            change=columns[2],
            step=columns[3],
            contrast=columns[4],
            looks=tuple(sorted(self._looks, key=lambda look: look.index)),
            blends=tuple(self._melts),
            marks=self._marks.finish(),
            motions=self._motions.finish(),
        )

    # -- one frame ------------------------------------------------------------------------

    def _entry(self, time: Fraction, seen: View) -> Entry:
        index = len(self._times)
        was, self._band = self._band, band(seen)
        if not self._ring or was is None:
            none = np.zeros_like(seen.blocks)
            return Entry(index, time, seen, none, 0.0, 0.0, time, none, none)
        last = self._ring[-1].view
        unlike, weight = block_step(last, seen)
        total = float(weight.sum())
        step = float((unlike * weight).sum()) / total if total > 0 else 0.0
        changed = moved(last, seen)
        change = float(changed.mean())
        since = self._ring[-1].since if change <= _FROZEN_LEVELS else time
        fresh = newness(was, self._band)
        return Entry(index, time, seen, unlike * weight, step, change, since, fresh, changed)

    def _usual_gap(self) -> Fraction:
        gaps = sorted(b - a for a, b in zip(self._times[-31:], self._times[-30:], strict=False))
        return gaps[len(gaps) // 2] if gaps else Fraction(1, 25)

    def _note_blank(self, entry: Entry) -> None:
        blank = entry.view.detail < BLANK_DETAIL
        if blank and self._blank is None:
            self._blank = _Blank(entry.time, clear_views(self._ring))
        if self._blank is not None:
            if blank:
                self._blank.levels.append(entry.view.level)
                del self._blank.levels[:-200]
            else:
                was, self._blank = self._blank, None
                if was.reference:
                    self._pending.append(
                        Pending(
                            entry,
                            was.reference,
                            entry.time - was.since,
                            float(np.mean(was.levels)),
                        )
                    )

    def _before(self, entry: Entry, seconds: Fraction) -> list[Entry]:
        first = entry.seconds - float(seconds)
        return [e for e in self._ring if first <= e.seconds < entry.seconds]

    def _steps(self, entry: Entry) -> bool:
        """Whether the frame stands out from the frames just before it, judged loosely."""
        if len(self._ring) < 2 or self._blank is not None:
            return False
        if self._ring[-2].view.detail < BLANK_DETAIL:
            return False
        near = [e for e in self._before(entry, QUIET_S) if e.index > 0] or [self._ring[-2]]
        highest = max(e.step for e in near)
        if entry.step > max(_STEP_LEAST, _STEP_RATIO * highest):
            return True
        if float(excess(entry.fresh, [e.fresh for e in near]).mean()) > BURST_LEAST:
            return True
        if float(stirred(entry.moved, [e.moved for e in near]).mean()) > STIR_LEAST:
            return True
        past = np.maximum.reduce([e.unlike for e in near])
        return float(np.mean(entry.unlike > 2.5 * past + 0.05)) >= _SPIKE_LEAST

    # -- the closer look ------------------------------------------------------------------

    def _resolve(self, now: Fraction) -> None:
        while self._pending and now - self._pending[0].entry.time >= LOOK_S:
            self._look(self._pending.popleft())
        oldest = self._pending[0].entry.time if self._pending else now
        while len(self._ring) > 12 and self._ring[0].time < min(
            oldest - LOOK_S - QUIET_S, now - KEEP_S
        ):
            self._ring.popleft()
        while len(self._ring) > _MOST_PICTURES:
            self._ring.popleft()

    def _look(self, pending: Pending) -> None:
        entry = pending.entry
        before = [e for e in self._ring if e.index < entry.index]
        last = entry.seconds + float(LOOK_S)
        after = [e for e in self._ring if e.index >= entry.index and e.seconds <= last]
        if not before or not after or after[0].index != entry.index:
            return
        if len(after) == 1:  # a key picture with nothing read behind it
            after = [e for e in self._ring if e.index >= entry.index][:2]
        near_after = [e for e in after[1:] if e.seconds <= entry.seconds + float(QUIET_S) / 2]
        step_after = max((e.step for e in near_after), default=0.0)
        burst = None if pending.reference else burst_of(entry, before, after)
        stir = None if pending.reference else _stir_of(before, after)
        faint = burst is None and stir is None
        stride = None if faint else self._stride(before, after)
        if pending.reference is None and faint and entry.step < 0.6 * step_after:
            return
        usual = float(self._usual_gap())
        compared = compare(pending, before, after, step_after, usual, burst, stir, stride)
        if compared is None:
            return
        look, tear = compared
        self._looks.append(look)
        if tear is not None and look.held > 0.5:
            self._seek_undoing(tear, look, after)
        if burst is not None and burst.held > 0.5:
            self._seek_undoing(before_of(entry, before, burst.blocks), look, after)
        if not (look.back > 0.9):
            old = pending.reference or [before[-1].view]
            seen = old[len(old) // 2]
            strange = look.landmarks is not None and look.landmarks < _RETURNED_LANDMARKS
            known = landmarks(seen) if strange else None
            self._put_away(_Open(len(self._looks) - 1, False, entry.time, seen, known))

    def _stride(self, before: list[Entry], after: list[Entry]) -> Stride | None:
        """How far things went in the first picture of ``after``; None where too little is near by."""
        if len(before) < 3 or len(after) < 3:
            return None
        behind, ahead = near_by(before, after)
        previous = {b.index: a for a, b in pairwise((*before, *after))}

        def course(entry: Entry) -> Course:
            if entry.course is None:
                entry.course = self._flow.course(previous[entry.index].view, entry.view)
            return entry.course

        beside = [course(e) for e in (behind[0], ahead[0])]
        near = [course(e) for e in (*behind, *ahead) if e.index in previous]
        return stride_of(course(after[0]), beside, near)

    def _put_away(self, item: _Open) -> None:
        self._open.append(item)
        del self._open[:-_MOST_OPEN]

    def _watch_blends(self) -> None:
        self._blends.feed(self._ring)
        self._take_blends()

    def _take_blends(self) -> None:
        for melt, seen in self._blends.take():
            self._melts.append(melt)
            if melt.back < 0.7 and melt.landmarks < _RETURNED_LANDMARKS:
                self._put_away(_Open(len(self._melts) - 1, True, melt.ends, seen, landmarks(seen)))

    def _seek_undoing(self, tear: Torn | Before, look: Look, after: list[Entry]) -> None:
        """Whether this step takes back an earlier one and its change of level: the nearest counts."""
        now = len(self._looks) - 1
        for slot, at, earlier in self._tears:
            lasted, ratio = look.at - at, look.level_step / (self._looks[slot].level_step or np.inf)
            if lasted > RETURN_S or not -2 < ratio < -0.5:
                continue
            if min(earlier.left(v) for v in spread(after, 3)) >= _UNDONE_LEFT:
                continue
            for n in (slot, now):
                nearest = min(lasted, self._looks[n].undone_s or lasted)
                self._looks[n] = replace(self._looks[n], undone_s=nearest)
        self._tears.append((now, look.at, tear))

    def _seek_returns(self, entry: Entry) -> None:
        """Look for the views put away: at once by their landmarks too, later as they were."""
        soon = [
            item
            for item in self._open
            if item.known is not None and LOOK_S < entry.time - item.at <= RETURN_SOON_S
        ]
        marks = landmarks(entry.view) if soon else None
        left: list[_Open] = []
        for item in self._open:
            age = entry.time - item.at
            back = age > LOOK_S and whole_match(item.before, entry.view) > 0.85
            if not back and marks is not None and item.known is not None and item in soon:
                back = common_landmarks(item.known, marks) >= _RETURNED_LANDMARKS
            if back and item.blended:
                self._melts[item.slot] = replace(self._melts[item.slot], returned_s=age)
            elif back:
                self._looks[item.slot] = replace(self._looks[item.slot], returned_s=age)
            elif age <= RETURN_S:
                left.append(item)
        self._open = left


def _stir_of(before: list[Entry], after: list[Entry]) -> Stir | None:
    """What changed at once in the first picture of ``after``; None where too little is near by."""
    if len(before) < 3 or len(after) < 3:
        return None
    behind, ahead = near_by(before, after)
    views = [e.view for e in (before[-2], before[-1], after[0], after[1], ahead[-1])]
    return stir_of(after[0].moved, [e.moved for e in (*behind, *ahead)], views)
