"""What is found in a recording: parts end to end, a view swap at its exact frame, a still stretch, JSON and text."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.find import Found, find, found_json, found_text
from chapters.errors import RecordingError
from tests.clips import VideoTrack, even_times, write_clip

CUT_AT = 130


def two_views(number: int, width: int, height: int) -> list[NDArray[np.uint8]]:
    """A textured view that drifts, another one from frame 130 on."""
    rng = np.random.default_rng(1 if number < CUT_AT else 2)
    coarse = rng.integers(30, 220, (height // 16 + 2, width // 16 + 6)).astype(np.uint8)
    big = np.kron(coarse, np.ones((16, 16), np.uint8))
    shift = abs(number % 80 - 40)  # to and fro: a drift without a jump
    y = np.ascontiguousarray(big[:height, shift : shift + width])
    chroma = np.full((height // 2, width // 2), 128, np.uint8)
    return [y, chroma, chroma.copy()]


def frozen(number: int, width: int, height: int) -> list[NDArray[np.uint8]]:
    """The second view, standing still."""
    return two_views(CUT_AT, width, height)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Found:
    """Two parts: one with a view swap in it, one in which nothing moves."""
    folder = tmp_path_factory.mktemp("find")
    moving = write_clip(
        folder / "a.mp4",
        VideoTrack(
            even_times(260, 25), size_px=(320, 192), last_lasts=Fraction(1, 25), draw=two_views
        ),
    )
    still = write_clip(
        folder / "b.mp4",
        VideoTrack(
            even_times(500, 25), size_px=(320, 192), last_lasts=Fraction(1, 25), draw=frozen
        ),
    )
    return find([moving.path, still.path])


def test_parts_lie_end_to_end(found: Found) -> None:
    """Each part starts where the one before ends, with every frame counted."""
    assert [(p.file, p.start, p.length, p.frames) for p in found.parts] == [
        ("a.mp4", 0, Fraction(52, 5), 260),
        ("b.mp4", Fraction(52, 5), 20, 500),
    ]
    assert found.length == Fraction(152, 5)


def test_a_view_swap_is_found_at_its_frame(found: Found) -> None:
    """Exactly the first frame of the new view, and nothing inside the steady stretches."""
    inside = [c.at for c in found.scene_cuts if c.at < Fraction(52, 5)]
    assert inside == [Fraction(CUT_AT, 25)]


def test_a_stretch_in_which_nothing_moves_is_found(found: Found) -> None:
    """The second part, most of it, and none of the moving one."""
    spans = [s.span for s in found.still]
    assert spans and all(s.start >= 10 for s in spans)
    assert sum(s.length for s in spans) > 15


def test_the_json_has_the_promised_shape(found: Found) -> None:
    """Parts, scene cuts and still stretches in seconds of recording time."""
    values = json.loads(found_json(found))
    assert set(values) >= {"parts", "scene_cuts", "still"}
    assert {"at", "kind", "confidence"} <= set(values["scene_cuts"][0])
    assert 0 <= values["scene_cuts"][0]["confidence"] <= 1
    assert {"from", "to", "kind"} <= set(values["still"][0])


def test_the_text_is_a_table_to_read(found: Found) -> None:
    """Parts, cuts and stretches each with their clock."""
    text = found_text(found)
    assert text.startswith("2 parts, 0:30 in all\n")
    assert "0:00:05.200" in text


def test_a_file_that_gives_no_picture_is_named(tmp_path: Path) -> None:
    """The first unusable file stops the look before any picture is read."""
    (tmp_path / "x.mp4").write_bytes(b"\\0" * 100)
    with pytest.raises(RecordingError, match=r"x\.mp4"):
        find([tmp_path / "x.mp4"])
