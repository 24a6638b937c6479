"""Slow changes from one picture into another, however long they take."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pytest

from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader


@pytest.mark.parametrize("lasts_s", [1, 4, 12])
def test_a_blend_of_any_length_is_looked_at_before_its_start_is_forgotten(lasts_s: int) -> None:
    """A fade that goes on for longer than pictures are kept; at most one cut is told of it."""
    rng = np.random.default_rng(lasts_s)
    small = rng.integers(40, 215, (2, 15, 20)).astype(np.float64)
    first, last = (np.kron(picture, np.ones((6, 8))) for picture in small)
    reader = SignalReader()
    still_s, fps = 4, 24
    for n in range((lasts_s + 2 * still_s) * fps):
        share = min(1.0, max(0.0, (n / fps - still_s) / lasts_s))
        moved = np.roll(first * (1 - share) + last * share, n // 6, axis=1)
        noise = rng.normal(0, 1, moved.shape)
        reader.feed(F(n, fps), np.clip(moved + noise, 0, 255).astype(np.uint8))
    cuts = find_cuts(reader.finish(F(lasts_s + 2 * still_s)))
    assert len(cuts) <= 1
