"""Where nothing happens, by kind."""

from __future__ import annotations

import itertools
from fractions import Fraction

import cv2
import numpy as np

from chapters.signals import SignalReader
from chapters.stillness import StillStretch, find_still
from tests.scenes import Grey, shot, timed


def still(pictures: list[Grey], fps: Fraction = Fraction(30)) -> tuple[StillStretch, ...]:
    """The dull stretches of pictures at a constant rate."""
    reader = SignalReader()
    for time, picture in timed(pictures, fps):
        reader.feed(time, picture)
    return find_still(reader.finish())


def test_a_moving_scene_is_not_dull() -> None:
    """A pan with a moving tool gives nothing."""
    assert still(shot(1, 300, pan_px=1.0, tool_px=6)) == ()


def test_a_scene_where_nothing_moves_is_still() -> None:
    """Ten seconds with sensor noise only are found from start to end, within one mark."""
    moving = shot(1, 120, pan_px=1.0, tool_px=6)
    rng = np.random.default_rng(2)
    base = moving[-1].astype(np.float32)
    quiet = [
        np.clip(base + rng.normal(0, 1.5, base.shape), 0, 255).astype(np.uint8) for _ in range(300)
    ]
    found = still(moving + quiet)

    assert [s.kind for s in found] == ["still"]
    assert abs(found[0].span.start - 4) <= Fraction(1, 2)
    assert found[0].span.end == 14


def test_black_is_named_black_and_white_blank() -> None:
    """Three seconds of each, one after the other, are two stretches of their own kind."""
    dark = [np.full((90, 160), 16, np.uint8)] * 90
    bright = [np.full((90, 160), 240, np.uint8)] * 90
    found = still(shot(1, 60, 1.0) + dark + bright + shot(2, 60, 1.0))

    assert [s.kind for s in found] == ["black", "blank"]


def test_a_stretch_out_of_focus_is_blurred() -> None:
    """Four seconds far out of focus among sharp ones are one blurred stretch."""
    pictures = shot(1, 400, pan_px=1.0, tool_px=6, noise=0.5)
    for n in range(150, 270):
        pictures[n] = cv2.GaussianBlur(pictures[n], (0, 0), 5)
    found = [s for s in still(pictures) if s.kind == "blurred"]

    assert len(found) == 1
    assert abs(found[0].span.start - 5) <= 1
    assert abs(found[0].span.end - 9) <= 1


def test_a_small_movement_for_a_minute_repeats() -> None:
    """A tool circling in a fixed view for a minute is a stretch that repeats."""
    pictures = shot(1, 600, pan_px=0, tool_px=12)
    found = still(pictures, Fraction(10))

    assert "repeats" in {s.kind for s in found}


def test_strength_is_a_share_and_stretches_do_not_overlap() -> None:
    """Strength lies in 0..1 and no instant is in two stretches of one kind."""
    dark = [np.full((90, 160), 16, np.uint8)] * 90
    found = still(shot(1, 60, 1.0) + dark + shot(2, 60, 1.0) + dark)

    assert all(0 <= s.strength <= 1 for s in found)
    assert all(a.span.end <= b.span.start for a, b in itertools.pairwise(found))
