"""Slow changes from one picture into another, however long they take."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import numpy as np
import pytest
from numpy.typing import NDArray

from chapters.blends import BlendLook
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader, Signals
from tests.looks import look_at
from tests.scenes import Grey, canvas, lit, shot, timed

Floats = NDArray[np.float64]


@pytest.mark.parametrize("lasts_s", [1, 4, 12])
def test_a_blend_of_any_length_is_looked_at_before_its_start_is_forgotten(lasts_s: int) -> None:
    """A fade that goes on for longer than pictures are kept; at most one cut is told of it."""
    rng = np.random.default_rng(lasts_s)
    small = rng.integers(40, 215, (2, 15, 20)).astype(np.float64)
    first, last = (np.kron(picture, np.ones((6, 8))) for picture in small)
    reader = SignalReader()
    still_s, fps = 4, 24
    for n in range((lasts_s + 2 * still_s) * fps):
        share = min(1.0, max(0.0, (n / fps - still_s) / lasts_s))
        moved = np.roll(first * (1 - share) + last * share, n // 6, axis=1)
        noise = rng.normal(0, 1, moved.shape)
        reader.feed(F(n, fps), np.clip(moved + noise, 0, 255).astype(np.uint8))
    cuts = find_cuts(reader.finish(F(lasts_s + 2 * still_s)))
    assert len(cuts) <= 1


def faded(count: int, black: int) -> list[Grey]:
    """One moving view that goes dark within ``count`` frames, black, another that comes up."""
    out, into = shot(1, 90 + count, 1.0), shot(2, 90 + count, 1.0)
    down = [lit(p, 1 - (n + 1) / (count + 1)) for n, p in enumerate(out[90:])]
    up = [lit(p, (n + 1) / (count + 1)) for n, p in enumerate(into[:count])]
    return [*out[:90], *down, *[np.zeros((90, 160), np.uint8)] * black, *up, *into[count:]]


@pytest.mark.parametrize("black", [1, 12])
@pytest.mark.parametrize("count", [12, 30, 44])
def test_a_fade_is_told_once(count: int, black: int) -> None:
    """Into black and out of it, with one black picture or more between: one fade."""
    reader = SignalReader()
    for time, picture in timed(faded(count, black)):
        reader.feed(time, picture)
    cuts = find_cuts(reader.finish())

    assert [c.kind for c in cuts] == ["fade"]
    assert cuts[0].begins is not None
    assert cuts[0].begins < F(90 + count, 30) < cuts[0].at


def test_a_fade_into_a_view_of_little_contrast_is_told_once() -> None:
    """Its structure is seen only when it is well on its way up; a slide, a wall."""
    pictures = faded(24, 12)
    for n in range(90 + 24 + 12, len(pictures)):
        mean = float(pictures[n].mean())
        pictures[n] = np.round(mean + (pictures[n] - mean) * 0.06).astype(np.uint8)
    reader = SignalReader()
    for time, picture in timed(pictures):
        reader.feed(time, picture)
    cuts = find_cuts(reader.finish())

    assert [c.kind for c in cuts] == ["fade"]


def panned(seed: int, frames: int, px: float) -> Floats:
    """A view that glides over a ground by ``px`` a frame, with noise."""
    ground, rng = canvas(seed, 110, 240), np.random.default_rng(seed)
    views = [ground[:90, round(n * px) :][:, :160] for n in range(frames)]
    return np.array([v + rng.normal(0, 1.5, v.shape) for v in views])


@pytest.mark.parametrize("px", [0.2, 0.5])
@pytest.mark.parametrize("count", [12, 24])
def test_a_dissolve_between_moving_views_is_told(count: int, px: float) -> None:
    """Both views glide while one melts into the other."""
    out, into = (panned(seed, 90 + count, px) for seed in (11, 12))
    share = (np.arange(count)[:, None, None] + 1) / (count + 1)
    mixed = out[90:] * (1 - share) + into[:count] * share
    reader = SignalReader()
    for n, picture in enumerate((*out[:90], *mixed, *into[count:])):
        reader.feed(F(n, 30), np.clip(np.round(picture), 0, 255).astype(np.uint8))
    signals = reader.finish()
    cuts = find_cuts(signals)

    assert [c.kind for c in cuts] == ["dissolve"]
    (seen,) = [blend for blend in signals.blends if blend.ends == cuts[0].at]
    assert seen.middle == pytest.approx(
        0.5, abs=0.12
    )  # evenly mixed: half of it in the middle half


@pytest.mark.parametrize("frames", [20, 40, 70])
def test_a_view_that_pans_away_is_no_dissolve(frames: int) -> None:
    """Within a second or two the view has moved on to another part of the same ground."""
    ground = canvas(5, 150, 600)
    place = np.interp(np.arange(180), [60, 60 + frames], [0, 400])
    reader = SignalReader()
    for n, x in enumerate(place.round().astype(int)):
        reader.feed(F(n, 30), ground[:90, x : x + 160].astype(np.uint8))

    assert find_cuts(reader.finish()) == ()


def melt(**changes: float | F) -> BlendLook:
    """A plain dissolve between unlike views from second 3 to second 4, but for the changes."""
    plain = BlendLook(
        begins=F(3),
        ends=F(4),
        sag=0.02,
        solid=0.05,
        misfit=0.1,
        levels=20.0,
        back=0.2,
        back_plain=0.2,
        landmarks=2,
        scaled=0.2,
        kept=0.1,
        leap=0.06,
        middle=0.5,
        fine=0.9,
        lit=0.05,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def told(*melts: BlendLook, dark: tuple[F, F] | None = None) -> list[str]:
    """The kinds of cut told of these blends in ten seconds; between two times the picture is black."""
    return [c.kind for c in find_cuts(with_blends(*melts, dark=dark))]


def with_blends(*melts: BlendLook, dark: tuple[F, F] | None = None) -> Signals:
    """Ten seconds with these blends; between two times the picture is black."""
    times = tuple(F(n, 30) for n in range(300))
    lit_up = np.array([dark is None or not dark[0] <= t <= dark[1] for t in times], np.float32)
    none = np.zeros(300, np.float32)
    signals = replace(SignalReader().finish(F(10)), times=times, blends=melts)
    signals = replace(signals, level=16 + 100 * lit_up, contrast=10 * lit_up, step=none)
    return replace(signals, detail=lit_up, change=none)


@pytest.mark.parametrize(
    "changes",
    [
        {"sag": 0.08, "solid": 0.35, "misfit": 0.9},  # something moved over the view
        {"sag": 0.07, "solid": 0.3, "leap": 0.45},  # a lamp turned on within
        {"sag": 0.05, "fine": 0.35},  # out of focus
        {"lit": 1.5, "leap": 0.4},  # a flash
    ],
)
def test_what_does_not_mix_is_no_dissolve(changes: dict[str, float]) -> None:
    """Strength that does not sag, a share that leaps, detail that is lost, a light: nothing melts.

    The views are as unlike as those of the least alike quarter of such events in the bench's corpus.
    """
    unlike = {"back": 0.36, "back_plain": 0.36, "kept": 0.24}

    assert told(melt(**unlike)) == ["dissolve"]
    assert told(melt(**unlike, **changes)) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"back": 0.95, "back_plain": 0.9},  # the view came back
        {"kept": 0.95, "back": 0.6, "back_plain": 0.6},  # its blocks are found again
    ],
)
def test_what_is_found_again_is_no_dissolve(changes: dict[str, float]) -> None:
    """However well it mixes: fog that clears, a lamp that fades."""
    assert told(melt(**changes)) == []


@pytest.mark.parametrize("changes", [{"landmarks": 12}, {"returned_s": F(2)}])
def test_only_a_plain_dissolve_may_be_followed_by_the_view_before_it(changes: dict[str, F]) -> None:
    """What comes back soon was not left, unless everything else says mixture."""
    assert told(melt(**changes)) == ["dissolve"]
    assert told(melt(**changes, sag=0.05, misfit=0.5)) == []


def test_a_view_that_moved_and_is_seen_again_was_not_left() -> None:
    """However plain the mixture: a camera that tilts over fine structure."""
    assert told(melt(landmarks=6, returned_s=F(7, 5))) == []
    assert told(melt(landmarks=6, returned_s=F(4))) == ["dissolve"]


def test_a_blend_that_stands_still_halfway_is_no_dissolve() -> None:
    """Two lights, one at either end: nothing melts in the half between them."""
    assert told(melt(middle=0.03)) == []
    assert told(melt(middle=0.1)) == ["dissolve"]


@pytest.mark.parametrize(
    ("at", "kinds"),
    [(F(14, 5), []), (F(21, 5), []), (F(1, 2), ["dissolve"]), (F(9), ["dissolve"])],
)
def test_a_light_right_beside_a_blend_leaves_it_in_doubt(at: F, kinds: list[str]) -> None:
    """The views around are lit, so that they are unlike says little; a plain mixture is told still."""
    doubtful, plain = melt(sag=0.05, misfit=0.5), melt()
    light = look_at(at, 54.0)

    for blend, told_of in ((doubtful, kinds), (plain, ["dissolve"])):
        signals = replace(with_blends(blend), looks=(light,))
        assert [c.kind for c in find_cuts(signals)] == told_of
    faint = replace(with_blends(doubtful), looks=(look_at(at, 5.0),))
    assert [c.kind for c in find_cuts(faint)] == ["dissolve"]


def test_a_brief_blend_must_be_plain() -> None:
    """A light that goes out within three frames, and the view moved on behind it."""
    doubtful = {"sag": 0.05, "misfit": 0.5}

    assert told(melt(ends=F(19, 6), **doubtful)) == []
    assert told(melt(ends=F(33, 10), **doubtful)) == ["dissolve"]
    assert told(melt(ends=F(19, 6))) == ["dissolve"]


@pytest.mark.parametrize(("level", "kinds"), [(170, []), (20, ["dissolve"])])
def test_nothing_melts_into_a_washed_out_picture(level: float, kinds: list[str]) -> None:
    """A bright picture with hardly any structure is a light's; a dark one may be the middle of a fade."""
    signals = with_blends(melt())
    after = np.array([t > F(7, 2) for t in signals.times])
    detail = np.where(after, 0.12, 1.0).astype(np.float32)
    ends = np.where(after, level, 116.0).astype(np.float32)

    assert [c.kind for c in find_cuts(replace(signals, detail=detail, level=ends))] == kinds


def test_what_is_left_over_counts_little_where_all_else_says_mixture() -> None:
    """Two views that move leave much unexplained, but lose their strength as a mixture does."""
    assert told(melt(misfit=0.6)) == ["dissolve"]
    assert told(melt(misfit=float("inf"))) == ["dissolve"]


def test_what_does_not_mix_at_all_must_sag_as_a_mixture_does() -> None:
    """A title that comes up over a view sags a little like one; a film's has a sag of 0.046."""
    assert told(melt(misfit=float("inf"), sag=0.045)) == []


def test_two_dissolves_with_black_between_are_one_fade() -> None:
    """Into black and out of it; where the picture between is not black they are two."""
    both = (melt(), melt(begins=F(9, 2), ends=F(5)))

    assert told(*both, dark=(F(4), F(9, 2))) == ["fade"]
    assert told(*both) == ["dissolve", "dissolve"]
