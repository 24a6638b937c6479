"""Chapters as plain text: one line a chapter, to paste under a film or to print."""

from __future__ import annotations

from collections.abc import Sequence

from chapters.markers.titles import clean_title, plain_text
from chapters.markers.values import Chapter
from chapters.times import clock_text


def chapters_text(chapters: Sequence[Chapter], notice: str = "", heading: str = "Chapters") -> str:
    """``0:00:00 Title`` lines below the heading and the lines of ``notice``.

    Times are rounded down to whole seconds, so that a jump never lands inside a step.
    """
    head = [clean_title(heading), *(clean_title(line) for line in plain_text(notice).split("\n"))]
    lines = [f"{clock_text(c.start)} {clean_title(c.title)}" for c in chapters]
    return "\n".join([*filter(None, head), "", *lines]) + "\n"
