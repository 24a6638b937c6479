"""What a reader sees as one character, so that nothing is ever cut through the middle of one.

Close to the extended grapheme clusters of Unicode Standard Annex #29 and never finer than they
are: where the standard library knows no property (which consonants join after a virama, which
pictures join after a zero-width joiner) the wider reading is taken and the two stay together.
"""

from __future__ import annotations

import unicodedata

_ZWJ = "\u200d"
_SPACING_LETTERS = frozenset("\u0e33\u0eb3")
_PREPENDED = frozenset("\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u08e2\u0d4e")


def extends(ch: str) -> bool:
    """Whether the character stays with the one before it: marks, joiners, picture modifiers."""
    return (
        unicodedata.category(ch) in ("Mn", "Me", "Mc")
        or ch in "\u200c\u200d"
        or ch in _SPACING_LETTERS
        or "\U0001f3fb" <= ch <= "\U0001f3ff"
        or "\U000e0020" <= ch <= "\U000e007f"
        or ch in "\uff9e\uff9f"
    )


def _hangul(ch: str) -> str:
    """L, V, T for conjoining jamo, LV or LVT for a syllable, else an empty text."""
    code = ord(ch)
    if 0xAC00 <= code <= 0xD7A3:
        return "LV" if (code - 0xAC00) % 28 == 0 else "LVT"
    if 0x1100 <= code <= 0x115F or 0xA960 <= code <= 0xA97C:
        return "L"
    if 0x1160 <= code <= 0x11A7 or 0xD7B0 <= code <= 0xD7C6:
        return "V"
    if 0x11A8 <= code <= 0x11FF or 0xD7CB <= code <= 0xD7FB:
        return "T"
    return ""


def _jamo_join(left: str, right: str) -> bool:
    """Rules GB6 to GB8."""
    if left == "L":
        return right in ("L", "V", "LV", "LVT")
    if left in ("LV", "V"):
        return right in ("V", "T")
    return left in ("LVT", "T") and right == "T"


def _flags(ch: str) -> bool:
    return "\U0001f1e6" <= ch <= "\U0001f1ff"


def _joins(cluster: str, ch: str) -> bool:
    """Whether ``ch`` goes on with the cluster that ends before it."""
    last = cluster[-1]
    if unicodedata.category(last) == "Cc" or unicodedata.category(ch) == "Cc":
        return False
    if extends(ch) or last in _PREPENDED or _jamo_join(_hangul(last), _hangul(ch)):
        return True
    letter = unicodedata.category(ch)[0] in "LS"
    tail = cluster.rstrip("\u200c" + _ZWJ)
    after_virama = bool(tail) and unicodedata.combining(tail[-1]) == 9
    if letter and len(cluster) > 1 and (last == _ZWJ or after_virama):
        return True
    return _flags(ch) and len(cluster) == 1 and _flags(last)


def clusters(text: str) -> list[str]:
    """The text cut into what a reader takes for single characters; joined again it is the text."""
    out: list[str] = []
    for ch in text:
        if out and _joins(out[-1], ch):
            out[-1] += ch
        else:
            out.append(ch)
    return out
