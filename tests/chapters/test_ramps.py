"""Ramps: closed form against numerical integration, and the published worked ramp."""

from __future__ import annotations

import itertools
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chapters.ramps import eased_run, fitted_run, ramp_consumed, ramp_speed, share_at

speeds = st.integers(10, 400).map(lambda n: F(n, 10))
lengths = st.integers(0, 10**6).map(lambda n: F(n, 1000))


def test_a_ramp_starts_and_ends_at_its_two_speeds_with_no_change_of_slope() -> None:
    """The eased speed equals s0 at the start and s1 at the end, where it neither rises nor falls."""
    assert ramp_speed(F(1), F(8), F(0)) == 1
    assert ramp_speed(F(1), F(8), F(1)) == 8
    near = F(1, 10**6)
    assert ramp_speed(F(1), F(8), near) - 1 < 25 * near * near
    assert 8 - ramp_speed(F(1), F(8), 1 - near) < 25 * near * near


@given(s=speeds, entry=speeds, leaving=speeds, length=lengths, ramp=st.integers(0, 20))
def test_a_run_consumes_exactly_its_recording(
    s: F, entry: F, leaving: F, length: F, ramp: int
) -> None:
    """The legs add up to the run, each leg by its own integral, and speeds meet without a step."""
    entry, leaving = min(entry, s), min(leaving, s)
    legs = eased_run(length, s, entry, leaving, F(ramp, 10))
    assert sum((leg.recording for leg in legs), F(0)) == length
    for leg in legs:
        assert (
            leg.recording
            == ramp_consumed(leg.s0, leg.s1, leg.cut, F(1))
            == leg.cut * (leg.s0 + leg.s1) / 2
        )
        assert leg.cut > 0
    if ramp and legs:
        assert legs[0].s0 == entry and legs[-1].s1 == leaving
        assert all(a.s1 == b.s0 for a, b in itertools.pairwise(legs))


@given(a=speeds, b=speeds, entry=speeds, leaving=speeds, length=lengths, ramp=st.integers(0, 20))
def test_a_faster_run_is_never_longer(
    a: F, b: F, entry: F, leaving: F, length: F, ramp: int
) -> None:
    """With its borders given or following the speed, the cut length never rises with the speed."""
    slow, fast = sorted((a, b))

    def cut(s: F) -> F:
        return sum(
            (leg.cut for leg in eased_run(length, s, min(s, entry), min(s, leaving), F(ramp, 10))),
            F(0),
        )

    assert cut(fast) <= cut(slow)


def test_a_run_too_short_for_both_ramps_gets_a_lower_peak() -> None:
    """Six seconds at 8x with two one-second ramps peak at 5x: 1·(1+5)/2 twice is six seconds."""
    legs = eased_run(F(6), F(8), F(1), F(1), F(1))
    assert [(leg.cut, leg.s0, leg.s1) for leg in legs] == [(1, 1, 5), (1, 5, 1)]


def test_a_run_too_short_for_any_ramp_is_real_time() -> None:
    """One second at 8x between real-time neighbours is shown in real time."""
    legs = eased_run(F(1), F(8), F(1), F(1), F(1))
    assert [(leg.cut, leg.s0, leg.s1) for leg in legs] == [(1, 1, 1)]


def test_a_border_faster_than_the_run_is_refused() -> None:
    """The caller must give border speeds that the run can meet inside itself."""
    with pytest.raises(ValueError, match="never faster than the run"):
        eased_run(F(10), F(2), F(4), F(1), F(1))


@given(s0=speeds, s1=speeds, u=st.integers(0, 1000))
def test_the_share_is_the_inverse_of_what_is_consumed(s0: F, s1: F, u: int) -> None:
    """Going to a share and back lands within 2^-40 of it."""
    share = F(u, 1000)
    assert abs(share_at(s0, s1, F(2), ramp_consumed(s0, s1, F(2), share)) - share) < F(1, 2**40)


@given(
    s=st.integers(20, 400).map(lambda n: F(n, 10)),
    length=st.integers(60_000, 10**6).map(lambda n: F(n, 1000)),
    start=st.integers(0, 10**6).map(lambda n: F(n, 9999)),
    fps=st.sampled_from([F(25), F(30000, 1001), F(60)]),
)
def test_a_fitted_run_ends_on_a_frame_and_still_consumes_its_recording(
    s: F, length: F, start: F, fps: F
) -> None:
    """A minute and more at 2x to 40x from any instant ends on a frame, within one of where it would end."""
    legs = fitted_run(length, s, (F(1), F(1)), F(1), start, fps)
    cut = sum((leg.cut for leg in legs), F(0))
    assert ((start + cut) * fps).denominator == 1
    assert sum((leg.recording for leg in legs), F(0)) == length
    plain = sum((leg.cut for leg in eased_run(length, s, F(1), F(1), F(1))), F(0))
    assert abs(cut - plain) <= 1 / fps
