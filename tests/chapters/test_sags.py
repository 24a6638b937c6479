"""Strengths of pictures against the parabola of a dissolve."""

from __future__ import annotations

from fractions import Fraction as F

import numpy as np
import pytest

from chapters.likeness import view
from chapters.looks import Entry
from chapters.sags import Sag, SagWatch, measured, settled

SIZE = (160, 90)


def entries(pictures: np.ndarray[tuple[int, int, int], np.dtype[np.float64]]) -> list[Entry]:
    """The pictures as they are kept while a recording is read, 30 a second."""
    out = []
    none = np.zeros((9, 16), np.float32)
    for n, picture in enumerate(pictures):
        seen = view(np.clip(np.round(picture), 0, 255).astype(np.uint8), SIZE)
        time = F(n, 30)
        out.append(Entry(n, time, seen, none, 0.0, 0.0, time, none, none))
    return out


def views(seed: int) -> np.ndarray[tuple[int, int, int], np.dtype[np.float64]]:
    """Two views of blocks that have nothing to do with each other."""
    small = np.random.default_rng(seed).normal(128, 30, (2, 18, 32))
    return np.kron(small, np.ones((1, 5, 5)))


def mixed(seed: int, shares: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[Entry]:
    """The first view with these shares of the second."""
    first, last = views(seed)
    return entries(np.array([first * (1 - s) + last * s for s in shares]))


def sag_of(ring: list[Entry], first: int, last: int) -> Sag:
    """How these strengths sag."""
    return measured(ring, [e.seconds for e in ring], [e.power for e in ring], first, last)


def ramp(length: int, still: int = 40) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Shares that stand still, rise for ``length`` pictures and stand still."""
    n = np.arange(2 * still + length)
    return np.interp(n, [still, still + length], [0.0, 1.0])


@pytest.mark.parametrize("length", [8, 20, 45])
def test_a_mixture_of_unlike_views_sags_along_the_parabola(length: int) -> None:
    """The variance of (1-s) X + s Y is (1-s)^2 of that of X and s^2 of that of Y where they are
    uncorrelated (any handbook of statistics, from memory).

    The two views are drawn by chance, so their correlation is 0 but for chance.
    """
    found = sag_of(mixed(length, ramp(length)), 40, 40 + length)

    assert found.misfit < 0.03
    assert abs(found.solid) < 0.15


def test_a_view_wiped_away_keeps_its_strength() -> None:
    """Pieces of two views side by side are as strong as the views: nothing is lost."""
    first, last = views(3)
    pictures = []
    for share in ramp(20):
        picture = first.copy()
        picture[:, : round(160 * share)] = last[:, : round(160 * share)]
        pictures.append(picture)
    found = sag_of(entries(np.array(pictures)), 40, 60)

    assert found.solid > 0.8
    assert found.misfit > 0.1


@pytest.mark.parametrize("length", [10, 24, 50])
def test_the_watch_finds_where_a_dissolve_begins_and_ends(length: int) -> None:
    """To two pictures, once the sag is settled."""
    ring, watch = mixed(7, ramp(length)), SagWatch()
    for n in range(3, len(ring), 2):
        watch.feed(ring[:n])
    (found,) = (settled(sag, ring) for sag in watch.rest())

    assert abs(found.begins * 30 - 40) <= 2
    assert abs(found.ends * 30 - 40 - length) <= 2


def test_a_still_view_and_a_cut_have_no_sag() -> None:
    """Strength that stays, and strength that steps."""
    watch = SagWatch()
    shares = np.repeat([0.0, 1.0], 60)
    ring = mixed(9, shares)
    for n in range(3, len(ring), 2):
        watch.feed(ring[:n])

    assert watch.rest() == []


def test_a_sag_whose_pictures_are_forgotten_does_not_fit() -> None:
    """At hundreds of frames a second fewer seconds are kept than are waited for."""
    ring = mixed(5, ramp(20))[70:]
    found = settled(Sag(F(1), F(2), 0.02, 0.0), ring)

    assert found.misfit == float("inf")
