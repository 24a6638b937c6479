"""Times as text: what is read, what is refused with which words, what is written."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chapters.times import (
    TimeTextError,
    clock_text,
    duration_text,
    exact_text,
    from_exact_text,
    milliseconds,
    parse_time,
    short_clock_text,
    speed_text,
    srt_time,
    vtt_time,
)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1:30", F(90)),
        ("01:30", F(90)),
        ("0:08", F(8)),
        ("12:40.25", F(3041, 4)),
        ("1:02:03.5", F(7447, 2)),
        ("90", F(90)),
        ("010", F(10)),
        ("0.000000001", F(1, 10**9)),
        ("100:00", F(6000)),
    ],
)
def test_times_are_read_exactly(text: str, seconds: F) -> None:
    """Minutes and seconds, hours, bare seconds; never base 60 by accident, never octal."""
    assert parse_time(text) == seconds


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1:75", "00 to 59"),
        ("1:5", "00 to 59"),
        ("1:75:00", "00 to 59"),
        ("-1", "is not a time"),
        ("1e3", "is not a time"),
        ("", "is not a time"),
        ("1:2:3:4", "is not a time"),
        ("١:٣٠", "is not a time"),
        ("200:00:00", "longer than 100 hours"),
    ],
)
def test_what_is_no_time_is_refused_with_its_reason(text: str, words: str) -> None:
    """Each refusal says what is wrong and what to write."""
    with pytest.raises(TimeTextError, match=words) as caught:
        parse_time(text)
    assert caught.value.args[1]


@given(st.fractions(min_value=-1000, max_value=1000))
def test_exact_text_is_read_back_without_loss(value: F) -> None:
    """Nine places where they hold the value, n/d where they do not."""
    assert from_exact_text(exact_text(value)) == value


def test_clocks_round_down_and_durations_to_the_nearest() -> None:
    """A running clock shows the second it is in; a length is rounded."""
    assert clock_text(F(7259, 10)) == "0:12:05"
    assert short_clock_text(F(3599)) == "59:59"
    assert short_clock_text(F(3761)) == "1:02:41"
    assert duration_text(F(1615, 10)) == "2:42"
    assert clock_text(F(-1, 2)) == "-0:00:01"


def test_milliseconds_round_once_half_up_and_never_print_sixty_seconds() -> None:
    """59.9996 s is one minute in WebVTT and SubRip alike."""
    ms = milliseconds(F(599996, 10000))
    assert (vtt_time(ms), srt_time(ms)) == ("00:01:00.000", "00:01:00,000")
    assert milliseconds(F(1, 2000)) == 1
    assert vtt_time(360000000) == "100:00:00.000"


def test_speeds_have_at_most_one_decimal_and_never_lie_about_one() -> None:
    """A speed that is not 1 is never written as 1x."""
    assert [speed_text(F(s)) for s in ("8", "2.5", "7.312", "1.02", "16")] == [
        "8×",
        "2.5×",
        "7.3×",
        "1.1×",
        "16×",
    ]
