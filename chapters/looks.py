"""A closer comparison wherever the picture stepped: is it the same view on both sides?

The pictures of the second before a step are held against those of the second after, each shifted
as it fits best, so that a decision can ask whether the picture came back. Pictures in, numbers out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from chapters.bestmatch import best_match, best_plain, best_scaled, most_landmarks
from chapters.likeness import (
    UNKNOWN_MATCH,
    BlockMatch,
    Plane,
    View,
    block_change,
    block_match,
    change,
)
from chapters.stirs import Stir
from chapters.strides import Course, Stride

#: Pictures this long before and after a step are compared, in seconds.
LOOK_S = Fraction(1)
#: What counts as just before and just after, in seconds.
QUIET_S = Fraction(1, 5)
#: A view that comes back within this time was covered or lit, not left; in seconds.
SOON_S = Fraction(3, 5)
#: A picture with a smaller share of structured blocks is blank: black, washed out or covered.
BLANK_DETAIL = 0.12
#: So much of a tear, or of what was new, is there as long as it lasts.
LASTS_LEAST = 0.6
#: A block is torn when it is found again by so much less over the step than on either side.
TORN_DROP = 0.12
#: A step is looked at for torn blocks when it is so much larger than those near by.
_ALONE = 1.5
#: A step this large parts one view from another, or from what covers it.
_PART = 0.3
#: Another step of this part of it may be the other end of a flash.
_ECHO = 0.4

Flags = NDArray[np.bool_]


@dataclass(slots=True)
class Entry:
    """One picture on its way through.

    ``unlike`` is its step per block, ``fresh`` what is new in it (see bursts), ``moved`` what changed
    (see stirs), ``since`` the time at which it last changed, ``tint`` its mean
    colour differences Cb and Cr, 0 without colour (NaN: not known). ``seconds`` is the time as a
    float, for windows around a picture; what is told is always ``time``. ``course`` is
    the movement since the picture before, once somebody has asked for it (see strides); ``power`` is
    the mean square of the coarse structure in levels² (see sags).
    """

    index: int
    time: Fraction
    view: View
    unlike: Plane
    step: float
    change: float
    since: Fraction
    fresh: Plane
    moved: Plane
    tint: tuple[float, float] = (float("nan"), float("nan"))
    seconds: float = 0.0
    course: Course | None = None
    power: float = 0.0

    def __post_init__(self) -> None:
        self.seconds = float(self.time)
        self.power = float(np.square(self.view.coarse).mean())


@dataclass(slots=True)
class Pending:
    """A step that waits for the second after it; ``reference`` replaces the second before it."""

    entry: Entry
    reference: list[View] | None = None
    blank_s: Fraction = Fraction(0)
    blank_level: float = 0.0


@dataclass(frozen=True, slots=True)
class Burst:
    """Many places that are new at once (see bursts.burst_of).

    ``levels`` mean excess of newness over the pictures near by, over the whole view; ``share`` of
    the blocks that have any, ``blocks`` which; ``alone`` the excess over the largest near by, ``whole`` all newness
    over the most near by; ``structure`` how much of the blocks' light-free structure is new;
    ``burnt`` how much more of the view is burnt out on one side; ``held`` the least that is left of it across another burst of the same blocks within a second.
    """

    levels: float
    share: float
    alone: float
    whole: float
    structure: float
    burnt: float
    held: float
    blocks: Flags


@dataclass(frozen=True, slots=True)
class Look:
    """The comparison of both sides of one step of the picture.

    ``index`` first frame after the step, ``at`` its time, ``gap_ratio`` the time since the frame
    before over the usual one. ``across`` is the block match over the step, ``before`` and ``after``
    those of the frame pairs on either side. ``step`` is the frame's own step, ``step_before`` and
    ``step_after`` the largest near by.

    Blocks that are found again over the step much worse than on either side are torn: ``torn_levels``
    is the mean change of their grey levels when their mean is taken away, and ``held`` how much of
    the tear is left, at the least, across another step within a second: near 0 where that step
    brings the torn blocks back (the other end of a flash), 1 where none does. Both are 0 where
    nothing tore.

    ``tint_step`` is the change of the mean colour differences Cb and Cr (NaN: not known).

    ``back`` is the best match between any picture of the second before and any of the 0.6 s after,
    ``back_plain`` the same by strong structure only, ``landmarks`` how many landmarks of before
    stand again after (None where the match was plain), ``scaled`` how well the view of before
    matches what follows at another magnification (NaN: not asked). ``level_step`` is the change of
    the mean level, ``levels`` the mean size of the change when that is taken away
    (after a blank stretch, which may end slowly, the most within 0.6 s).

    ``blank_s`` is the length of a blank stretch that lies between (then the step is the one that
    ended it), ``blank_level`` its mean level. ``same_frame_s`` is how long the picture before the
    step had been frozen. ``returned_s`` is after how many seconds the picture of before was seen
    again, ``undone_s`` how far off the nearest other step is that took the torn or new
    blocks back to what they were, and the picture's level, half to twice its step: None where none
    does within half a minute. Matches are -1..1, NaN where nothing
    could be compared. ``burst`` tells what was new at once, ``stir`` what changed at once, if
    anything, and ``stride`` how far it went where there is either.
    """

    index: int
    at: Fraction
    gap_ratio: float
    across: float
    before: float
    after: float
    step: float
    step_before: float
    step_after: float
    torn_levels: float
    held: float
    back: float
    back_plain: float
    landmarks: int | None
    scaled: float
    level_step: float
    levels: float
    blank_s: Fraction = Fraction(0)
    blank_level: float = 0.0
    same_frame_s: Fraction = Fraction(0)
    returned_s: Fraction | None = None
    undone_s: Fraction | None = None
    burst: Burst | None = None
    stir: Stir | None = None
    stride: Stride | None = None
    tint_step: tuple[float, float] = (float("nan"), float("nan"))


@dataclass(frozen=True, slots=True)
class Torn:
    """The blocks that a step tore, and the view before it; to be looked for again later."""

    view: View
    blocks: Flags
    part: float

    def left(self, seen: View) -> float:
        """How much of the tear is there between the view before it and ``seen``: 0 none, 1 all."""
        return _left(block_match(self.view, seen), self.blocks, self.part)


def clear_views(ring: Sequence[Entry]) -> list[View]:
    """A few pictures of the last second that were not yet fading: the view to be looked for again.

    Where the view changed within that second, those of the newer view.
    """
    recent = [e for e in ring if e.seconds >= ring[-1].seconds - float(LOOK_S)] if ring else []
    for run in reversed(_runs(recent)):
        fullest = max(e.view.detail for e in run)
        lasted = run[-1].seconds - run[0].seconds
        if fullest >= BLANK_DETAIL and (lasted >= float(QUIET_S) or run[0] is recent[0]):
            return spread([e for e in run if e.view.detail >= 0.8 * fullest], 5)
    return []


def _settled(recent: list[Entry]) -> list[Entry]:
    """Only the newest view among the pictures, where it has been there for long enough to be one."""
    newest = _runs(recent)[-1:]
    if newest and newest[0][-1].seconds - newest[0][0].seconds >= float(SOON_S):
        return newest[0]
    return recent


def _runs(entries: Sequence[Entry]) -> list[list[Entry]]:
    """The pictures parted wherever one steps as a cut does."""
    runs: list[list[Entry]] = []
    for entry in entries:
        if not runs or entry.step > _PART:
            runs.append([])
        runs[-1].append(entry)
    return runs


def near_by(before: Sequence[Entry], after: Sequence[Entry]) -> tuple[list[Entry], list[Entry]]:
    """The pictures before and after the first of ``after`` that count as near by, nearest first."""
    here = after[0].seconds
    ahead = [e for n, e in enumerate(after[1:]) if n < 2 or e.seconds <= here + float(QUIET_S)]
    behind = [
        e
        for n, e in enumerate(reversed(before))
        if e.index > 0 and (n < 2 or e.seconds >= here - float(QUIET_S))
    ]
    return behind, ahead


def spread(entries: Sequence[Entry], most: int) -> list[View]:
    """At most ``most`` of the pictures, the first and the last among them."""
    if len(entries) <= most:
        return [e.view for e in entries]
    places = np.linspace(0, len(entries) - 1, most).round().astype(int)
    return [entries[i].view for i in places]


def compare(
    pending: Pending,
    before: Sequence[Entry],
    after: Sequence[Entry],
    step_after: float,
    usual_gap: float,
    burst: Burst | None = None,
    stir: Stir | None = None,
    stride: Stride | None = None,
) -> tuple[Look, Torn | None] | None:
    """The look at one step; ``before`` ends just before it, ``after`` begins with it.

    None where there is nothing to look at: the view goes on over the step as it does beside it.
    """
    entry, here = pending.entry, pending.entry.seconds
    last = pending.reference[-1] if pending.reference else before[-1].view
    across = block_match(last, entry.view)
    behind = block_match(before[-2].view, before[-1].view) if len(before) > 1 else UNKNOWN_MATCH
    ahead = block_match(entry.view, after[1].view) if len(after) > 1 else UNKNOWN_MATCH
    near_before = [e for e in before if e.seconds >= here - float(QUIET_S)]
    step_before = max((e.step for e in near_before if e.index > 0), default=0.0)
    beside = min((m.match for m in (behind, ahead) if not math.isnan(m.match)), default=1.0)
    unlike = bool(pending.blank_s) or not (across.match > 0.8 or beside - across.match < 0.15)
    alone = entry.step > _ALONE * max(step_before, step_after)
    lone = len(after) < 2 or after[1].seconds > here + float(LOOK_S)
    tear = _tear(last, across, behind, ahead) if alone and not lone else None
    if tear is None and burst is None and stir is None and not unlike:
        return None
    recent = _settled([e for e in before if e.seconds >= here - float(LOOK_S)])
    firsts = pending.reference or spread(recent or [before[-1]], 4)
    soon = [e for e in after if e.seconds <= here + float(SOON_S)]
    back = best_match(firsts, spread(soon, 4))
    olds, news = (firsts[len(firsts) // 2], firsts[-1]), spread(soon, 4)
    marked, scaled = None, float("nan")
    if unlike and not (back > 0.8):
        marked = most_landmarks(olds, news[::-1])
        scaled = best_scaled(olds, news)
    look = Look(
        index=entry.index,
        at=entry.time,
        gap_ratio=float(entry.time - before[-1].time) / usual_gap if usual_gap > 0 else 1.0,
        across=across.match,
        before=behind.match,
        after=ahead.match,
        step=entry.step,
        step_before=step_before,
        step_after=step_after,
        torn_levels=block_change(last, entry.view, tear.blocks) if tear else 0.0,
        held=_held(tear, entry, before, after) if tear else 0.0,
        back=back,
        back_plain=best_plain(olds, news),
        landmarks=marked,
        scaled=scaled,
        level_step=entry.view.level - last.level,
        levels=max(change(last, v) for v in (news if pending.reference else (entry.view,))),
        blank_s=pending.blank_s,
        blank_level=pending.blank_level,
        same_frame_s=entry.time - before[-1].since,
        burst=burst,
        stir=stir,
        stride=stride,
        tint_step=(entry.tint[0] - before[-1].tint[0], entry.tint[1] - before[-1].tint[1]),
    )
    return look, tear


def _tear(last: View, across: BlockMatch, behind: BlockMatch, ahead: BlockMatch) -> Torn | None:
    """The blocks found again much worse over the step than on both sides; None where there is none."""
    beside = np.fmin(behind.scores, ahead.scores)
    with np.errstate(invalid="ignore"):
        blocks = np.nan_to_num(beside, nan=1.0) - across.scores > TORN_DROP
    if not blocks.any():
        return None
    return Torn(last, blocks, float(np.mean(1 - across.scores[blocks])))


def _held(tear: Torn, entry: Entry, before: Sequence[Entry], after: Sequence[Entry]) -> float:
    """The least that is left of a tear after any other step, or blank picture, within a second.

    At the end of a flash the torn blocks are from one frame to the next what they were before it;
    a movement that slowly comes back to where it was undoes no jump.
    """
    later = [e for e in after[1:] if e.seconds <= entry.seconds + float(LOOK_S)]
    earlier = [e for e in before if e.seconds >= entry.seconds - float(LOOK_S)][::-1]
    values = [
        tear.left(later[n].view)
        for n in _echoes(later, entry.step, 0)
        if _lasts(tear.left(e) for e in spread(later[:n], 5))
    ]
    for n in _echoes(earlier, entry.step, 1):
        *between, last = (
            _left(block_match(e, entry.view), tear.blocks, tear.part)
            for e in (*spread(earlier[:n], 5), earlier[n].view)
        )
        if _lasts(between):
            values.append(last)
    return min((v for v in values if not math.isnan(v)), default=1.0)


def _echoes(entries: Sequence[Entry], step: float, back: int) -> list[int]:
    """Places, nearest first, of pictures on the far side of another step or of a blank stretch.

    With ``back`` 1 the entries run backward in time, and a step belongs to the entry before it.
    """
    found: list[int] = []
    for n in range(1, len(entries)):
        blank = entries[n - 1].view.detail < BLANK_DETAIL <= entries[n].view.detail
        if blank or entries[n - back].step > _ECHO * step:
            found.append(n)
    return found[:4]


def _lasts(values: Iterable[float]) -> bool:
    """Whether most is left in all; blank pictures, where nothing is left to compare, say nothing."""
    return all(math.isnan(v) or v > LASTS_LEAST for v in values)


def _left(match: BlockMatch, blocks: Flags, part: float) -> float:
    scores = match.scores[blocks]
    scores = scores[~np.isnan(scores)]
    return float(np.mean(1 - scores)) / max(part, 1e-6) if scores.size else float("nan")
