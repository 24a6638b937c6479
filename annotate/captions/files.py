"""Cues as WebVTT (W3C) and SubRip text (no standard; form of the Matroska codec draft).

Both are written from the same whole milliseconds, so the two files never differ. Cautions stand
in WebVTT as a NOTE, which no player shows; a film that may not be published says so in a first
cue of both files, which every player shows. SubRip knows no comments and no escapes: ``&`` and
``<`` stand there as they are.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from annotate.captions.cues import Cue
from annotate.captions.layout import Layout
from annotate.captions.phrases import pieces_of
from annotate.captions.profiles import NOTES
from annotate.words import CAUTIONS
from chapters.markers.titles import plain_text
from chapters.markers.webvtt import escape_vtt, note_block
from chapters.times import srt_time, vtt_time

#: How long the first cue of a film that may not be published stays.
NOTICE_MS = 4000
#: WebVTT cue settings: name:value pairs, values of the characters the grammar uses.
_SETTINGS = re.compile(r"(?:(?:vertical|line|position|size|align):[a-z0-9.,%-]+(?: |$))*")
#: What SubRip readers take for the times of a cue.
_TIMES_LIKE = re.compile(r"\d:\d+.*-->")


def cues_to_vtt(
    cues: Sequence[Cue],
    notice: str = "",
    language: str = "en",
    *,
    settings: str = "",
    about: str = "",
) -> str:
    """The text of a WebVTT captions file.

    ``notice`` is "" or the sentence that a film not to be published bears: it joins the cautions
    in the NOTE and is the first cue, at the top of the picture. ``language`` is a BCP 47 tag,
    named in the NOTE since WebVTT has no field for it. ``settings`` are WebVTT cue settings for
    every cue, such as ``line:10%``; ``about`` is one more line of the NOTE. Raises ValueError for cues out of order or without length and
    for settings that are none.
    """
    if not _SETTINGS.fullmatch(settings):
        raise ValueError(f"{settings!r} are no WebVTT cue settings; write name:value pairs")
    head = note_block("\n".join(filter(None, (*CAUTIONS, notice, about, f"Language: {language}"))))
    blocks = ["WEBVTT\n\n" + head]
    for number, cue in enumerate(_with_notice(cues, notice), start=1):
        place = "line:0" if notice and number == 1 else settings
        times = f"{vtt_time(cue.start_ms)} --> {vtt_time(cue.end_ms)} {place}".rstrip()
        text = "\n".join(escape_vtt(line) for line in cue.lines)
        blocks.append(f"{number}\n{times}\n{text}\n\n")
    return "".join(blocks).rstrip("\n") + "\n"


def cues_to_srt(cues: Sequence[Cue], notice: str = "") -> str:
    """The text of a SubRip file; ``notice`` and errors as for ``cues_to_vtt``.

    A line of text that reads like a line of times gets an arrow for its ``-->``, because readers
    would start a cue there.
    """
    blocks = [
        f"{number}\n{srt_time(cue.start_ms)} --> {srt_time(cue.end_ms)}\n"
        + "".join(_srt_line(line) + "\n" for line in cue.lines)
        for number, cue in enumerate(_with_notice(cues, notice), start=1)
    ]
    return "\n".join(blocks)


def _srt_line(line: str) -> str:
    return line.replace("-->", "→") if _TIMES_LIKE.search(line) else line


def _with_notice(cues: Sequence[Cue], notice: str) -> list[Cue]:
    """The cues in plain lines, the notice first; checks what both formats need."""
    out = [Cue(0, NOTICE_MS, notice_lines(notice))] if notice.strip() else []
    at = 0
    for cue in cues:
        if cue.start_ms < at or cue.end_ms <= cue.start_ms:
            raise ValueError(
                f"a cue from {cue.start_ms} to {cue.end_ms} ms cannot follow one that starts at "
                f"{at} ms: cues stand by start and end after they start"
            )
        at = cue.start_ms
        lines = tuple(filter(None, (_plain_line(line) for line in cue.lines)))
        if lines:
            out.append(Cue(cue.start_ms, cue.end_ms, lines, cue.step))
    return out


def _plain_line(line: str) -> str:
    return plain_text(line).replace("\n", " ").strip()


def notice_lines(notice: str) -> tuple[str, ...]:
    """A notice on as many lines as it needs."""
    text = " ".join(plain_text(notice).split())
    width = NOTES.line_columns.value
    blocks = Layout(pieces_of([text], width), width, NOTES.lines.value).blocks()
    return tuple(line for block in blocks for line in block.lines)
