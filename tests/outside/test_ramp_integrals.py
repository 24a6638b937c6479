"""Ramp integrals against a general-purpose reference and a worked figure.

Sources: SciPy's adaptive quadrature (QUADPACK, ``scipy.integrate.quad``). The worked figure is
elementary calculus: 60 s of recording whose speed goes from 1 to 4, linear in cut time or eased
alike, has the mean speed 2.5 and lasts 60 / 2.5 = 24.0 s.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from scipy.integrate import quad

from chapters.ramps import eased_run, ramp_consumed, ramp_speed

pytestmark = pytest.mark.outside


@pytest.mark.parametrize(
    ("s0", "s1", "d"), [(1, 8, 1), (8, 1, 2), (1, 4, 24), (3, 2, F(1, 3)), (1, 100, F(5, 2))]
)
@pytest.mark.parametrize("share", [F(1, 10), F(1, 3), F(1, 2), F(9, 10), F(1)])
def test_what_a_ramp_consumes_is_the_integral_of_its_speed(
    s0: int, s1: int, d: F, share: F
) -> None:
    """The closed form equals numerical integration of the speed over cut time."""
    by_quad, error = quad(lambda t: float(ramp_speed(F(s0), F(s1), F(t) / d)), 0, float(share * d))
    assert float(ramp_consumed(F(s0), F(s1), F(d), share)) == pytest.approx(
        by_quad, abs=1e-9 + error
    )


def test_sixty_seconds_from_one_to_four_times_last_twenty_four() -> None:
    """The worked ramp: mean speed 2.5, 24.0 cut seconds, consumed to the last tick."""
    (leg,) = eased_run(F(60), F(4), F(1), F(4), F(24))
    assert (leg.cut, leg.recording) == (24, 60)
    by_quad, _ = quad(lambda t: float(ramp_speed(F(1), F(4), F(t) / 24)), 0, 24)
    assert by_quad == pytest.approx(60, abs=1e-9)
