"""The time map: round trips, monotone clocks, lengths and ledger that add up, jumps that are said."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chapters.assemble import (
    assemble,
    film_elements,
    film_length,
    make_line,
    resolve_ends,
)
from chapters.case import Away, Case, Part, Show, Step, Still
from chapters.spans import merge, total
from chapters.speedplan import UnreachableLength, plan_speeds, speeds_at
from chapters.steptimes import make_ledger, step_times
from chapters.timefile import time_map_from_values, time_map_values
from chapters.timemap import Line, PartSpan, TimeMap
from chapters.times import RecordingTime
from tests.strategies import cases, seconds, shows

R = RecordingTime
RATES = [F(24000, 1001), F(25), F(30000, 1001), F(30), F(60)]


def film(
    case: Case, line: Line, fps: F = F(30), wished: F | None = None
) -> tuple[TimeMap, tuple[Step, ...], dict[str, F]]:
    """A case laid out as ``make`` lays it out."""
    steps = resolve_ends(case.steps, line.length)
    elements = film_elements(steps, line)
    plan = plan_speeds(steps, elements, case.ramp, wished)
    return assemble(elements, line, plan.speeds, case.ramp, fps, wished), steps, dict(plan.speeds)


@settings(deadline=None)
@given(cases(), st.sampled_from(RATES))
def test_the_ledger_adds_up_exactly(pair: tuple[Case, Line], fps: F) -> None:
    """Real + fast + not shown + away is the clinical length, and the steps' rows add up to it."""
    case, line = pair
    map_, steps, speeds = film(case, line, fps)
    ledger = make_ledger(steps, map_)
    assert ledger.real + ledger.fast + ledger.not_shown + ledger.away == ledger.total
    assert ledger.total == line.clinical(line.length)
    rows = step_times(steps, map_, speeds)
    assert sum((r.real for r in rows), F(0)) == ledger.real
    assert sum((r.fast for r in rows), F(0)) == ledger.fast
    assert sum((r.not_shown for r in rows), ledger.between_not_shown) == ledger.not_shown
    assert sum((r.away for r in rows), ledger.between_away) == ledger.away
    for row in rows:
        assert row.clinical_length == row.real + row.fast + row.not_shown + row.away
    assert total(h.clinical for h in ledger.hidden) == ledger.not_shown


@settings(deadline=None)
@given(cases(), st.sampled_from(RATES))
def test_pieces_follow_one_another_and_fill_whole_frames(pair: tuple[Case, Line], fps: F) -> None:
    """Cut time has no gap, the film's length is a whole number of frames, clocks never run back."""
    case, line = pair
    map_, _, _ = film(case, line, fps)
    assert map_.length * fps == map_.frame_count
    assert sum((p.cut.length for p in map_.pieces), F(0)) == map_.length
    clock = F(0)
    for piece in map_.pieces:
        if piece.clinical is None:
            continue
        assert piece.clinical.start >= clock
        assert piece.clinical.length == (piece.recording.length if piece.recording else 0)
        clock = piece.clinical.end


@settings(deadline=None)
@given(cases(), st.lists(st.integers(0, 10**6), min_size=1, max_size=20))
def test_cut_to_recording_and_back_is_the_same_instant(
    pair: tuple[Case, Line], at: list[int]
) -> None:
    """On footage t -> r -> t comes back within a picosecond, and c agrees with r."""
    case, line = pair
    map_, _, _ = film(case, line)
    for share in at:
        t = map_.length * share / (10**6 + 1)
        piece = map_.piece_at(t)
        r = map_.recording_at(t)
        if piece.kind != "footage" or r is None:
            continue
        assert map_.clinical_at(t) == line.clinical(r) or r == piece.recording.end  # type: ignore[union-attr]
        back, shown = map_.cut_at(r)
        assert shown and abs(back - t) < F(1, 10**12)


@settings(deadline=None)
@given(cases(), st.lists(st.integers(0, 10**6), min_size=1, max_size=20))
def test_recording_to_clinical_and_back_is_the_same_instant(
    pair: tuple[Case, Line], at: list[int]
) -> None:
    """r -> c -> r is exact; a clinical instant while away has no recording time."""
    _, line = pair
    for share in at:
        r = line.length * share / 10**6
        assert line.recording(line.clinical(r)) == r
    for a in line.away:
        assert line.recording(line.clinical(a.at) - a.lasted / 2) is None


@settings(deadline=None)
@given(cases(), st.lists(st.integers(0, 10**6), min_size=2, max_size=20))
def test_clocks_never_run_backward(pair: tuple[Case, Line], at: list[int]) -> None:
    """Later in the film is never earlier in the recording or in the room."""
    case, line = pair
    map_, _, _ = film(case, line)
    r_last, c_last = F(-1), F(-1)
    for share in sorted(at):
        t = map_.length * share / (10**6 + 1)
        r, c = map_.recording_at(t), map_.clinical_at(t)
        if r is None or c is None:
            continue
        assert r >= r_last and c >= c_last
        r_last, c_last = r, c


