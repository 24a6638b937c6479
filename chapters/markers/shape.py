"""Chapters in the one shape that every container and player keeps.

MP4 cannot hold a gap between chapters, moves a first chapter that starts late to zero, flattens
nested ones and lets a last end beyond the film stretch the film's stated length. Therefore: from
zero, sorted, flat, contiguous, the last end the film's own, none so short that it cannot be hit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from chapters.markers.titles import clean_title
from chapters.markers.values import Chapter
from chapters.times import CutTime

#: A chapter shorter than this is joined to its neighbour: nobody can aim at it (common practice).
SHORTEST_S = Fraction(1)
#: Between the titles of chapters that were joined.
JOINT = " · "
#: The Nero list of an MP4 (``chpl``) counts its chapters, and the bytes of a title, in one byte.
NERO_LIMIT = 255


def safe_shape(
    chapters: Iterable[Chapter], length: Fraction, opening: str = "Opening"
) -> tuple[Chapter, ...]:
    """The chapters from 0 to ``length`` (seconds of cut time), contiguous, sorted and flat.

    A chapter ends where the next one starts, whatever end it came with. A first chapter that
    starts after zero is preceded by one titled ``opening``. Chapters closer together than one
    second become one that bears both titles. Chapters that start at or after ``length``, or end
    at or before zero, are left out. Raises ValueError when ``length`` is not above zero.
    """
    if length <= 0:
        raise ValueError(f"a film of {length} s has no room for chapters")
    starts = _starts(chapters, length)
    if not starts:
        return ()
    if starts[0][0] > 0:
        starts.insert(0, (Fraction(0), clean_title(opening) or "Opening"))
    starts = _apart(starts, length)
    ends = [start for start, _ in starts[1:]] + [length]
    return tuple(
        Chapter(CutTime(start), CutTime(end), title)
        for (start, title), end in zip(starts, ends, strict=True)
    )


def _starts(chapters: Iterable[Chapter], length: Fraction) -> list[tuple[Fraction, str]]:
    """Start and title of every chapter that has a part in the film, by start, as given on a tie."""
    inside = [c for c in chapters if c.start < length and (c.end > 0 or c.start >= 0)]
    inside.sort(key=lambda c: c.start)
    return [
        (max(Fraction(0), Fraction(c.start)), clean_title(c.title) or f"Chapter {number}")
        for number, c in enumerate(inside, start=1)
    ]


def _apart(starts: list[tuple[Fraction, str]], length: Fraction) -> list[tuple[Fraction, str]]:
    """The starts with every one that lies within a second of the one before (or the end) joined."""
    out: list[tuple[Fraction, str]] = []
    for start, title in starts:
        if out and start - out[-1][0] < SHORTEST_S:
            out[-1] = (out[-1][0], _joined(out[-1][1], title))
        else:
            out.append((start, title))
    if len(out) > 1 and length - out[-1][0] < SHORTEST_S:
        _, title = out.pop()
        out[-1] = (out[-1][0], _joined(out[-1][1], title))
    return out


def _joined(first: str, second: str) -> str:
    return first if first == second else first + JOINT + second


def limit_notes(chapters: Sequence[Chapter]) -> tuple[str, ...]:
    """Sentences on what players that read only an MP4's Nero list will not show; () when nothing."""
    notes = []
    if len(chapters) > NERO_LIMIT:
        notes.append(
            f"{len(chapters)} chapters: players that read only the Nero list show the first "
            f"{NERO_LIMIT}; join short steps under one phase"
        )
    for number, chapter in enumerate(chapters, start=1):
        size = len(chapter.title.encode("utf-8"))
        if size > NERO_LIMIT:
            notes.append(
                f"chapter {number}: the title has {size} bytes; players that read only the Nero "
                f"list show the first {NERO_LIMIT}; shorten it"
            )
    return tuple(notes)
