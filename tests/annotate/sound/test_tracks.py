"""Tracks: rows come back as they were written, from memory and from disk."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from annotate.sound.tracks import Track


@pytest.mark.parametrize("rows", [0, 3, 500, 400_000])
def test_rows_come_back_as_they_were_written(rows: int) -> None:
    """Written in odd blocks and read across them, short and long tracks alike."""
    values = np.random.default_rng(rows).normal(size=(rows, 2)).astype(np.float32)
    track = Track(2)
    for start in range(0, rows, 7777):
        track.append(values[start : start + 7777])

    assert len(track) == rows
    assert np.array_equal(track.read(0, rows), values)
    assert np.array_equal(track.read(rows // 3, rows // 2), values[rows // 3 : rows // 2])
    pieces = [track.read(a, b) for a, b in track.pieces(999)]
    assert sum(map(len, pieces)) == rows


def test_reading_outside_gives_what_there_is() -> None:
    """Before the start, behind the end and backwards: no row too many."""
    track = Track(1, np.int16)
    track.append(np.arange(5)[:, None])

    assert track.read(-3, 2)[:, 0].tolist() == [0, 1]
    assert track.read(3, 99)[:, 0].tolist() == [3, 4]
    assert len(track.read(4, 2)) == 0


def test_rows_around_a_piece_are_those_that_padding_the_whole_would_give() -> None:
    """At the start, in the middle and at the end; a margin longer than the track repeats its ends."""
    values = np.arange(40, dtype=np.float32)[:, None]
    track = Track(1)
    track.append(values)
    whole = np.pad(values, ((6, 6), (0, 0)), mode="reflect")

    for start, stop in ((0, 10), (15, 25), (30, 40)):
        assert np.array_equal(track.around(start, stop, 6), whole[start : stop + 12])
    assert track.around(0, 40, 50)[[0, -1], 0].tolist() == [0, 39]


def test_a_long_track_takes_no_memory() -> None:
    """Forty megabytes written, and less than two held."""
    block = np.zeros((100_000, 4), np.float32)
    tracemalloc.start()
    track = Track(4)
    for _ in range(25):
        track.append(block)
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert len(track) == 2_500_000
    assert held < 2_000_000
