"""Text made safe for one line or for several: no control character ever reaches a file we write.

Titles and notes are typed by people and pasted from anywhere. What is removed or replaced here
is only what a text file, a player or a browser would misread; letters, marks and the order of
right-to-left text stay untouched.
"""

from __future__ import annotations

import unicodedata

#: Bidirectional embeddings, overrides and isolates (UAX #9): in a title they can make text read
#: as something else than it is. The marks LRM, RLM and ALM only place neutral characters and stay.
_BIDI_CONTROLS = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A))))
#: Characters that no reader sees and that break searching or parsing.
_DROPPED = _BIDI_CONTROLS | {"\ufeff"}


def plain_text(text: str) -> str:
    """The text in Unicode form NFC, without controls; line breaks (any kind) become ``\\n``.

    U+0000 becomes U+FFFD as in the WebVTT parser's first step, and so does a lone surrogate,
    which no UTF-8 file can hold. Other control characters become spaces.
    """
    for ending in ("\r\n", "\r", "\u2028", "\u2029", "\x85", "\x0b", "\x0c"):
        text = text.replace(ending, "\n")
    return unicodedata.normalize("NFC", "".join(map(_plain, text)))


def _plain(char: str) -> str:
    if char == "\n":
        return char
    if char in _DROPPED:
        return ""
    if char == "\0":
        return "\ufffd"
    category = unicodedata.category(char)
    if category == "Cs":
        return "\ufffd"
    return " " if category == "Cc" else char


def clean_title(title: str) -> str:
    """The title on one line: every run of white space is one space, controls are gone."""
    return " ".join(plain_text(title).split())
