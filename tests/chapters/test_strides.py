"""How far things move: what goes farther than anything near by has jumped, what starts to move has not."""

from __future__ import annotations

from fractions import Fraction

import cv2
import numpy as np
import pytest

from chapters.likeness import View, view
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader, Signals
from chapters.strides import Course, Flow, stride_of
from tests.scenes import COLUMNS, ROWS, Grey, canvas, shot, timed


def seen(picture: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> View:
    """The picture ready for comparison."""
    return view(np.clip(np.round(picture), 0, 255).astype(np.uint8), (COLUMNS, ROWS))


def moved(right_px: float, down_px: float) -> View:
    """A ground moved by so many working pixels."""
    place = np.float32([[1, 0, right_px - 30], [0, 1, down_px - 30]])
    return seen(cv2.warpAffine(canvas(3), place, (COLUMNS, ROWS)))  # type: ignore[arg-type]


@pytest.mark.parametrize(("right_px", "down_px"), [(0, 0), (3, 4), (-6, 2.5), (8, -4)])
def test_a_ground_that_moves_is_followed(right_px: float, down_px: float) -> None:
    """The length of the movement to a third of a pixel; none of its own; all of it found again."""
    course = Flow().course(moved(0, 0), moved(right_px, down_px))

    inner = course.px[2:7, 2:14]
    assert np.median(inner) == pytest.approx(np.hypot(right_px, down_px), abs=0.34)
    assert course.own_px < 1
    assert course.lost[2:7, 2:14].mean() < 0.01


def test_a_thing_that_moves_over_a_ground_at_rest_moves_on_its_own() -> None:
    """A fifth of the view goes 5 pixels to the right, the rest stays."""
    pictures = [canvas(3)[:ROWS, :COLUMNS].copy() for _ in range(2)]
    for picture, x in zip(pictures, (40, 45), strict=True):
        picture[20:65, x : x + 60] = canvas(9)[20:65, 20:80]

    course = Flow().course(*map(seen, pictures))

    assert 4 < np.median(course.px[3:5, 5:9]) < 5.5
    assert course.px[:, :2].max() < 0.34
    assert 0.3 < course.own_px < 1.5


def course(px: float, lost: float = 0.0, down_px: float = 0.0) -> Course:
    """The same everywhere: to the right, and down."""
    way = np.stack([np.full((9, 16), p, np.float32) for p in (px, down_px)])
    return Course(np.hypot(*way), way, px, 0.1, np.full((9, 16), lost, np.float32))


def test_a_stride_is_beyond_one_and_a_half_times_what_goes_near_by() -> None:
    """5 pixels beside 3 is farther (4.5 and 0.3), beside 3.2 it is not; lost beyond 1.3 times."""
    stride = stride_of(course(5, 0.5), [course(1, 0.2)], [course(3), course(1, 0.2)])

    assert stride.farther == 1
    assert stride.lost == pytest.approx(0.5 - 1.3 * 0.2 - 0.02)
    assert stride_of(course(5), [course(1)], [course(3.2)]).farther == 0


@pytest.mark.parametrize(
    ("step", "beside", "astray"),
    [
        (course(6), [course(3), course(3)], 0),  # two steps in one: a picture is missing
        (course(6), [course(4), course(1)], 1 / 6),
        (course(6, down_px=8), [course(3), course(3)], 0.8),  # 8 off, 10 long
        (course(6), [course(0), course(0)], 1),
        (course(6), [course(-3), course(-3)], 2),
        (course(0.9), [course(0), course(0)], float("nan")),
    ],
)
def test_a_step_that_leads_where_those_beside_it_lead_goes_not_astray(
    step: Course, beside: list[Course], astray: float
) -> None:
    """How far off the movements on either side, added up, lead, over the length of its own."""
    assert stride_of(step, beside, beside).astray == pytest.approx(astray, nan_ok=True)


def cuts(pictures: list[Grey]) -> list[Fraction]:
    """Times of the cuts found in pictures at thirty a second."""
    return [c.at for c in find_cuts(read(pictures))]


def read(pictures: list[Grey]) -> Signals:
    """The signals of pictures at thirty a second."""
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)
    return reader.finish()


@pytest.mark.parametrize("seed", [2, 4])
@pytest.mark.parametrize("leap", [10, 12])
def test_a_drifting_view_that_leaps_is_a_jump(seed: int, leap: int) -> None:
    """A third of a second of a slow drift is missing: a pixel or three."""
    pictures = shot(seed, 60, tool_px=0) + shot(seed, 60, tool_px=0, start=60 + leap)

    assert cuts(pictures) == [Fraction(2)]


@pytest.mark.parametrize("still", [0, 60])
def test_a_drift_that_goes_on_or_begins_is_no_jump(still: int) -> None:
    """The same drift unbroken, and the same after two seconds of rest."""
    pictures = shot(2, 120, pan_px=0.6, tool_px=0)

    assert cuts([pictures[0]] * still + pictures) == []


@pytest.mark.parametrize("seed", range(1, 8))
def test_a_drift_that_goes_on_over_one_lost_picture_is_no_jump(seed: int) -> None:
    """A recorder that loses a picture and stamps the rest as if it had not: one step of twice the length."""
    kept = [n for n in range(61) if n != 30]
    pictures = shot(seed, 61, pan_px=2.4, tool_px=0)

    assert cuts([pictures[n] for n in kept]) == []


def test_the_two_ends_of_a_flash_belong_together_though_another_follows() -> None:
    """Two flashes of a disc with a pattern, 1.5 s each and 4 s apart: each end knows its own other."""
    pictures = shot(1, 240, tool_px=0)
    pattern = np.where(canvas(9)[:ROWS, :COLUMNS] > 120, 0.5, 0.0)
    y, x = np.mgrid[:ROWS, :COLUMNS]
    disc = pattern * (np.hypot(x - 80, y - 45) < 40)
    for n in (*range(30, 75), *range(150, 195)):
        bright = pictures[n] + disc * (235 - pictures[n])
        pictures[n] = np.clip(np.round(bright), 0, 255).astype(np.uint8)

    ends = {look.index: look.undone_s for look in read(pictures).looks if look.burst is not None}

    assert ends == {n: Fraction(3, 2) for n in (30, 75, 150, 195)}
    assert cuts(pictures) == []


@pytest.mark.parametrize("first", [1, 2, 58, 59])
def test_a_step_with_too_little_near_by_has_no_stride(first: int) -> None:
    """Another view from the second or third picture on, or up to the last but one or two."""
    pictures = [*shot(1, first, tool_px=0), *shot(2, 60 - first, tool_px=0)]

    assert all(look.stride is None for look in read(pictures).looks)
