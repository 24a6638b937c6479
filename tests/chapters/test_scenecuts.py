"""Numbers in, scene cuts out; the pictures are drawn, so every truth is known."""

from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest

from chapters.scenecuts import SURE, SceneCut, find_cuts
from chapters.signals import SignalReader
from tests.scenes import Grey, canvas, flashed, lit, shot, timed


def cuts(pictures: list[Grey], fps: Fraction = Fraction(30)) -> tuple[SceneCut, ...]:
    """The cuts found in pictures at a constant rate."""
    reader = SignalReader()
    for time, picture in timed(pictures, fps):
        reader.feed(time, picture)
    return find_cuts(reader.finish())


@pytest.mark.parametrize("fps", [Fraction(10), Fraction(24000, 1001), Fraction(30), Fraction(60)])
def test_a_change_of_view_is_found_to_the_frame(fps: Fraction) -> None:
    """The cut's time is exactly the first frame of the new view, at any rate."""
    found = cuts(shot(1, 50) + shot(2, 50), fps)

    assert [50 / fps] == [c.at for c in found]
    assert found[0].kind == "cut"
    assert found[0].confidence > 0.7


def test_a_cut_in_a_variable_frame_rate_recording_has_its_own_time() -> None:
    """With jittered, gappy times the cut still carries the time of its first frame."""
    rng = np.random.default_rng(5)
    pictures = shot(1, 60) + shot(2, 60)
    times = [Fraction(0)]
    for _ in pictures[1:]:
        times.append(times[-1] + Fraction(int(rng.integers(3000, 6000)), 90000))
    reader = SignalReader()
    for time, picture in zip(times, pictures, strict=True):
        reader.feed(time, picture)

    assert [times[60]] == [c.at for c in find_cuts(reader.finish())]


def test_a_steady_take_has_no_cut() -> None:
    """Movement and noise alone give nothing."""
    assert cuts(shot(1, 240, pan_px=0.6, noise=3)) == ()


@pytest.mark.parametrize("length", [1, 2, 3, 8, 20, 60, 200])
@pytest.mark.parametrize(("level", "strength"), [(255, 1.0), (35, 1.0), (255, 0.7), (60, 0.8)])
def test_a_flash_is_no_cut(length: int, level: float, strength: float) -> None:
    """White or deep blue light of any length, full or partial, comes and goes without a cut."""
    pictures = shot(1, 60 + length + 60)

    assert cuts(flashed(pictures, 60, length, level, strength)) == ()


def test_a_flash_over_part_of_the_field_is_no_cut() -> None:
    """A bright disc that covers a third of the view for two seconds is no cut."""
    pictures = shot(1, 200)
    for n in range(70, 130):
        picture = pictures[n].copy()
        cv2.circle(picture, (90, 40), 40, 252, -1)
        pictures[n] = picture

    assert cuts(pictures) == ()


@pytest.mark.parametrize("gain", [0.4, 0.7, 1.6])
def test_a_lamp_step_is_no_cut(gain: float) -> None:
    """The same view darker or brighter from one frame on is the same view."""
    pictures = shot(1, 120)

    assert cuts(pictures[:60] + [lit(p, gain) for p in pictures[60:]]) == ()


def test_refocus_is_no_cut() -> None:
    """A view that blurs and sharpens again within a second is the same view."""
    pictures = shot(1, 150)
    for n in range(60, 90):
        sigma = 0.5 + 6 * np.sin(np.pi * (n - 59) / 31)
        pictures[n] = cv2.GaussianBlur(pictures[n], (0, 0), sigma)

    assert cuts(pictures) == ()


def test_a_mirror_sweeping_over_the_whole_view_is_no_cut() -> None:
    """A textured mirror enters over four frames, covers all, and leaves the same way."""
    pictures, mirror = shot(1, 150), shot(9, 150)
    for n in range(60, 90):
        edge = 160 * min(1.0, (n - 59) / 4, (90 - n) / 4)
        pictures[n] = pictures[n].copy()
        pictures[n][:, : round(edge)] = mirror[n][:, : round(edge)]

    assert cuts(pictures) == ()


