"""Kept segments: found by key, never half-written, bounded, cleared."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from annotate.cache import SegmentCache


def write(text: str, size: int = 10):  # type: ignore[no-untyped-def]
    """Something that writes a file."""
    return lambda path: path.write_bytes(text.encode() * size)


def test_what_was_put_is_found_by_its_key_alone(tmp_path: Path) -> None:
    """Another key finds nothing."""
    cache = SegmentCache(tmp_path / "kept")
    assert cache.get("a") is None
    cache.put("a", write("x"))
    found = cache.get("a")
    assert found is not None and found.read_bytes() == b"x" * 10
    assert cache.get("b") is None


def test_a_write_that_fails_leaves_nothing(tmp_path: Path) -> None:
    """Neither a finished nor a half name stays behind."""
    cache = SegmentCache(tmp_path)

    def fails(path: Path) -> None:
        path.write_bytes(b"half")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cache.put("a", fails)
    assert list(tmp_path.iterdir()) == []


def test_the_longest_unused_goes_first(tmp_path: Path) -> None:
    """Three files of ten bytes in a bound of twenty: the one not used for longest is gone."""
    cache = SegmentCache(tmp_path, most_bytes=20)
    for n, key in enumerate("abc"):
        path = cache.put(key, write(key))
        os.utime(path, (1000 + n, 1000 + n))
    assert cache.get("a") is not None
    cache.trim()
    assert [k for k in "abc" if cache.get(k)] == ["a", "c"]


def test_clearing_says_what_it_freed(tmp_path: Path) -> None:
    """Everything goes, the folder too."""
    cache = SegmentCache(tmp_path / "kept")
    cache.put("a", write("x", 100))
    assert cache.clear() == 100
    assert not (tmp_path / "kept").exists()


def test_what_a_killed_run_left_half_goes_after_a_day(tmp_path: Path) -> None:
    """A half file of yesterday goes with the next trim, one that may still be written stays."""
    cache = SegmentCache(tmp_path)
    cache.put("a", write("x"))
    old, fresh = tmp_path / ".a.0001", tmp_path / ".a.0002"
    for path in (old, fresh):
        path.write_bytes(b"half")
    os.utime(old, (1000, 1000))
    cache.trim()
    assert not old.exists() and fresh.exists() and cache.get("a") is not None
