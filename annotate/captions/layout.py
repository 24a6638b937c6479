"""Pieces of text laid into captions: the cheapest way to break the whole text, not a greedy one.

Dynamic programming over the pieces: the best layout of the first ``n`` pieces is the best layout
of some shorter beginning plus one more caption. A caption's cost counts its borders (see
``phrases``), its line break, how even its lines are, how full it is (two halves read better than
a full caption and a scrap), and whatever the caller adds for time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from annotate.captions.phrases import Piece

#: Price of one more caption.
_ONE_MORE = 2.5
#: Price of a caption as full as it can be; rises with the square of how full it is.
_FULL = 4.0
#: Price of a line break relative to the same break between captions, and of uneven lines.
_LINE_BREAK, _UNEVEN = 0.5, 8.0
#: A line that runs on although two would fit is not broken without need.
_SECOND_LINE = 1.0
#: Two whole sentences in one caption; the end of one with the beginning of another.
_TWO_SENTENCES, _MIXED_SENTENCES = 3.0, 14.0
#: Price of every column that a caption falls short of one comfortable second.
_SCRAP_COLUMNS, _SCRAP = 20, 0.3

ExtraCost = Callable[[int, int], float]


@dataclass(frozen=True, slots=True)
class Block:
    """One caption's pieces ``[first, stop)`` and its lines."""

    first: int
    stop: int
    lines: tuple[str, ...]


class Layout:
    """The pieces of one text with what their widths and borders add up to."""

    def __init__(self, pieces: Sequence[Piece], line_columns: int, lines: int) -> None:
        self.pieces = tuple(pieces)
        self.line_columns = line_columns
        self.lines = lines
        self._ends = [0]
        self._sentences = [0]
        for piece in self.pieces:
            self._ends.append(self._ends[-1] + piece.columns + len(piece.glue))
            self._sentences.append(self._sentences[-1] + piece.ends_sentence)

    def width(self, first: int, stop: int) -> int:
        """Columns of the pieces ``[first, stop)`` on one line."""
        return self._ends[stop] - self._ends[first] - len(self.pieces[stop - 1].glue)

    def blocks(self, extra: ExtraCost | None = None) -> tuple[Block, ...]:
        """The cheapest captions for the whole text; ``extra`` prices pieces ``[first, stop)``.

        ``extra`` may be infinite, but not for a single piece.
        """
        count = len(self.pieces)
        best = [0.0] + [math.inf] * count
        came: list[tuple[int, tuple[int, ...]]] = [(0, ())] * (count + 1)
        for first in range(count):
            for stop, breaks, cost in self._from(first):
                total = best[first] + cost + (extra(first, stop) if extra else 0.0)
                if total < best[stop]:
                    best[stop], came[stop] = total, (first, breaks)
        out: list[Block] = []
        stop = count
        while stop:
            first, breaks = came[stop]
            out.append(Block(first, stop, self.text_lines(first, breaks, stop)))
            stop = first
        return tuple(reversed(out))

    def text_lines(self, first: int, breaks: Sequence[int], stop: int) -> tuple[str, ...]:
        """The lines of ``[first, stop)`` broken before each piece of ``breaks``."""
        edges = (first, *breaks, stop)
        return tuple(self._text(a, b) for a, b in pairwise(edges))

    def _text(self, first: int, stop: int) -> str:
        run = self.pieces[first:stop]
        return "".join(p.text + p.glue for p in run[:-1]) + run[-1].text

    def _from(self, first: int) -> list[tuple[int, tuple[int, ...], float]]:
        """Every caption that can start at ``first``: its stop, its line breaks, its cost."""
        out = []
        widest = self.line_columns * self.lines + self.lines
        for stop in range(first + 1, len(self.pieces) + 1):
            if stop > first + 1 and self.width(first, stop) > widest:
                break
            lines = self._break(first, stop, self.lines)
            if lines is None:
                continue
            cost, breaks = lines
            out.append((stop, breaks, cost + self._cost(first, stop)))
        return out

    def _cost(self, first: int, stop: int) -> float:
        width = self.width(first, stop)
        cost = _ONE_MORE + _FULL * (width / (self.line_columns * self.lines)) ** 2
        cost += _SCRAP * max(0, _SCRAP_COLUMNS - width)
        last = self.pieces[stop - 1]
        cost += last.cost if stop < len(self.pieces) else 0.0
        inside = self._sentences[stop - 1] - self._sentences[first]
        if inside:
            whole = last.ends_sentence and (first == 0 or self.pieces[first - 1].ends_sentence)
            cost += inside * (_TWO_SENTENCES if whole else _MIXED_SENTENCES)
        return cost

    def _break(self, first: int, stop: int, lines: int) -> tuple[float, tuple[int, ...]] | None:
        """The cheapest line breaks of ``[first, stop)`` on at most ``lines`` lines, or None."""
        width = self.width(first, stop)
        if width <= self.line_columns:
            return 0.0, ()
        if lines == 1 or width > self.line_columns * lines + lines:
            return None
        best: tuple[float, tuple[int, ...]] | None = None
        for split in range(stop - 1, first, -1):
            top = self.width(first, split)
            if top > self.line_columns:
                continue
            rest = self._break(split, stop, lines - 1)
            if rest is None:
                break
            cost = rest[0] + self._line_break_cost(split, top, self.width(split, stop), lines)
            if best is None or cost < best[0]:
                best = cost, (split, *rest[1])
        return best

    def _line_break_cost(self, split: int, top: int, below: int, lines: int) -> float:
        """The border's own cost, and how far the first line is from its fair share."""
        fair = (top + below) / lines
        uneven = _UNEVEN * ((top - fair) / self.line_columns) ** 2
        return _SECOND_LINE + _LINE_BREAK * self.pieces[split - 1].cost + uneven
