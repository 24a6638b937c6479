"""A language model made of a script: word trigrams as the text of an ARPA file.

Back-off with a fixed discount: of every history's counts the share ``DISCOUNT`` is held back and
given to what follows the shorter history (Katz 1987, with a constant in place of Good-Turing). The
format is that of ``ngram-format(5)``: ``\\data\\``, a section for each length, base-10 logarithms,
and after every n-gram that is a history its back-off weight.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

DISCOUNT = 0.5
START, END = "<s>", "</s>"
_NEVER = -99.0

Gram = tuple[str, ...]


class Trigrams:
    """Chances of words after the two words before them. Raises ValueError without any word."""

    def __init__(self, sentences: Iterable[Sequence[str]], order: int = 3) -> None:
        counts = _counts(sentences, order)
        total = sum(counts[0].values())
        if total == counts[0][(END,)]:
            raise ValueError("a language model needs at least one word")
        self._chance: dict[Gram, float] = {g: n / total for g, n in counts[0].items()}
        self._chance[(START,)] = 0.0
        self._weight: dict[Gram, float] = {}
        self.order = order
        for table in counts[1:]:
            self._add(table)

    def _add(self, table: Counter[Gram]) -> None:
        """Take in the n-grams of one length, after all shorter ones."""
        followers: dict[Gram, dict[str, int]] = defaultdict(dict)
        for gram, count in table.items():
            followers[gram[:-1]][gram[-1]] = count
        for history, words in followers.items():
            total = sum(words.values())
            shorter = sum(self.chance((*history[1:], word)) for word in words)
            for word, count in words.items():
                self._chance[(*history, word)] = (1 - DISCOUNT) * count / total
            self._weight[history] = DISCOUNT / max(1e-6, 1 - shorter)

    def chance(self, gram: Gram) -> float:
        """The chance of the last word after the others; 0 for an unknown word."""
        found = self._chance.get(gram)
        if found is not None:
            return found
        if len(gram) == 1:
            return 0.0
        return self._weight.get(gram[:-1], 1.0) * self.chance(gram[1:])

    def arpa(self) -> str:
        """The model as the text of an ARPA file."""
        lengths = [sorted(g for g in self._chance if len(g) == n + 1) for n in range(self.order)]
        lines = ["\\data\\", *(f"ngram {n + 1}={len(grams)}" for n, grams in enumerate(lengths))]
        for length, grams in enumerate(lengths, 1):
            lines += ["", f"\\{length}-grams:"]
            for gram in grams:
                weight = f"\t{_log(self._weight.get(gram, 1.0)):.4f}" if length < self.order else ""
                lines.append(f"{_log(self._chance[gram]):.4f}\t{' '.join(gram)}{weight}")
        return "\n".join([*lines, "", "\\end\\", ""])


def _counts(sentences: Iterable[Sequence[str]], order: int) -> list[Counter[Gram]]:
    counts: list[Counter[Gram]] = [Counter() for _ in range(order)]
    for sentence in sentences:
        words = (START, *sentence, END)
        for length in range(1, order + 1):
            for first in range(len(words) - length + 1):
                counts[length - 1][tuple(words[first : first + length])] += 1
    counts[0].pop((START,), None)
    return counts


def _log(chance: float) -> float:
    return math.log10(chance) if chance > 0 else _NEVER
