"""Hypothesis strategies: exact times, lines with time away, cases whose steps are in order."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from chapters.assemble import make_line
from chapters.case import Away, Case, Part, Show, Step, Still
from chapters.timemap import Line
from chapters.times import RecordingTime

TICKS = 90000


def seconds(low: int, high: int) -> st.SearchStrategy[Fraction]:
    """Exact seconds on the 90 kHz grid that recorders use, both ends in whole seconds."""
    return st.integers(low * TICKS, high * TICKS).map(lambda n: Fraction(n, TICKS))


def shows() -> st.SearchStrategy[Show]:
    """Every way in which a step can be shown."""
    speeds = st.integers(11, 400).map(lambda n: Fraction(n, 10))
    return st.one_of(
        st.just(Show("real")),
        st.just(Show("skip")),
        speeds.map(lambda s: Show("fixed", s)),
        speeds.map(lambda s: Show("fast", limit=s)),
    )


@st.composite
def cases(draw: st.DrawFn, kinds: st.SearchStrategy[Show] | None = None) -> tuple[Case, Line]:
    """A case of up to six steps over one to three parts, with time away, gaps and stills."""
    lengths = draw(st.lists(seconds(2, 120), min_size=1, max_size=3))
    whole = sum(lengths, Fraction(0))
    inside = st.integers(0, 10**6).map(lambda n: whole * n / 10**6)
    parts = tuple(
        Part(f"p{i}.mp4", away_before=draw(seconds(0, 90)) if i else Fraction(0))
        for i in range(len(lengths))
    )
    away = tuple(
        Away(RecordingTime(at), draw(seconds(1, 200)), "check radiograph")
        for at in sorted(draw(st.lists(inside, max_size=3)))
    )
    edges = sorted(set(draw(st.lists(inside, min_size=2, max_size=12))))
    steps = []
    for i in range(0, len(edges) - 1, 2):
        stills = tuple(
            Still("x.png", at=RecordingTime(edges[i]), hold=draw(seconds(1, 5)))
            for _ in range(draw(st.integers(0, 1)))
        )
        steps.append(
            Step(
                f"s{i}",
                f"Step {i}",
                RecordingTime(edges[i]),
                RecordingTime(edges[i + 1]) if draw(st.booleans()) else None,
                show=draw(shows() if kinds is None else kinds),
                stills=stills,
            )
        )
    case = Case("c", "Case", parts, tuple(steps), away=away, ramp=draw(seconds(0, 2)))
    return case, make_line(case, lengths)
