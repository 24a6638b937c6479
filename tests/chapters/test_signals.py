"""Frames in, numbers out."""

from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest

from chapters.likeness import block_match, scaled_match, view, whole_match, working_size
from chapters.signals import SignalReader, Signals
from tests.scenes import Grey, canvas, lit, shot, timed


def read(pictures: list[Grey], fps: Fraction = Fraction(30)) -> Signals:
    """The signals of the pictures at a constant rate."""
    reader = SignalReader()
    for time, picture in timed(pictures, fps):
        reader.feed(time, picture)
    return reader.finish()


def test_times_are_kept_exactly() -> None:
    """Every time comes back as the very fraction that was fed."""
    times = [Fraction(n * n, 90000) + Fraction(n, 30) for n in range(40)]
    reader = SignalReader()
    for time, picture in zip(times, shot(1, 40), strict=True):
        reader.feed(time, picture)

    assert tuple(times) == reader.finish().times


def test_one_value_a_frame() -> None:
    """Every per-frame array is as long as the run of frames."""
    signals = read(shot(1, 37))

    assert {37} == {len(a) for a in (signals.level, signals.detail, signals.change, signals.step)}


def test_a_time_that_runs_backward_is_refused() -> None:
    """Two frames at one time are an error that names both."""
    reader = SignalReader()
    reader.feed(Fraction(1), shot(1, 1)[0])

    with pytest.raises(ValueError, match="frame at 1 comes after the frame at 1"):
        reader.feed(Fraction(1), shot(1, 1)[0])


def test_a_colour_picture_is_refused() -> None:
    """Only 8-bit luma planes are taken."""
    with pytest.raises(ValueError, match="luma plane"):
        SignalReader().feed(Fraction(0), np.zeros((90, 160, 3), np.uint8))


def test_nothing_fed_gives_empty_signals() -> None:
    """A run of no frames has no looks, no marks and no length."""
    signals = SignalReader().finish()

    assert (
        len(signals.times),
        len(signals.looks),
        len(signals.marks.times),
        signals.end,
    ) == (0, 0, 0, 0)


@pytest.mark.parametrize(("tinted", "blue"), [(True, 30.0), (False, float("nan"))])
def test_a_step_knows_how_far_the_colour_went(tinted: bool, blue: float) -> None:
    """A light that is bluer by 30 levels from frame 40 on; a recording without colour does not say."""
    reader = SignalReader()
    for n, (time, picture) in enumerate(timed([*shot(1, 40), *shot(2, 40)])):
        colour = (100.0 + 30 * (n >= 40), 128.0)
        reader.feed(time, picture, colour) if tinted else reader.feed(time, picture)
    (look,) = (look for look in reader.finish().looks if look.index == 40)

    assert look.tint_step == pytest.approx((blue, blue * 0), nan_ok=True)


def test_structure_does_not_depend_on_the_lamp() -> None:
    """Half the light plus a haze leaves the match at nearly one."""
    picture = shot(3, 1, noise=0)[0]
    size = working_size(*picture.shape)
    a, b = view(picture, size), view(lit(picture, 0.5, 60), size)

    assert whole_match(a, b) > 0.97
    assert block_match(a, b).match > 0.97


def test_different_views_do_not_match() -> None:
    """Two unlike canvases match far below half."""
    a, b = shot(3, 1)[0], shot(4, 1)[0]
    size = working_size(*a.shape)

    assert whole_match(view(a, size), view(b, size)) < 0.4


@pytest.mark.parametrize("scale", [1.25, 1.5, 2.0])
def test_a_view_at_another_magnification_is_found_again(scale: float) -> None:
    """Enlarged about its middle a view matches itself, either way round, and no other view."""
    size = (160, 90)
    matrix = cv2.getRotationMatrix2D((79.5, 44.5), 0, scale)
    small, other = shot(3, 1)[0], view(shot(4, 1)[0], size)
    large = view(np.asarray(cv2.warpAffine(small, matrix, size), np.uint8), size)
    seen = view(small, size)

    assert min(scaled_match(seen, large), scaled_match(large, seen)) > 0.7
    assert whole_match(seen, large) < 0.6
    assert scaled_match(other, large) < 0.45


def test_a_blank_picture_cannot_be_compared() -> None:
    """Black holds no structure, so a match with it is not a number rather than low."""
    size = (160, 90)
    black = view(np.full((90, 160), 16, np.uint8), size)

    assert black.detail == 0
    assert np.isnan(whole_match(black, view(shot(3, 1)[0], size)))


def test_a_shifted_view_is_found_again() -> None:
    """A view moved by 8 of 160 pixels matches, and the shift is measured."""
    ground = np.round(canvas(5)).astype(np.uint8)
    size = (160, 90)
    a, b = view(ground[20:110, 20:180], size), view(ground[20:110, 28:188], size)

    assert whole_match(a, b) > 0.9
    assert block_match(a, b).shift_px == pytest.approx(8, abs=1)


def test_memory_does_not_grow_with_pictures() -> None:
    """After a thousand frames the reader holds less than five seconds of pictures."""
    reader = SignalReader()
    pictures = shot(1, 100)
    for n in range(1000):
        reader.feed(Fraction(n, 30), pictures[n % 100])

    assert len(reader._ring) < 150


def test_a_portrait_picture_of_odd_size_is_taken() -> None:
    """Shape and size of the pictures do not matter."""
    reader = SignalReader()
    for n in range(5):
        reader.feed(Fraction(n, 30), np.ascontiguousarray(shot(1, 1)[0].T[:121, :61]))

    assert len(reader.finish().times) == 5
