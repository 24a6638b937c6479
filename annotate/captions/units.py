"""Text in the units a reader sees: user-perceived characters, columns and words.

A user-perceived character is an extended grapheme cluster (UAX #29, "Grapheme Cluster
Boundaries"), found here from the general categories of the standard library's Unicode data. A
column is the width of one narrow character: East Asian wide and fullwidth characters (UAX #11)
and emoji take two, joiners and other invisible characters none. Right-to-left text is counted
like any other and never reordered.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

#: Letters of scripts that write no spaces between words: short words, long words.
_DENSE = re.compile("[\u3005-\u30ff\u31f0-\u31ff\u3400-\u4dbf\u4e00-\u9fff\U00020000-\U0003ffff]")
_LOOSE = re.compile("[\u0e00-\u0eff\u1000-\u109f\u1780-\u17ff]")
_ZWJ = "\u200d"
_ZWNJ = "\u200c"
_EMOJI_STYLE = "\ufe0f"
#: Prepended marks (Grapheme_Cluster_Break=Prepend) that join the character after them.
_PREPEND = frozenset(
    map(chr, (*range(0x600, 0x606), 0x6DD, 0x70F, 0x890, 0x891, 0x8E2, 0xD4E, 0x110BD, 0x110CD))
)
#: Letters and marks that join the character before them although their category does not say so.
_EXTRA_EXTEND = frozenset(map(chr, (0xFF9E, 0xFF9F, 0xE33, 0xEB3, *range(0x1F3FB, 0x1F400))))
#: Viramas that make a conjunct with the next consonant (Indic_Conjunct_Break=Linker).
_LINKERS = frozenset("\u094d\u09cd\u0acd\u0b4d\u0c4d\u0d4d")
#: Marks of category Mc that start a cluster of their own (UAX #29, table of SpacingMark).
_NO_SPACING_MARK = frozenset(
    "\u102b\u102c\u1038\u1062\u1063\u1064\u1067\u1068\u1069\u106a\u106b\u106c\u106d\u1083"
    "\u1087\u1088\u1089\u108a\u108b\u108c\u108f\u109a\u109b\u109c\u1a61\u1a63\u1a64\uaa7b\uaa7d"
)


def clusters(text: str) -> tuple[str, ...]:
    """The text cut into user-perceived characters; joined together they are the text again."""
    if text.isascii() and "\r\n" not in text:
        return tuple(text)
    out: list[str] = []
    for char in text:
        if out and _joins(out[-1], char):
            out[-1] += char
        else:
            out.append(char)
    return tuple(out)


def _joins(cluster: str, char: str) -> bool:
    """Whether ``char`` belongs to the cluster before it (rules GB3 to GB13 of UAX #29)."""
    last = cluster[-1]
    if last == "\r":
        return char == "\n"
    if _is_control(last) or _is_control(char):
        return False
    if _extends(char) or last in _PREPEND or _hangul_joins(last, char):
        return True
    if last == _ZWJ and _is_picture(char) and _is_picture(cluster.rstrip(_TRAILING)[-1:]):
        return True
    if _conjunct(cluster, char):
        return True
    return _is_flag_half(char) and _is_flag_half(last) and len(cluster) == 1


_TRAILING = _ZWJ + _ZWNJ + _EMOJI_STYLE + "".join(map(chr, range(0x1F3FB, 0x1F400)))


def _is_control(char: str) -> bool:
    if char in (_ZWJ, _ZWNJ) or char in _PREPEND or 0xE0020 <= ord(char) <= 0xE007F:
        return False
    return unicodedata.category(char) in ("Cc", "Zl", "Zp", "Cf")


def _extends(char: str) -> bool:
    if char in (_ZWJ, _ZWNJ) or char in _EXTRA_EXTEND or 0xE0020 <= ord(char) <= 0xE007F:
        return True
    category = unicodedata.category(char)
    return category in ("Mn", "Me") or (category == "Mc" and char not in _NO_SPACING_MARK)


def _is_flag_half(char: str) -> bool:
    return 0x1F1E6 <= ord(char) <= 0x1F1FF


def _is_picture(char: str) -> bool:
    """Extended_Pictographic, near enough: the symbols that emoji sequences are joined from."""
    return bool(char) and (
        0x1F000 <= ord(char) <= 0x1F1E5
        or 0x1F200 <= ord(char) <= 0x1FAFF
        or 0x2190 <= ord(char) <= 0x2BFF
        or char in "©®‼⁉™ℹ〰〽㊗㊙"
    )


def _conjunct(cluster: str, char: str) -> bool:
    """GB9c: consonant, marks with a virama among them, consonant of the same script."""
    if unicodedata.category(char) != "Lo":
        return False
    block, linked = ord(char) >> 7, False
    for mark in reversed(cluster):
        if ord(mark) >> 7 == block and unicodedata.category(mark) == "Lo":
            return linked
        if mark != _ZWJ and unicodedata.category(mark) != "Mn":
            return False
        linked = linked or (mark in _LINKERS and ord(mark) >> 7 == block)
    return False


def _hangul_joins(last: str, char: str) -> bool:
    """GB6 to GB8: jamo make syllables."""
    before, after = _hangul(last), _hangul(char)
    return (before, after) in {
        ("L", "L"), ("L", "V"), ("L", "LV"), ("L", "LVT"),
        ("V", "V"), ("V", "T"), ("LV", "V"), ("LV", "T"), ("T", "T"), ("LVT", "T"),
    }  # fmt: skip


def _hangul(char: str) -> str:
    code = ord(char)
    if 0xAC00 <= code <= 0xD7A3:
        return "LV" if (code - 0xAC00) % 28 == 0 else "LVT"
    if 0x1100 <= code <= 0x115F or 0xA960 <= code <= 0xA97C:
        return "L"
    if 0x1160 <= code <= 0x11A7 or 0xD7B0 <= code <= 0xD7C6:
        return "V"
    return "T" if 0x11A8 <= code <= 0x11FF or 0xD7CB <= code <= 0xD7FB else ""


def columns(text: str) -> int:
    """The width of the text in columns of one narrow character."""
    if text.isascii():
        return len(text)
    return sum(map(_cluster_columns, clusters(text)))


def _cluster_columns(cluster: str) -> int:
    if _EMOJI_STYLE in cluster or _is_flag_half(cluster[0]):
        return 2
    if any(unicodedata.east_asian_width(char) in "WF" for char in cluster):
        return 2
    return 0 if unicodedata.category(cluster[0]) in ("Cf", "Cc", "Zl", "Zp") else 1


def word_count(text: str) -> Fraction:
    """Words between white space that hold a letter or a digit, sound labels and names included.

    So the DCMP Captioning Key counts ("every word"). Scripts that write no spaces between words
    are counted by their letters: two to a word of Chinese or Japanese, four to one of Thai, Lao,
    Khmer or Burmese (common practice).
    """
    return sum(map(_words_of_run, text.split()), Fraction(0))


def _words_of_run(run: str) -> Fraction:
    dense = sum(char.isalnum() and bool(_DENSE.match(char)) for char in run)
    loose = sum(char.isalnum() and bool(_LOOSE.match(char)) for char in run)
    spaced = sum(char.isalnum() for char in run) > dense + loose
    return Fraction(dense, 2) + Fraction(loose, 4) + spaced
