"""Chapters as WebVTT (W3C WebVTT: "WebVTT file using chapter title text").

A chapter cue's payload is text and character references only: no tags, no inner time stamps.
Each time is rounded once to whole milliseconds, so chapters that touch share the very same
millisecond: in HTML's algorithm for text tracks describing chapters a cue that ends one
millisecond after the next one starts deletes that next one.
"""

from __future__ import annotations

from collections.abc import Sequence

from chapters.markers.titles import clean_title, plain_text
from chapters.markers.values import Chapter
from chapters.times import milliseconds, vtt_time


def escape_vtt(text: str) -> str:
    """Character references for ``&``, ``<`` and ``>`` (the last so that no ``-->`` can stand).

    LRM and RLM need none in UTF-8. W3C WebVTT, "WebVTT cue text span".
    """
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def note_block(text: str) -> str:
    """A NOTE comment block, or "" for no text: no blank line and no ``-->`` may stand in one."""
    lines = (" ".join(line.split()) for line in plain_text(text).split("\n"))
    kept = [line.replace("-->", "-- >") for line in lines if line]
    return "NOTE\n" + "\n".join(kept) + "\n\n" if kept else ""


def chapters_vtt(chapters: Sequence[Chapter], notice: str = "") -> str:
    """The text of a WebVTT chapters file; ``notice`` (any lines) stands in a NOTE at its head.

    Titles are cleaned and escaped, cues are numbered from 1. Raises ValueError when chapters
    overlap, stand out of order or, in whole milliseconds, have no length: see ``safe_shape``.
    """
    blocks = ["WEBVTT\n\n" + note_block(notice)]
    at = 0
    for number, chapter in enumerate(chapters, start=1):
        start_ms, end_ms = milliseconds(chapter.start), milliseconds(chapter.end)
        if start_ms < at or end_ms <= start_ms:
            raise ValueError(
                f"chapter {number} runs from {start_ms} to {end_ms} ms after one that ends at "
                f"{at} ms; put the list through safe_shape first"
            )
        at = end_ms
        title = escape_vtt(clean_title(chapter.title)) or f"Chapter {number}"
        blocks.append(f"{number}\n{vtt_time(start_ms)} --> {vtt_time(end_ms)}\n{title}\n\n")
    return "".join(blocks).rstrip("\n") + "\n"
