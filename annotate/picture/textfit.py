"""Fit a text into few lines of a width: break, then widen, then shrink, then add a line.

Lines break at spaces, after hyphens and slashes, and between Chinese, Japanese and Korean
characters, never before closing punctuation; a word wider than the line breaks between what a
reader takes for characters. Only a text that would not fit three lines of the smallest letters
ends in an ellipsis.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from annotate.picture.direction import clean
from annotate.picture.fonts import FontChain, Weight, check_texts
from annotate.textunits import clusters

#: Shares of the wished size that a long text may shrink to.
SHRINK = (1.0, 0.9, 0.8, 0.7)
#: More than three lines can hold at any size; what is beyond would only cost time.
_MOST_CLUSTERS = 800
_BREAK_AFTER = "-‐–—/"


@dataclass(frozen=True, slots=True)
class Fitted:
    """Lines of text and the font size in pixels at which they fit."""

    lines: tuple[str, ...]
    size_px: int
    cut: bool = False


@dataclass(frozen=True, slots=True)
class _Unit:
    """What never breaks inside; ``spaced`` when a space stands before it."""

    text: str
    spaced: bool


def _wide(cluster: str) -> bool:
    return unicodedata.east_asian_width(cluster[0]) in ("W", "F")


def _clings(cluster: str) -> bool:
    """Closing punctuation: it may not begin a line."""
    return unicodedata.category(cluster[0]) in ("Pe", "Pf", "Po", "Lm")


def _units(text: str) -> list[_Unit]:
    out: list[_Unit] = []
    for word in text.split(" "):
        piece = ""
        spaced = bool(out)
        for cluster in clusters(word):
            here = bool(piece) and (
                (piece[-1] in _BREAK_AFTER and len(piece) > 1 and cluster[0].isalpha())
                or (
                    (_wide(cluster) or _wide(clusters(piece)[-1]))
                    and not _clings(cluster)
                    and unicodedata.category(piece[-1]) not in ("Ps", "Pi")
                )
            )
            if here:
                out.append(_Unit(piece, spaced))
                piece, spaced = "", False
            piece += cluster
        if piece:
            out.append(_Unit(piece, spaced))
    return out


def _split_wide(
    units: Sequence[_Unit], width: float, measure: Callable[[str], float]
) -> list[_Unit]:
    """Units wider than the line cut between clusters."""
    out: list[_Unit] = []
    for unit in units:
        if measure(unit.text) <= width:
            out.append(unit)
            continue
        spaced = unit.spaced
        for cluster in clusters(unit.text):
            out.append(_Unit(cluster, spaced))
            spaced = False
    return out


def _greedy(units: Sequence[_Unit], width: float, measure: Callable[[str], float]) -> list[str]:
    lines: list[str] = []
    room = 0.0
    space = measure(" ")
    for unit in units:
        lead = space if unit.spaced else 0.0
        length = measure(unit.text)
        if lines and length + lead <= room:
            lines[-1] += (" " if unit.spaced else "") + unit.text
            room -= length + lead
        else:
            lines.append(unit.text)
            room = width - length
    return lines


def _balanced(units: Sequence[_Unit], width: float, measure: Callable[[str], float]) -> list[str]:
    """As many lines as the greedy rule needs, with the longest as short as it can be."""
    best = _greedy(units, width, measure)
    low, high = width / 2, width
    for _ in range(7):
        middle = (low + high) / 2
        tried = _greedy(units, middle, measure)
        if len(tried) <= len(best) and all(measure(u.text) <= middle for u in units):
            best, high = tried, middle
        else:
            low = middle
    return best


class _Ruler:
    """Widths of texts at one size, each measured once."""

    def __init__(self, chain: FontChain, size_px: int, weight: Weight) -> None:
        self._chain, self._size_px, self._weight = chain, size_px, weight
        self._known: dict[str, float] = {}

    def __call__(self, text: str) -> float:
        if text == " ":
            return self("x x") - self("xx")
        if text not in self._known:
            self._known[text] = self._chain.width_px(text, self._size_px, self._weight)
        return self._known[text]


def _lines(text: str, width: float, ruler: _Ruler) -> list[str]:
    units = _split_wide(_units(text), width, ruler)
    for margin in (1.0, 0.97, 0.93, 0.88):
        lines = _balanced(units, width * margin, ruler)
        if all(ruler(line) <= width for line in lines):
            return lines
    return _greedy(units, width * 0.8, ruler)


def _shortened(text: str, width: float, most: int, ruler: _Ruler) -> list[str]:
    """The longest beginning of whole clusters that fits with an ellipsis behind it."""
    parts = clusters(text)
    low, high = 0, len(parts)
    best = ["…"]
    while low < high:
        middle = (low + high + 1) // 2
        lines = _lines("".join(parts[:middle]).rstrip() + "…", width, ruler)
        if len(lines) <= most:
            best, low = lines, middle
        else:
            high = middle - 1
    return best


def fit(
    chain: FontChain,
    text: str,
    size_px: int,
    *,
    weight: Weight = "regular",
    narrow_px: float,
    wide_px: float,
    smallest_px: int = 9,
    most_lines: int = 3,
) -> Fitted:
    """The text in the fewest, largest lines: at most two, of three at the smallest size.

    Raises InputError for a character that no font has.
    """
    text = clean(text)
    if not text:
        return Fitted((), size_px)
    check_texts(chain, [("", text)])
    parts = clusters(text)
    if len(parts) > _MOST_CLUSTERS:
        text = "".join(parts[:_MOST_CLUSTERS])
    few = min(2, most_lines)
    smallest = size_px
    for share in SHRINK:
        smallest = max(round(size_px * share), min(smallest_px, size_px))
        ruler = _Ruler(chain, smallest, weight)
        for width in (narrow_px, wide_px) if share == 1.0 else (wide_px,):
            lines = _lines(text, width, ruler)
            if len(lines) <= few:
                return Fitted(tuple(lines), smallest)
    ruler = _Ruler(chain, smallest, weight)
    lines = _lines(text, wide_px, ruler)
    if len(lines) <= most_lines:
        return Fitted(tuple(lines), smallest)
    return Fitted(tuple(_shortened(text, wide_px, most_lines, ruler)), smallest, cut=True)
