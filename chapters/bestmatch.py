"""The best likeness of any of several pictures with any of several others.

Pictures in, numbers out; a match is -1 unlike to 1 alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from chapters.likeness import (
    View,
    common_landmarks,
    landmarks,
    plain_match,
    scaled_match,
    whole_match,
)

#: So many common landmarks leave no doubt.
PLAIN_LANDMARKS = 12
#: Pictures that match better than this show one view without a doubt.
PLAIN_MATCH = 0.93


def best_match(firsts: Sequence[View], lasts: Sequence[View]) -> float:
    """The best whole match of any of the one with any of the other, as soon as it is plain.

    NaN where none can be compared.
    """
    best = float("nan")
    for later in lasts:
        for earlier in reversed(firsts):
            match = whole_match(earlier, later)
            if math.isnan(best) or match > best:
                best = match
            if best > PLAIN_MATCH:
                return best
    return best


def best_plain(firsts: Sequence[View], lasts: Sequence[View]) -> float:
    """The best match of strong structure of any of the one with any of the other; NaN: none."""
    values = [v for v in (plain_match(a, b) for a in firsts for b in lasts) if not math.isnan(v)]
    return max(values, default=float("nan"))


def best_scaled(olds: Sequence[View], news: Sequence[View]) -> float:
    """The best match at another magnification of the outer and of the inner pictures; NaN: none."""
    pairs = ((olds[-1], news[0]), (olds[-1], news[-1]), (olds[0], news[-1]))
    values = [v for v in (scaled_match(a, b) for a, b in pairs) if not math.isnan(v)]
    return max(values, default=float("nan"))


def most_landmarks(olds: Sequence[View], news: Sequence[View]) -> int:
    """Most landmarks of any old view that stand again in any new one; stops where that is plain."""
    most = 0
    known = [landmarks(v) for v in olds]
    for seen in news:
        new = landmarks(seen)
        most = max(most, *(common_landmarks(old, new) for old in known))
        if most >= PLAIN_LANDMARKS:
            break
    return most
