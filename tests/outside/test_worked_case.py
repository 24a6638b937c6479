"""The worked case of the trade.

Source: common practice. A 28-minute film that shows one minute at 8x and left out one minute for
a radiograph tells of 27 + 8 + 1 = 36 clinical minutes.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from chapters.assemble import assemble, film_elements, make_line, resolve_ends
from chapters.case import Away, Case, Part, Show, Step
from chapters.speedplan import plan_speeds
from chapters.steptimes import make_ledger
from chapters.times import RecordingTime as R

pytestmark = pytest.mark.outside


def test_a_28_minute_film_tells_of_36_clinical_minutes() -> None:
    """27 minutes real, one film minute at 8x, one minute away: 36 minutes on the clock."""
    steps = (
        Step("a", "Before", R(F(0))),
        Step("b", "Fast", R(F(12 * 60)), show=Show("fixed", F(8))),
        Step("c", "After", R(F(20 * 60))),
    )
    case = Case(
        "w", "W", (Part("p"),), steps, away=(Away(R(F(25 * 60)), F(60), "radiograph"),), ramp=F(0)
    )
    line = make_line(case, [F(35 * 60)])
    resolved = resolve_ends(steps, line.length)
    elements = film_elements(resolved, line, title_s=F(0), closing_s=F(0))
    film = assemble(
        elements, line, plan_speeds(resolved, elements, case.ramp).speeds, case.ramp, F(30)
    )
    ledger = make_ledger(resolved, film)
    assert film.length == 28 * 60
    assert (ledger.real, ledger.fast, ledger.not_shown, ledger.away) == (27 * 60, 8 * 60, 0, 60)
    assert ledger.total == 36 * 60
