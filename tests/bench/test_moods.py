"""What the corpus can be rich in."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench import edits
from tests.bench.moods import ALL, MOODS

KINDS = {"none", "flash", "occlusion", *edits.PASSING, *edits.LASTING}
WAYS = {"hard", "black", "dissolve", "fade", "jump", "stop", "swap"}


def test_all_that_can_happen_happens_in_a_plain_recording() -> None:
    """And nothing that nobody can make, in any mood."""
    assert set(ALL) == KINDS
    assert set(MOODS["plain"].ending) == WAYS
    for mood in MOODS.values():
        assert set(mood.happens) <= KINDS
        assert {*mood.ending, *mood.leaving} <= WAYS


def test_where_something_lasting_happens_the_view_is_left() -> None:
    """Shown again unchanged, what lasted would be undone without a label."""
    for mood in MOODS.values():
        if set(mood.happens) & set(edits.LASTING):
            assert set(mood.leaving) <= {"hard", "black"}


@pytest.mark.parametrize("number", range(5))
def test_a_faint_film_has_a_part_of_the_contrast(number: int) -> None:
    """As much less as the mood says, but for rounding; a plain one is as it was."""
    rng = np.random.default_rng(number)
    film = [rng.integers(60, 200, (18, 32, 3)).astype(np.uint8) for _ in range(2)]
    faint = MOODS["faint"]
    shown = faint.film(film, number)
    part = faint.contrasts[number]

    for before, after in zip(film, shown, strict=True):
        assert float(after.std((0, 1)).mean()) == pytest.approx(
            part * float(before.std((0, 1)).mean()), abs=0.3
        )
    assert MOODS["plain"].film(film, number) is film