def test_a_blink_of_the_view_is_no_cut() -> None:
    """Half a second of black inside one take is no cut."""
    pictures = shot(1, 150)

    assert cuts(flashed(pictures, 60, 15, 16)) == ()


@pytest.mark.parametrize("dark", [2, 15])
def test_a_blink_soon_after_a_cut_is_none_of_its_own(dark: int) -> None:
    """Black half a second after a cut: the view of before is the new one, and it comes back."""
    found = cuts(shot(1, 60) + flashed(shot(2, 90), 15, dark, 16))

    assert [Fraction(2)] == [c.at for c in found]


@pytest.mark.parametrize("scale", [1.25, 1.6])
@pytest.mark.parametrize("dark", [0, 4])
def test_another_magnification_is_no_cut(scale: float, dark: int) -> None:
    """The turret clicks, the view dark for some frames or not at all: it is the same view, larger."""
    pictures = shot(1, 150)
    matrix = cv2.getRotationMatrix2D((80, 45), 0, scale)
    for n in range(60, 150):
        pictures[n] = np.asarray(cv2.warpAffine(pictures[n], matrix, (160, 90)), np.uint8)

    assert cuts(flashed(pictures, 60, dark, 10)) == ()


def test_a_change_that_hardly_shows_is_no_cut() -> None:
    """An all but empty view whose faint grain is drawn anew: unlike, but by two levels of grey."""
    grains = [np.round((canvas(seed)[:90, :160] - 120) / 30 + 60) for seed in (3, 4)]

    assert cuts([g.astype(np.uint8) for g in grains for _ in range(60)]) == ()


def test_pictures_that_come_seldom_show_no_jumps() -> None:
    """One picture a second of a view in which something moves: no recorder stopped there."""
    pictures = shot(1, 4) + shot(1, 4, start=90) + shot(1, 4, start=200)

    assert cuts(pictures, Fraction(1)) == ()


def test_a_flash_right_before_a_cut_hides_nothing() -> None:
    """The cut after a white flash is still found at its frame."""
    found = cuts(flashed(shot(1, 60), 50, 5, 255) + shot(2, 60))

    assert [Fraction(2)] == [c.at for c in found]


def test_black_between_two_views_is_a_recorder_stop() -> None:
    """After two seconds of black another view: one stop, at the first frame of that view."""
    black = [np.full((90, 160), 16, np.uint8)] * 60
    found = cuts(shot(1, 60) + black + shot(2, 60))

    assert [(Fraction(4), "stop")] == [(c.at, c.kind) for c in found]


def test_a_frozen_picture_before_a_jump_is_a_recorder_stop() -> None:
    """The picture stands still for a second, then another view comes: a stop at that frame."""
    first = shot(1, 60)
    found = cuts(first + [first[-1]] * 30 + shot(2, 60))

    assert [(Fraction(3), "stop")] == [(c.at, c.kind) for c in found]


def test_a_swapped_input_that_comes_back_is_a_swap() -> None:
    """Two seconds of another view inside one take are two swaps."""
    first = shot(1, 180)
    found = cuts(first[:60] + shot(2, 60) + first[120:])

    assert [(Fraction(2), "swap"), (Fraction(4), "swap")] == [(c.at, c.kind) for c in found]


def test_confidence_is_a_share() -> None:
    """Confidence lies between 0 and 1 for every cut."""
    found = cuts(shot(1, 40) + shot(2, 40) + shot(3, 40))

    assert all(0.5 <= c.confidence <= 1 for c in found)
    assert len(found) == 2


def test_a_view_between_for_less_than_a_second_is_two_cuts() -> None:
    """Away for five sixths of a second and back: longer than a cover, and both ends are told."""
    first = shot(1, 150)
    found = cuts(first[:60] + shot(2, 25) + first[85:])

    assert [Fraction(60, 30), Fraction(85, 30)] == [c.at for c in found]


def test_a_cut_onto_a_key_picture_with_nothing_read_behind_it_is_found() -> None:
    """The survey left out the inside of the groups on both sides of a cut."""
    reader = SignalReader()
    for n, picture in enumerate(
        [*shot(1, 90, pan_px=0, tool_px=0), *shot(2, 90, pan_px=0, tool_px=0)]
    ):
        if n % 30 == 0 or n < 20:
            reader.feed(Fraction(n, 30), picture)

    assert [Fraction(3)] == [c.at for c in find_cuts(reader.finish(Fraction(6)))]


