"""Where nothing happens, by kind."""

from __future__ import annotations

import itertools
from fractions import Fraction

import cv2
import numpy as np
import pytest

from chapters.scenecuts import SceneCut
from chapters.signals import SignalReader
from chapters.spans import Span
from chapters.stillness import StillStretch, find_still
from chapters.times import RecordingTime
from tests.scenes import Grey, canvas, lit, shot, timed


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


def working(
    seconds: float, fps: int, reach_px: float, lap_s: float, noise: float = 1.5
) -> list[Grey]:
    """A thin instrument from the right edge whose tip goes round in a standing view."""
    ground = canvas(5)[20:110, 30:190]
    rng = np.random.default_rng(9)
    pictures = []
    for n in range(round(seconds * fps)):
        turn = 2 * np.pi * n / fps / lap_s
        tip = (round(120 + reach_px * np.cos(turn)), round(50 + reach_px * np.sin(turn)))
        picture = ground.copy()
        cv2.line(picture, tip, (165, 80), 235.0, 2)
        picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, noise, picture.shape)
        pictures.append(np.clip(picture, 0, 255).astype(np.uint8))
    return pictures


def test_a_soft_view_is_not_out_of_focus() -> None:
    """After a cut to a view that is soft from first to last, nothing is blurred; it is its best."""
    soft = [cv2.GaussianBlur(p, (0, 0), 5) for p in shot(2, 200, pan_px=1.0, tool_px=6)]
    reader = SignalReader()
    for time, picture in timed(shot(1, 200, pan_px=1.0, tool_px=6) + soft):
        reader.feed(time, picture)
    signals = reader.finish()
    cut = SceneCut(RecordingTime(Fraction(200, 30)), "cut", 0.9)

    assert "blurred" in {s.kind for s in find_still(signals)}
    assert "blurred" not in {s.kind for s in find_still(signals, cuts=[cut])}


def test_a_small_movement_for_a_minute_repeats() -> None:
    """An instrument that goes round at one place for a minute is one stretch that repeats."""
    before, after = shot(1, 100, 1.0, tool_px=9), shot(2, 100, 1.0, tool_px=9)
    found = still(before + working(60, 10, 8, 1.7) + after, Fraction(10))

    assert [s.kind for s in found] == ["repeats"]
    assert abs(found[0].span.start - 10) <= 3
    assert abs(found[0].span.end - 70) <= 3


def test_what_comes_and_goes_once_a_second_is_not_still() -> None:
    """A movement in step with the comparisons does not look at rest."""
    assert "still" not in {s.kind for s in still(working(20, 10, 8, 1.0), Fraction(10))}


def test_work_that_wanders_does_not_repeat() -> None:
    """The same instrument at another place every eight seconds is work, not a wait."""
    pictures = []
    for n in range(8):
        there = working(8, 10, 8, 1.7)
        pictures += [np.roll(p, (7 * (n % 3) - 7, -16 * n), (0, 1)) for p in there]

    assert "repeats" not in {s.kind for s in still(pictures, Fraction(10))}


def test_a_thin_instrument_at_the_edge_is_movement() -> None:
    """Two pixels of metal that wander at the rim of a standing view for ten seconds: not still."""
    pictures = [np.roll(p, (0, 30), (0, 1)) for p in working(10, 25, 6, 5)]

    assert still(pictures, Fraction(25)) == ()


def quiet(seconds: float, fps: int = 30, noise: float = 1.5, seed: int = 3) -> list[Grey]:
    """A standing view under a noisy sensor."""
    base = canvas(7)[20:110, 30:190]
    rng = np.random.default_rng(seed)
    return [
        np.clip(base + rng.normal(0, noise, base.shape), 0, 255).astype(np.uint8)
        for _ in range(round(seconds * fps))
    ]


@pytest.mark.parametrize("lasts_s", [0.1, 0.5, 1.5])
def test_a_blip_does_not_split_a_still_stretch(lasts_s: float) -> None:
    """A hand that passes through the view leaves one stretch, from the first picture to the last."""
    pictures = quiet(24)
    for n in range(12 * 30, round((12 + lasts_s) * 30)):
        cv2.circle(pictures[n], (40 + n % 60, 45), 25, 30, -1)

    assert [(s.kind, s.span) for s in still(pictures)] == [
        ("still", Span(Fraction(0), Fraction(24)))
    ]


def test_work_splits_a_still_stretch() -> None:
    """Five seconds of work between two waits of eight leave two stretches, none over the work."""
    ground = quiet(8)
    work = [lit(p, 1.0) for p in quiet(5, seed=4)]
    for n, picture in enumerate(work):
        cv2.line(picture, (60 + n % 40, 30 + n // 6), (159, 89), 235, 2)
    found = still(ground + work + quiet(8, seed=5))

    assert [s.kind for s in found] == ["still", "still"]
    assert abs(found[0].span.end - 8) <= Fraction(1, 2)
    assert abs(found[1].span.start - 13) <= Fraction(1, 2)


def test_flicker_and_a_new_lamp_are_no_movement() -> None:
    """A mains flicker of ten per cent, then a lamp a third brighter: nothing has moved."""
    pictures = quiet(12)
    pictures = [lit(p, 1 + 0.05 * np.sin(n * 2.1)) for n, p in enumerate(pictures)]
    pictures = pictures[:180] + [lit(p, 1.25, -12) for p in pictures[180:]]

    assert [(s.kind, s.span) for s in still(pictures)] == [
        ("still", Span(Fraction(0), Fraction(12)))
    ]


def test_another_view_at_rest_is_a_stretch_of_its_own() -> None:
    """Two standing views one after the other do not make one wait."""
    other = canvas(8)[20:110, 30:190].astype(np.uint8)
    found = still(quiet(8) + [other] * 240)

    assert [(s.kind, float(s.span.length)) for s in found] == [
        ("still", pytest.approx(8, abs=0.5)),
        ("still", pytest.approx(8, abs=0.5)),
    ]


def test_strong_noise_alone_is_still() -> None:
    """A dim view whose sensor rushes by six levels stands still."""
    assert [s.kind for s in still(quiet(10, noise=6))] == ["still"]


def test_strength_is_a_share_and_stretches_do_not_overlap() -> None:
    """Strength lies in 0..1 and no instant is in two stretches of one kind."""
    dark = [np.full((90, 160), 16, np.uint8)] * 90
    found = still(shot(1, 60, 1.0) + dark + shot(2, 60, 1.0) + dark)

    assert all(0 <= s.strength <= 1 for s in found)
    assert all(a.span.end <= b.span.start for a, b in itertools.pairwise(found))