@settings(deadline=None)
@given(cases())
def test_every_jump_of_the_clock_is_said(pair: tuple[Case, Line]) -> None:
    """Between two pieces of footage the clock moves by exactly what the jumps at that instant say."""
    case, line = pair
    map_, _, _ = film(case, line)
    clock = F(0)
    for piece in map_.footage:
        assert piece.clinical is not None
        said = sum((j.lasted for j in map_.jumps if j.at == piece.cut.start), F(0))
        assert piece.clinical.start - clock == said
        clock = piece.clinical.end


@settings(deadline=None)
@given(cases())
def test_the_time_map_file_loses_nothing(pair: tuple[Case, Line]) -> None:
    """Written as JSON and read again, the map shows the same instants."""
    case, line = pair
    map_, _, _ = film(case, line)
    again = time_map_from_values(json.loads(json.dumps(time_map_values(map_))))
    assert [
        (p.kind, p.cut, p.recording, p.clinical, p.speed, p.step, p.card) for p in again.pieces
    ] == [(p.kind, p.cut, p.recording, p.clinical, p.speed, p.step, p.card) for p in map_.pieces]
    assert (again.fps, again.length, again.not_shown) == (map_.fps, map_.length, map_.not_shown)


@settings(deadline=None, max_examples=60)
@given(
    cases(st.one_of(st.just(Show("fast", limit=F(16))), shows())),
    st.integers(0, 1000),
    st.sampled_from(RATES),
)
def test_a_wished_length_is_met_exactly(pair: tuple[Case, Line], share: int, fps: F) -> None:
    """Any length between the shortest and the longest, on the frame grid, is the film's length."""
    case, line = pair
    steps = resolve_ends(case.steps, line.length)
    elements = film_elements(steps, line)
    top = max((s.show.limit for s in steps if s.show.kind == "fast"), default=F(1))
    shortest = film_length(elements, speeds_at(steps, top), case.ramp)
    longest = film_length(elements, speeds_at(steps, F(1)), case.ramp)
    wished = shortest + (longest - shortest) * share / 1000
    wished = F(-((-wished * fps).numerator // (wished * fps).denominator)) / fps
    if wished > longest:
        return
    map_, _, speeds = film(case, line, fps, wished)
    assert map_.length == wished
    rounded = sum(1 for p in map_.pieces if not p.is_real)
    assert abs(map_.pieces[-1].cut.length - 8) <= rounded / fps
    fast = {speeds[s.id] for s in steps if s.show.kind == "fast" and s.show.limit == top}
    assert len(fast) <= 1


def test_a_length_that_no_speed_gives_says_what_can_be_had() -> None:
    """The message names the shortest and the longest film."""
    case = Case(
        "c",
        "C",
        (Part("a"),),
        (Step("s", "S", R(F(0)), show=Show("fast", limit=F(10))),),
        ramp=F(0),
    )
    line = make_line(case, [F(600)])
    with pytest.raises(
        UnreachableLength,
        match=r"no speed gives a film of 0:30: the film can last from 1:12 to 10:12",
    ):
        film(case, line, wished=F(30))


def test_without_a_fast_step_the_length_is_what_it_is() -> None:
    """A wished length without any fast step is refused with the reason."""
    case = Case("c", "C", (Part("a"),), (Step("s", "S", R(F(0))),))
    with pytest.raises(UnreachableLength, match="because no step is fast"):
        film(case, make_line(case, [F(100)]), wished=F(30))


def test_a_fast_step_too_short_to_run_faster_is_the_reason() -> None:
    """Two seconds between two real steps leave no room for ramps of a second each."""
    steps = (
        Step("s", "S", R(F(0))),
        Step("f", "F", R(F(50)), show=Show("fast")),
        Step("t", "T", R(F(52))),
    )
    case = Case("c", "C", (Part("a"),), steps, ramp=F(1))
    with pytest.raises(UnreachableLength, match="because its fast steps are too short"):
        film(case, make_line(case, [F(100)]), wished=F(30))


def test_time_away_belongs_to_the_instant_it_happened() -> None:
    """The frame that starts at the away has it behind it; a span that ends there has not."""
    line = Line((PartSpan("a", F(0), F(100)),), (Away(R(F(40)), F(60), "check radiograph"),))
    assert line.clinical(F(40)) == 100
    assert line.clinical_before(F(40)) == 40
    assert line.recording(F(70)) is None
    assert line.recording(F(100)) == 40


def test_a_fast_step_comes_down_to_real_time_at_an_away() -> None:
    """Where the clock is about to jump inside a fast step, the ramps lead to 1x and away again."""
    case = Case(
        "c",
        "C",
        (Part("a"),),
        (Step("s", "S", R(F(0)), show=Show("fixed", F(4))),),
        away=(Away(R(F(50)), F(30), "radiograph"),),
    )
    map_, _, _ = film(case, make_line(case, [F(100)]))
    ends = [p for p in map_.footage if p.recording and p.recording.end == 50]
    starts = [p for p in map_.footage if p.recording and p.recording.start == 50]
    assert ends[0].speed[1] == starts[0].speed[0] == 1
    assert [(j.kind, j.lasted, j.at) for j in map_.jumps] == [("away", 30, starts[0].cut.start)]


def test_two_fast_steps_in_a_row_flow_into_one_another() -> None:
    """No ramp down to 1x between two steps at 8x; the border of 4x and 8x runs at 4x."""
    steps = (
        Step("a", "A", R(F(0)), show=Show("fixed", F(8))),
        Step("b", "B", R(F(100)), show=Show("fixed", F(8))),
        Step("c", "C", R(F(200)), show=Show("fixed", F(4))),
    )
    case = Case("c", "C", (Part("a"),), steps)
    map_, _, _ = film(case, make_line(case, [F(300)]))
    speeds = [p.speed for p in map_.footage]
    assert speeds == [(1, 8), (8, 8), (8, 8), (8, 4), (4, 4), (4, 1)]


def test_a_real_time_step_is_real_time_to_its_last_frame() -> None:
    """Ramps lie inside the fast step, never in its real-time neighbour."""
    steps = (
        Step("a", "A", R(F(0))),
        Step("b", "B", R(F(10)), show=Show("fixed", F(8))),
        Step("c", "C", R(F(90))),
    )
    map_, _, _ = film(
        Case("c", "C", (Part("a"),), steps),
        make_line(Case("c", "C", (Part("a"),), steps), [F(100)]),
    )
    assert [p.speed for p in map_.footage if p.step in "ac"] == [(1, 1), (1, 1)]


def test_overlapping_parts_are_laid_without_the_repeated_start() -> None:
    """A part that repeats 2 s of the one before starts later in its own time, not on the line."""
    case = Case("c", "C", (Part("a"), Part("b", overlap=F(2))), ())
    line = make_line(case, [F(10), F(10)])
    assert line.length == 18
    assert line.parts[1] == PartSpan("b", F(10), F(8), F(2))
    assert line.part_at(F(10)).file == "b" and line.part_at(F(18)).file == "b"


def test_gaps_by_the_recorders_clock_count_only_when_asked() -> None:
    """Creation times give time away only with the case's word for it."""
    case = Case("c", "C", (Part("a"), Part("b")), ())
    gaps = [F(0), F(70)]
    assert make_line(case, [F(10), F(10)], gaps).away == ()
    asked = replace(case, clocks_give_away=True)
    assert [(a.at, a.lasted) for a in make_line(asked, [F(10), F(10)], gaps).away] == [(10, 70)]


def test_a_still_holds_the_clock_before_the_time_away() -> None:
    """A radiograph laid in where the recorder stood still shows the clock as it was left."""
    step = Step("s", "S", R(F(0)), stills=(Still("x.png", at=R(F(40)), hold=F(5)),))
    case = Case("c", "C", (Part("a"),), (step,), away=(Away(R(F(40)), F(60), "radiograph"),))
    map_, _, _ = film(case, make_line(case, [F(100)]))
    still = next(p for p in map_.pieces if p.kind == "still")
    assert still.clinical is not None and still.clinical.start == 40
    assert map_.jumps[0].at == still.cut.end


def test_film_of_a_recording_that_nothing_shows_has_cards_only() -> None:
    """All steps skipped: the ledger says not shown, asking for a place in the film fails by name."""
    case = Case("c", "C", (Part("a"),), (Step("s", "S", R(F(0)), show=Show("skip")),))
    map_, steps, _ = film(case, make_line(case, [F(50)]))
    assert make_ledger(steps, map_).not_shown == 50
    with pytest.raises(LookupError, match="shows no footage"):
        map_.cut_at(F(3))


def test_an_edit_of_a_fast_step_moves_the_rest_by_whole_frames() -> None:
    """At 8x or at 11x, the step behind it shows the same recording times at its frames."""
    fps = F(30000, 1001)

    def first_frames(speed: F) -> list[F | None]:
        steps = (
            Step("a", "A", R(F(1, 7)), show=Show("fixed", speed)),
            Step("b", "B", R(F(217, 3))),
        )
        case = Case("c", "C", (Part("a"),), steps)
        map_, _, _ = film(case, make_line(case, [F(100)]), fps)
        span = map_.step_cut("b")
        assert span is not None
        first = -((-span.start * fps).numerator // (span.start * fps).denominator)
        return [map_.recording_at((first + n) / fps) for n in range(5)]

    assert first_frames(F(8)) == first_frames(F(11)) == first_frames(F(23, 7))


@given(st.lists(st.tuples(seconds(0, 50), seconds(0, 50)), max_size=8))
def test_merged_spans_hold_the_same_instants(pairs: list[tuple[F, F]]) -> None:
    """Merging changes no instant and leaves the spans sorted and apart."""
    from chapters.spans import Span

    spans = [Span(min(p), max(p)) for p in pairs]
    merged = merge(spans)
    assert all(a.end < b.start for a, b in itertools.pairwise(merged))
    for k in range(0, 51):
        at = F(k) + F(1, 7)
        assert any(s.holds(at) for s in spans) == any(s.holds(at) for s in merged)
