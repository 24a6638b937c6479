"""Texts beside the film: captions follow one another, whatever they come from."""

from __future__ import annotations

from annotate.captions.cues import Cue
from annotate.sidecars import one_after_another


def cue(start_ms: int, end_ms: int) -> Cue:
    """A cue of one line."""
    return Cue(start_ms, end_ms, ("Look.",), "step")


def test_no_captions_are_no_fault() -> None:
    """A film without notes and without narration has no cue."""
    assert one_after_another([]) == ()


def test_captions_never_stand_on_the_picture_together() -> None:
    """In the order of their starts, each ends where the next begins; one with no time left goes."""
    given = [cue(9_000, 12_000), cue(0, 4_000), cue(3_000, 6_000), cue(3_000, 5_000)]
    found = one_after_another(given)
    assert [(c.start_ms, c.end_ms) for c in found] == [(0, 3_000), (3_000, 6_000), (9_000, 12_000)]
