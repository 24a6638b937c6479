"""WebVTT text -> cues, for pages that cannot load track files (a page opened from disk).

Reads what W3C WebVTT calls cue blocks: an optional identifier, a timing line, the payload.
Settings, regions, styles and comments are passed over; tags are taken out of the payload and
the six named character references are resolved, so that the text can be shown as plain text.
"""

from __future__ import annotations

import re

from annotate.page.data import Cue

_TIMING = re.compile(
    r"^(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})[ \t]+-->[ \t]+(?:(\d{2,}):)?([0-5]\d):([0-5]\d)\.(\d{3})"
    r"(?:[ \t].*)?$",
    re.ASCII,
)
_TAG = re.compile(r"<[^>]*>")
_REFERENCES = {
    "&lt;": "<",
    "&gt;": ">",
    "&lrm;": "\u200e",
    "&rlm;": "\u200f",
    "&nbsp;": "\u00a0",
    "&amp;": "&",
}
_REFERENCE = re.compile("|".join(map(re.escape, _REFERENCES)))


def plain_text(payload: str) -> str:
    """The payload of a cue without its tags, character references resolved once."""
    return _REFERENCE.sub(lambda m: _REFERENCES[m[0]], _TAG.sub("", payload))


def read_cues(text: str) -> tuple[Cue, ...]:
    """Every cue of a WebVTT text, in the order of their starts.

    Raises ValueError when the text does not begin as WebVTT does.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if not re.match(r"WEBVTT(?:[ \t\n]|$)", text):
        raise ValueError("does not begin with WEBVTT")
    out: list[Cue] = []
    for block in re.split(r"\n{2,}", text):
        lines = [line for line in block.split("\n") if line]
        for i, line in enumerate(lines[:2]):
            match = _TIMING.match(line)
            if match:
                payload = plain_text("\n".join(lines[i + 1 :])).strip()
                start, end = _ms(match.groups()[:4]), _ms(match.groups()[4:])
                if payload and end > start:
                    out.append(Cue(start, end, payload))
                break
    return tuple(sorted(out, key=lambda cue: (cue.start_ms, -cue.end_ms)))


def _ms(parts: tuple[str | None, ...]) -> int:
    hours, minutes, seconds, rest = (int(p or 0) for p in parts)
    return ((hours * 60 + minutes) * 60 + seconds) * 1000 + rest
