"""The Range field against RFC 9110, section 14."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.page.ranges import MOST_RANGES, Bytes, parse_range


@pytest.mark.outside
@pytest.mark.parametrize(
    ("field", "wanted"),
    [
        ("bytes=0-499", [(0, 499)]),
        ("bytes=500-999", [(500, 999)]),
        ("bytes=-500", [(9500, 9999)]),
        ("bytes=9500-", [(9500, 9999)]),
        ("bytes=0-0,-1", [(0, 0), (9999, 9999)]),
        ("bytes= 0-999, 4500-5499, -1000", [(0, 999), (4500, 5499), (9000, 9999)]),
        ("bytes=500-600,601-999", [(500, 999)]),
        ("bytes=500-700,601-999", [(500, 999)]),
    ],
)
def test_examples_of_the_standard(field: str, wanted: list[tuple[int, int]]) -> None:
    """The examples of RFC 9110, 14.1.2, for a file of 10,000 bytes; touching ranges become one."""
    assert parse_range(field, 10_000) == tuple(Bytes(*pair) for pair in wanted)


@pytest.mark.parametrize(
    "field",
    [
        None,
        "",
        "bytes",
        "bytes=",
        "bytes=,",
        "bytes=-",
        "items=0-4",
        "bytes=5-2",
        "bytes=a-b",
        "bytes=0-4,x",
        "bytes=1.5-2",
        "bytes=--3",
        "bytes=٣-٤",
        "bytes=" + "9" * 40 + "-",
    ],
)
def test_ignored(field: str | None) -> None:
    """No field, another unit, or no valid ranges-specifier: the whole file (RFC 9110, 14.2)."""
    assert parse_range(field, 100) is None


@pytest.mark.parametrize("field", ["bytes=100-", "bytes=100-200", "bytes=-0", "bytes=100-,200-"])
def test_not_satisfiable(field: str) -> None:
    """Every range begins beyond the end, or is an empty suffix: 416 (RFC 9110, 14.1.1)."""
    assert parse_range(field, 100) == ()


def test_edges() -> None:
    """An end beyond the file is cut; a suffix longer than the file is the file; bad ones among good ones are passed over."""
    assert parse_range("bytes=90-1000", 100) == (Bytes(90, 99),)
    assert parse_range("bytes=-1000", 100) == (Bytes(0, 99),)
    assert parse_range("bytes=0-1,500-", 1000_000) == (Bytes(0, 1), Bytes(500, 999_999))
    assert parse_range("bytes=5-6,1000-", 100) == (Bytes(5, 6),)
    assert parse_range("BYTES=0-1", 100) == (Bytes(0, 1),)
    assert parse_range("bytes=0-", 0) == ()


def test_too_many() -> None:
    """More ranges than anybody needs are answered with the whole file."""
    few = ",".join(f"{i * 1000}-{i * 1000}" for i in range(MOST_RANGES))
    assert len(parse_range(f"bytes={few}", 10**6) or ()) == MOST_RANGES
    assert parse_range(f"bytes={few},999999-", 10**6) is None


@given(
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), min_size=1, max_size=8),
    st.integers(1, 300),
)
def test_every_byte_asked_for(pairs: list[tuple[int, int]], size: int) -> None:
    """Every byte asked for and there is sent once, in ascending order."""
    spans = [(min(p), max(p)) for p in pairs]
    got = parse_range("bytes=" + ",".join(f"{a}-{b}" for a, b in spans), size)
    assert got is not None
    sent = [n for one in got for n in range(one.first, one.last + 1)]
    assert sent == sorted(set(sent))
    assert {n for a, b in spans for n in range(a, b + 1) if n < size} <= set(sent)
    assert all(0 <= n < size for n in sent)
