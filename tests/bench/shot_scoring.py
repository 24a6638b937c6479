"""Scores for found cuts, by the published rules; every score states its tolerance.

Two matchers, because the literature uses two and their figures do not mix:

* ``match_boundaries``: the rule used with learned detectors (stated with TransNet V2, Soucek and
  Lokoc 2020, arXiv 2008.04838): both transitions are widened by half the tolerance at either end
  and any overlap is a hit, one to one, in order of time. Tolerance 0 asks for the very frame.
* ``match_trecvid``: NIST TRECVID "Shot boundary measures" (2002): at least one frame of overlap;
  cuts match cuts and graduals match graduals, but a gradual of up to five frames counts as a cut;
  a submitted cut is two frames long; a reference cut is widened by five frames on either side; one
  to one, ties go to the higher frame precision, then to the earliest.

Frames count from 0. A score over nothing (no reference and nothing found) is 1: nothing was missed
and nothing invented; with only one of the two empty, the undefined ratio is 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

#: TRECVID: a gradual transition of at most this many frames counts as a cut.
SHORT_GRADUAL_FRAMES = 5
#: TRECVID: a reference cut is widened by this many frames on either side.
CUT_WIDENING_FRAMES = 5


@dataclass(frozen=True, order=True)
class Transition:
    """``last`` frame of the old shot and ``first`` frame of the new one; a cut has first = last + 1."""

    last: int
    first: int

    def __post_init__(self) -> None:
        if self.first <= self.last:
            raise ValueError(f"a transition from frame {self.last} to {self.first} runs backward")

    @property
    def between(self) -> int:
        """Frames that belong to neither shot."""
        return self.first - self.last - 1

    @property
    def is_cut(self) -> bool:
        """Whether TRECVID counts it among the cuts."""
        return self.between <= SHORT_GRADUAL_FRAMES


@dataclass(frozen=True)
class Score:
    """Counts and what follows from them."""

    hits: int
    false: int
    missed: int

    @property
    def precision(self) -> float:
        """Hits among what was found."""
        return _share(self.hits, self.hits + self.false, self.missed)

    @property
    def recall(self) -> float:
        """Hits among what was there."""
        return _share(self.hits, self.hits + self.missed, self.false)

    @property
    def f1(self) -> float:
        """2 P R / (P + R)."""
        p, r = self.precision, self.recall
        return 2 * p * r / (p + r) if p + r else 0.0

    def __add__(self, other: Score) -> Score:
        return Score(self.hits + other.hits, self.false + other.false, self.missed + other.missed)


def _share(part: int, whole: int, other: int) -> float:
    if whole:
        return part / whole
    return 1.0 if other == 0 else 0.0


@dataclass(frozen=True)
class Matching:
    """Pairs of (reference index, found index), and the score."""

    pairs: tuple[tuple[int, int], ...]
    score: Score


def _matching(pairs: Sequence[tuple[int, int]], reference: int, found: int) -> Matching:
    hits = len(pairs)
    return Matching(tuple(pairs), Score(hits, found - hits, reference - hits))


def match_boundaries(
    reference: Sequence[Transition], found: Sequence[Transition], tolerance_frames: int
) -> Matching:
    """Both sides widened by half the tolerance; overlap is a hit; in order of time, one to one."""
    shift = tolerance_frames / 2
    there = [(t.last + 0.5 - shift, t.first - 0.5 + shift) for t in sorted(reference)]
    here = [(t.last + 0.5 - shift, t.first - 0.5 + shift) for t in sorted(found)]
    pairs: list[tuple[int, int]] = []
    i = j = 0
    while i < len(there) and j < len(here):
        if here[j][1] < there[i][0]:
            j += 1
        elif here[j][0] > there[i][1]:
            i += 1
        else:
            pairs.append((i, j))
            i, j = i + 1, j + 1
    return _matching(pairs, len(there), len(here))


def match_trecvid(reference: Sequence[Transition], found: Sequence[Transition]) -> Matching:
    """Hits of one class, cuts or graduals: call it once for each, with ``split`` lists."""
    there, here = sorted(reference), sorted(found)
    candidates: list[tuple[float, int, int]] = []
    for i, a in enumerate(there):
        for j, b in enumerate(here):
            if a.is_cut == b.is_cut:
                common = _overlap(_reference_frames(a), _found_frames(b))
                if common > 0:
                    start, stop = _found_frames(b)
                    candidates.append((-common / (stop - start), i, j))
    pairs: list[tuple[int, int]] = []
    for _, i, j in sorted(candidates):
        if all(i != x and j != y for x, y in pairs):
            pairs.append((i, j))
    return _matching(sorted(pairs), len(there), len(here))


def split(transitions: Sequence[Transition]) -> tuple[list[Transition], list[Transition]]:
    """TRECVID's two classes: cuts (short graduals among them) and graduals."""
    return [t for t in transitions if t.is_cut], [t for t in transitions if not t.is_cut]


def _reference_frames(t: Transition) -> tuple[int, int]:
    """Half-open frames of a reference transition; a cut is widened."""
    if t.is_cut:
        return t.last - CUT_WIDENING_FRAMES, t.first + CUT_WIDENING_FRAMES + 1
    return t.last + 1, t.first


def _found_frames(t: Transition) -> tuple[int, int]:
    """Half-open frames of a submitted transition; a cut is two frames long."""
    return (t.last, t.first + 1) if t.is_cut else (t.last + 1, t.first)


def _overlap(a: tuple[int, int], b: tuple[int, int]) -> int:
    return max(0, min(a[1], b[1]) - max(a[0], b[0]))
