"""Which heard word is which script word: global alignment of two word lists.

Needleman and Wunsch (1970) with a row of numpy at a time; large problems are halved by
Hirschberg's (1975) method, so that memory stays flat for a take of any length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_MATCH, _MISMATCH, _GAP = 2, -2, -1
_CELLS = 4_000_000
Ints = NDArray[np.int32]


def match_words(script: Sequence[str], heard: Sequence[str]) -> list[tuple[int, int]]:
    """Pairs (script index, heard index) of equal words in the best alignment, in order."""
    number: dict[str, int] = {}
    a = np.array([number.setdefault(word, len(number)) for word in script], np.int32)
    b = np.array([number.setdefault(word, len(number)) for word in heard], np.int32)
    pairs = _align(a, b)
    return [(i, j) for i, j in pairs if a[i] == b[j]]


def _align(a: Ints, b: Ints) -> list[tuple[int, int]]:
    if not len(a) or not len(b):
        return []
    if len(a) * len(b) <= _CELLS or len(a) < 2:
        return _small(a, b)
    middle = len(a) // 2
    forward = _last_row(a[:middle], b)
    backward = _last_row(a[middle:][::-1], b[::-1])[::-1]
    split = int(np.argmax(forward + backward))
    left = _align(a[:middle], b[:split])
    right = _align(a[middle:], b[split:])
    return left + [(i + middle, j + split) for i, j in right]


def _next_row(row: Ints, word: int, index: int, b: Ints) -> tuple[Ints, NDArray[np.uint8]]:
    """The next row of scores, and for each cell whether it came diagonal (0), up (1), left (2)."""
    diagonal = row[:-1] + np.where(b == word, _MATCH, _MISMATCH)
    up = row[1:] + _GAP
    best = np.concatenate([[index * _GAP], np.maximum(diagonal, up)])
    slope = _GAP * np.arange(len(best), dtype=np.int32)
    with_left = np.maximum.accumulate(best - slope) + slope
    came = np.where(diagonal >= up, 0, 1).astype(np.uint8)
    came[with_left[1:] > best[1:]] = 2
    return with_left.astype(np.int32), came


def _last_row(a: Ints, b: Ints) -> Ints:
    row = (_GAP * np.arange(len(b) + 1)).astype(np.int32)
    for index, word in enumerate(a, start=1):
        row, _ = _next_row(row, int(word), index, b)
    return row


def _small(a: Ints, b: Ints) -> list[tuple[int, int]]:
    row = (_GAP * np.arange(len(b) + 1)).astype(np.int32)
    came = np.empty((len(a), len(b)), np.uint8)
    for index, word in enumerate(a):
        row, came[index] = _next_row(row, int(word), index + 1, b)
    pairs = []
    i, j = len(a) - 1, len(b) - 1
    while i >= 0 and j >= 0:
        step = came[i, j]
        if step == 0:
            pairs.append((i, j))
            i, j = i - 1, j - 1
        elif step == 1:
            i -= 1
        else:
            j -= 1
    return pairs[::-1]


@dataclass(frozen=True, slots=True)
class Run:
    """``length`` heard words from ``heard`` on are the script's words from ``script`` on."""

    heard: int
    script: int
    length: int


def match(heard: Sequence[str], script: Sequence[str]) -> list[Run]:
    """Runs of equal words, in order, none overlapping another, lone matches brought home."""
    runs: list[Run] = []
    for j, i in match_words(script, heard):
        last = runs[-1] if runs else None
        if last and i == last.heard + last.length and j == last.script + last.length:
            runs[-1] = Run(last.heard, last.script, last.length + 1)
        else:
            runs.append(Run(i, j, 1))
    return _lengthened(runs, heard, script)


def _lengthened(runs: Sequence[Run], heard: Sequence[str], script: Sequence[str]) -> list[Run]:
    """Runs of two words or more, grown at both ends over equal words that stand in no other.

    So a lone ``the`` matched far away comes home to the sentence that goes on beside it. A lone
    match that no run takes in stays as it is.
    """
    out: list[Run] = []
    long = [run for run in runs if run.length >= 2]
    last = Run(0, 0, 0)
    for index, run in enumerate(long):
        after = long[index + 1] if index + 1 < len(long) else Run(len(heard), len(script), 0)
        back = 0
        while (
            run.heard - back > last.heard + last.length
            and run.script - back > last.script + last.length
            and heard[run.heard - back - 1] == script[run.script - back - 1]
        ):
            back += 1
        length = run.length
        while (
            run.heard + length < after.heard
            and run.script + length < after.script
            and heard[run.heard + length] == script[run.script + length]
        ):
            length += 1
        last = Run(run.heard - back, run.script - back, length + back)
        out.append(last)
    lone = [run for run in runs if run.length == 1 and not any(_crosses(run, r) for r in out)]
    return sorted((*out, *lone), key=lambda run: run.script)


def _crosses(run: Run, other: Run) -> bool:
    """Whether two runs share a word or stand in different orders."""
    return not (
        (run.heard >= other.heard + other.length and run.script >= other.script + other.length)
        or (run.heard + run.length <= other.heard and run.script + run.length <= other.script)
    )
