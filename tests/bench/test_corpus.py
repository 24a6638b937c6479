"""The labelled corpus: what is labelled is in the recording."""

from __future__ import annotations

import numpy as np

from tests.bench.corpus import Event, Made, presented


def test_what_happened_in_lost_pictures_alone_is_no_event() -> None:
    """A flash of one picture at every frame: a variable rate keeps those whose picture it keeps."""
    dark = np.zeros((2, 2, 3), np.uint8)
    flashes = [Event("flash", n, n + 1) for n in range(300)]
    made = Made([dark] * 300, [], flashes)

    kept, times = presented(made, np.random.default_rng(5), variable=True)

    assert len(times) < 290
    assert [(e.start, e.end) for e in kept.events] == [(n, n + 1) for n in range(len(times))]
