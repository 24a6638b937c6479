"""What ``find`` says of waits in the demo recording, whose truth is the script it is drawn from."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from annotate.find import Found, find
from chapters.spans import Span, clamp
from sample_clips import script, truth
from sample_clips.draw_recording import draw_part
from sample_clips.layers import prepare

#: The same story in three quarters of the time.
SCALE = Fraction(3, 4)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Found:
    """Both parts drawn small and looked through."""
    folder, layers = tmp_path_factory.mktemp("demo"), prepare()
    paths = [folder / name for name, _, _ in script.PARTS]
    for part, path in enumerate(paths):
        draw_part(Path(path), part, layers, height_px=144, scale=SCALE)
    return find(paths)


def stretches(found: Found, kind: str) -> list[Span]:
    """The dull stretches of a kind."""
    return [s.span for s in found.still if s.kind == kind]


def test_only_the_switched_cameras_are_plainly_cuts(found: Found) -> None:
    """To the bench camera and back, no key picture and no light. The last picture of the first part may
    show what the second begins with. The pellet is drawn as set down from one frame to the next, and
    so it is told.
    """
    border = found.parts[1].start
    cuts = [c for c in found.scene_cuts if abs(c.at - border) > Fraction(1, 10)]
    plain = [(c.kind, c.at) for c in cuts if c.confidence >= 0.7]

    assert [kind for kind, _ in plain] == ["swap", "swap", "stop"]
    for (_, at), second in zip(plain, (126, 144, 149.6), strict=True):
        assert abs(at - Fraction(second) * SCALE) <= Fraction(1, 10)
    assert len(cuts) <= 3


def test_the_wait_for_the_cement_is_one_still_stretch(found: Found) -> None:
    """In one piece though the cement sets in it; its ends to the distance of two key pictures (2.4 s)."""
    start, end = truth.still(SCALE)
    (wait,) = [s for s in stretches(found, "still") if clamp(s, Span(start, end))]

    assert start - Fraction(5, 2) <= wait.start <= start + 1
    assert end - 1 <= wait.end <= end + Fraction(5, 2)


def test_an_explorer_at_the_edge_of_the_view_is_not_still(found: Found) -> None:
    """While it goes round the neck of the tooth, thin and far from the middle, something moves."""
    rows = script.PASSES[2].rows
    assert script.PASSES[2].tool == "explorer"
    work = Span(Fraction(rows[1][0]) * SCALE, Fraction(rows[-2][0]) * SCALE)

    assert [s for s in stretches(found, "still") if clamp(s, work)] == []


def test_steps_are_proposed_where_the_story_has_them(found: Found) -> None:
    """Of the story's eight borders at least six begin a proposed step, within two seconds."""
    borders = [Fraction(second) * SCALE for second in (34, 64, 110, 126, 144, 178, 208, 232)]
    starts = [step.span.start for step in found.proposals]
    hit = [b for b in borders if min(abs(b - s) for s in starts) <= 2]

    assert len(hit) >= 6
    assert len(starts) <= len(borders) + 3
