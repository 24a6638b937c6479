"""Recursive filters over blocks: the same samples however the sound is cut into blocks."""

from __future__ import annotations

import numpy as np

from annotate.sound.filters import Cascade
from annotate.sound.loudness import K_WEIGHTING


def test_a_cascade_equals_scipy_for_any_division_into_blocks() -> None:
    """Blocks of 1, 63, 64, 65 and 5000 samples give what scipy's sosfilt gives at once."""
    from scipy.signal import sosfilt

    sound = np.random.default_rng(2).normal(0, 0.3, (20_000, 2))
    sos = [[b0, b1, b2, 1.0, a1, a2] for b0, b1, b2, a1, a2 in K_WEIGHTING]
    want = sosfilt(sos, sound, axis=0)

    cascade = Cascade(K_WEIGHTING, 2)
    got, at = [], 0
    for size in [1, 63, 64, 65, 5000] * 10:
        got.append(cascade.feed(sound[at : at + size]))
        at += size

    np.testing.assert_allclose(np.concatenate(got)[: len(want)], want, atol=1e-10)


def test_an_empty_block_changes_nothing() -> None:
    """Feeding no samples returns none and keeps the state."""
    cascade = Cascade(K_WEIGHTING, 1)
    first = cascade.feed(np.ones((10, 1)))
    assert cascade.feed(np.zeros((0, 1))).shape == (0, 1)

    again = Cascade(K_WEIGHTING, 1).feed(np.ones((20, 1)))

    np.testing.assert_allclose(np.concatenate([first, cascade.feed(np.ones((10, 1)))]), again)