def test_lone_key_pictures_of_a_moving_view_show_no_jumps() -> None:
    """A second read frame by frame, then two pictures two seconds apart, and so on: nothing is told."""
    reader = SignalReader()
    for n, picture in enumerate(shot(1, 360, pan_px=1.5, tool_px=5.0)):
        if n % 180 < 60 or n % 60 == 0:
            reader.feed(Fraction(n, 30), picture)

    assert find_cuts(reader.finish(Fraction(12))) == ()


def sprayed(count: int, holds: list[int]) -> list[Grey]:
    """A take in which one part of the view has another faint texture after each of the holds."""
    rng = np.random.default_rng(3)
    pictures, changes = shot(1, count), {sum(holds[:k]) for k in range(len(holds) + 1)}
    texture = np.zeros((24, 40))
    for n, picture in enumerate(pictures):
        if n in changes:
            texture = cv2.GaussianBlur(rng.normal(0, 60, (24, 40)), (0, 0), 1.5) * 2
        spot = picture[40:64, 60:100] + texture
        pictures[n] = picture.copy()
        pictures[n][40:64, 60:100] = np.clip(spot, 0, 255)
    return pictures


def test_unsure_jumps_that_come_again_and_again_are_something_that_goes_on() -> None:
    """One faint change in part of the view may be a jump; one every two seconds is a spray."""
    once = cuts(sprayed(180, [57]))
    assert [Fraction(57, 30)] == [c.at for c in once]
    assert once[0].confidence < SURE

    assert cuts(sprayed(540, [57, 71, 66, 48, 79, 62, 58, 67])) == ()


def swept(pictures: list[Grey], first: int, sweep: int, stay: int) -> list[Grey]:
    """The pictures while something unlike them slides over the whole view and off again."""
    cover = np.clip(canvas(8)[:90, :160] * 0.8, 0, 255)
    out = list(pictures)
    for n in range(2 * sweep + stay):
        share = min(1.0, (n + 1) / sweep, (2 * sweep + stay - n) / sweep)
        edge = round(160 * share)
        out[first + n] = out[first + n].copy()
        out[first + n][:, :edge] = cover[:, :edge]
    return out


@pytest.mark.parametrize("stay", [10, 40])
def test_a_cover_that_sweeps_over_the_view_in_two_frames_is_no_cut(stay: int) -> None:
    """Half of the view is another from one frame to the next, and the other half a frame later."""
    assert cuts(swept(shot(1, 180), 60, 2, stay)) == ()


@pytest.mark.parametrize("length", [31, 60, 120])
def test_a_light_on_half_of_the_view_is_no_jump(length: int) -> None:
    """White light burns out half of the view and the camera's gain takes the rest down."""
    pictures = shot(1, 120 + length, tool_px=0.5)
    for n in range(60, 60 + length):
        light = np.zeros((90, 160), np.float32)
        light[:, 60:] = 230
        pictures[n] = np.clip(pictures[n] * np.float32(0.45) + light, 0, 255).astype(np.uint8)

    assert cuts(pictures) == ()


def test_a_view_after_black_that_is_soon_left_for_the_first_is_found() -> None:
    """Two seconds of black, a second and a half of another view, then the first again: all told."""
    black = [np.full((90, 160), 16, np.uint8)] * 60
    first = shot(1, 180)
    found = cuts(first[:60] + black + shot(2, 45) + first[60:])

    assert [Fraction(4), Fraction(11, 2)] == [c.at for c in found]


def test_a_fade_out_before_a_view_that_is_there_at_once_is_a_stop() -> None:
    """The first view goes dark over a second, the second is there from one frame to the next."""
    first = shot(1, 90)
    dimmed = [lit(p, 1 - (n + 1) / 30) for n, p in enumerate(first[60:])]
    black = [np.zeros((90, 160), np.uint8)] * 30
    found = cuts(first[:60] + dimmed + black + shot(2, 60))

    assert [(Fraction(4), "stop")] == [(c.at, c.kind) for c in found]
