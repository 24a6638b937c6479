"""Text in the units a reader sees: user-perceived characters, columns and words.

A user-perceived character is an extended grapheme cluster (UAX #29, "Grapheme Cluster
Boundaries"), found by the regex library. A column is the width of one narrow character: East Asian
wide and fullwidth characters (UAX #11) and emoji take two, joiners and other invisible characters
none. Right-to-left text is counted like any other and never reordered.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

import regex

#: Letters of scripts that write no spaces between words: short words, long words.
_DENSE = re.compile("[\u3005-\u30ff\u31f0-\u31ff\u3400-\u4dbf\u4e00-\u9fff\U00020000-\U0003ffff]")
_LOOSE = re.compile("[\u0e00-\u0eff\u1000-\u109f\u1780-\u17ff]")
_EMOJI_STYLE = "\ufe0f"
_CLUSTER = regex.compile(r"\X")


def clusters(text: str) -> tuple[str, ...]:
    """The text cut into user-perceived characters; joined together they are the text again."""
    return tuple(_CLUSTER.findall(text))


def columns(text: str) -> int:
    """The width of the text in columns of one narrow character."""
    if text.isascii():
        return len(text)
    return sum(map(_cluster_columns, clusters(text)))


def _cluster_columns(cluster: str) -> int:
    if _EMOJI_STYLE in cluster or "\U0001f1e6" <= cluster[0] <= "\U0001f1ff":
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
