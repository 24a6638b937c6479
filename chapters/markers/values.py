"""A chapter: a named stretch of the teaching cut."""

from __future__ import annotations

from dataclasses import dataclass

from chapters.times import CutTime


@dataclass(frozen=True, slots=True)
class Chapter:
    """``[start, end)`` in exact seconds of cut time, and the title a viewer chooses it by."""

    start: CutTime
    end: CutTime
    title: str
