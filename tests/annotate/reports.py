"""Cases whose step times are known, for the tests of tables and plot."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from random import Random

from annotate.plan import Plan, make_plan
from chapters.assemble import make_line
from chapters.case import Away, Case, Expect, Part, Show, Step
from chapters.times import RecordingTime

F = Fraction
SHOWS = (
    Show("real"),
    Show("fixed", F(8)),
    Show("skip"),
    Show("fast", limit=F(12)),
    Show("fixed", F(2)),
)


def worked_plan() -> Plan:
    """Four steps of 60 s, one of each kind, 10 s before them, 100 s away inside the second.

    Step 1 is real and 10 s longer than expected, 2 runs at 8x, 3 is left out, 4 is within its
    range; the room saw 10 + 4 * 60 + 100 = 350 s.
    """
    steps = tuple(
        Step(f"s{i}", title, RecordingTime(F(10 + 60 * i)), None, show, expect)
        for i, (title, show, expect) in enumerate(
            (
                ("Open", Show("real"), Expect(F(20), F(50))),
                ("Clean", Show("fixed", F(8)), Expect(F(170), F(300))),
                ("Wait", Show("skip"), None),
                ("Close", Show("real"), Expect(F(30), F(90))),
            )
        )
    )
    away = (Away(RecordingTime(F(100)), F(100), "check radiograph"),)
    case = Case("bench-01", "A worked case", (Part("a.mp4"),), steps, away=away)
    return make_plan(case, make_line(case, [F(250)]), F(1, 25))


def drawn_plan(
    count: int,
    titles: Sequence[str],
    *,
    seed: int = 1,
    away: int = 0,
    title: str = "A drawn case",
    unit_s: Fraction | int = 1,
) -> Plan:
    """A case of ``count`` steps with lengths from a seeded draw, in awkward fractions of seconds."""
    random = Random(seed)
    at, steps = F(7), []
    for i in range(count):
        lasts = F(random.randint(1, 900_000), 2999) * F(unit_s)
        expect = (
            Expect(lasts * F(random.choice((5, 9, 12)), 10), lasts * F(3, 2)) if i % 3 else None
        )
        show = SHOWS[random.randrange(len(SHOWS))]
        steps.append(Step(f"s{i}", titles[i % len(titles)], RecordingTime(at), None, show, expect))
        at += lasts
    gone = tuple(
        Away(RecordingTime(at * (i + 1) / (away + 1)), F(61 + 7 * i, 3), f"radiograph {i + 1}")
        for i in range(away)
    )
    case = Case("drawn", title, (Part("a.mp4"),), tuple(steps), away=gone)
    return make_plan(case, make_line(case, [at]), F(1, 25))
