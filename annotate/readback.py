"""Finished files read again by their own readers before they get their names: is what was meant there?

The film by its streams, the captions and chapters by webvtt-py, which drops a cue it cannot read
without a word: so cues are counted and their times compared.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import webvtt

from annotate.captions.cues import Cue
from annotate.plan import Plan
from chapters.errors import WorkError
from chapters.markers import Chapter
from chapters.media.mux import read_back
from chapters.times import milliseconds, vtt_time

#: AAC comes in frames of 1024 samples; the last one may be filled up.
SOUND_LEEWAY_S = Fraction(1, 20)


def check_film(path: Path, plan: Plan, chapters: Sequence[Chapter]) -> None:
    """Compare the film with the plan. Raises WorkError naming everything that differs."""
    film, found = plan.film, read_back(path)
    faults = []
    if found.frame_count != film.frame_count:
        faults.append(f"{found.frame_count} pictures, planned {film.frame_count}")
    for kind, leeway in (("video", 1 / film.fps / 2), ("audio", SOUND_LEEWAY_S)):
        if abs(found.duration(kind) - film.length) > leeway:
            faults.append(f"{kind} lasts {float(found.duration(kind)):.3f} s")
    if not found.constant_rate or found.fps != film.fps:
        faults.append(f"{found.fps} pictures a second, planned {film.fps}")
    if len(found.chapters) != len(chapters):
        faults.append(f"{len(found.chapters)} chapters, planned {len(chapters)}")
    _raise(path, faults)


def check_captions(path: Path, cues: Sequence[Cue], notice: str) -> None:
    """Compare a WebVTT captions file with its cues. Raises WorkError naming what differs."""
    wanted = [(vtt_time(c.start_ms), vtt_time(c.end_ms), "\n".join(c.lines)) for c in cues]
    found = _cues(path)
    _raise(path, _differences(found[1:] if notice else found, wanted))


def check_chapters(path: Path, chapters: Sequence[Chapter]) -> None:
    """Compare a WebVTT chapters file with its chapters. Raises WorkError naming what differs."""
    wanted = [
        (vtt_time(milliseconds(c.start)), vtt_time(milliseconds(c.end)), c.title) for c in chapters
    ]
    _raise(path, _differences(_cues(path), wanted))


def _cues(path: Path) -> list[tuple[str, str, str]]:
    try:
        read = webvtt.read(str(path))
    except (webvtt.errors.MalformedFileError, UnicodeDecodeError) as error:
        raise WorkError(f"{path.name}: cannot be read back: {error}") from error
    return [(c.start, c.end, html.unescape(c.text)) for c in read.captions]


def _differences(
    found: Sequence[tuple[str, str, str]], wanted: Sequence[tuple[str, str, str]]
) -> list[str]:
    if len(found) != len(wanted):
        return [f"{len(found)} cues, {len(wanted)} written"]
    return [
        f"cue {n} reads {a}"
        for n, (a, b) in enumerate(zip(found, wanted, strict=True), 1)
        if a != b
    ]


def _raise(path: Path, faults: Sequence[str]) -> None:
    if faults:
        raise WorkError(
            f"{path.name}: the finished file is not as planned: {'; '.join(faults[:5])}"
        )
