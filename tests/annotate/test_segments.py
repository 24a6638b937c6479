"""Segments: every frame once, none across a border, keys that move with the content."""

from __future__ import annotations

from fractions import Fraction as F
from itertools import pairwise

from hypothesis import given, settings

from annotate.faces import Faces
from annotate.plan import Plan, make_plan
from annotate.segments import (
    LEAST_FRAMES,
    MOST_FRAMES,
    MOST_RECORDING_S,
    Segment,
    segment_key,
    split,
)
from chapters.assemble import make_line
from chapters.case import Case, Part, Show, Step
from chapters.timemap import Line, Piece
from chapters.times import RecordingTime as R
from tests.strategies import cases


class Bare(Faces):
    """Nothing is drawn."""

    def at(self, t: F) -> None:
        """Nothing, at any time."""


def planned(speed: F = F(8), title: str = "Clean") -> Plan:
    """Two real-time steps around a fast one."""
    steps = (
        Step("a", "Look", R(F(0))),
        Step("b", title, R(F(20)), show=Show("fixed", speed)),
        Step("c", "Close", R(F(220))),
    )
    case = Case("c", "C", (Part("p"),), steps)
    return make_plan(case, make_line(case, [F(300)]), F(1, 30))


def picture_of(piece: Piece, t: F) -> str:
    """A recording at 30 frames a second: the frame on screen by its number."""
    r = piece.recording_at(t)
    return f"{piece.card}" if r is None else str(r * 30 // 1)


def keys(plan: Plan) -> list[str]:
    """The keys of all segments in film order."""
    faces = Faces(plan.film, plan.rows)
    return [segment_key(s, faces, picture_of, "base") for s in split(plan.film)]


@settings(deadline=None)
@given(cases())
def test_every_frame_is_in_exactly_one_segment(pair: tuple[Case, Line]) -> None:
    """Segments follow one another from the first frame to the last and are never too long."""
    case, line = pair
    film = make_plan(case, line, F(1, 30)).film
    at = 0
    for segment in split(film):
        assert segment.first == at < segment.last <= at + MOST_FRAMES + 60
        at = segment.last
        steps = {film.piece_at(j / film.fps).step for j in (segment.first, segment.last - 1)}
        assert len(steps) == 1
    assert at == film.frame_count


def test_segments_of_a_fast_step_cost_no_more_than_others() -> None:
    """At eight times real time a segment shows little film, as each frame of it costs decoding."""
    film = planned().film
    for segment in split(film, [F(2 * n) for n in range(150)]):
        t0, t1 = segment.first / film.fps, (segment.last - 1) / film.fps
        r0, r1 = (film.piece_at(t).recording_at(t) for t in (t0, t1))
        if r0 is not None and r1 is not None and segment.frames > 2 * LEAST_FRAMES:
            assert r1 - r0 <= MOST_RECORDING_S * 3 / 2


def test_long_stretches_are_split_where_decoding_can_begin() -> None:
    """Within a step each segment begins with the first frame that shows a key frame or what follows."""
    film = planned().film
    key_times = [F(n * 2) + F(1, 90) for n in range(150)]
    segments = split(film, key_times)
    assert sum(s.frames for s in segments) == film.frame_count
    inner = 0
    for before, segment in pairwise(segments):
        t0, t1 = (segment.first - 1) / film.fps, segment.first / film.fps
        r0, r1 = (film.piece_at(t).recording_at(t) for t in (t0, t1))
        if film.piece_at(t0).step == film.piece_at(t1).step and r0 is not None and r1 is not None:
            assert any(r0 < key <= r1 for key in key_times)
            assert before.frames <= MOST_FRAMES
            inner += 1
    assert inner > 5


def test_a_step_that_begins_elsewhere_keeps_its_later_segments() -> None:
    """Splits lie at the recording's key frames, so moving a step's start touches its first segment."""

    def keys_of(start: F) -> set[str]:
        steps = (Step("a", "Look", R(F(0))), Step("c", "Close", R(start)))
        case = Case("c", "C", (Part("p"),), steps)
        plan = make_plan(case, make_line(case, [F(300)]), F(1, 30))
        faces = Faces(plan.film, ())
        return {
            segment_key(s, Bare(faces.film, ()), picture_of, "base")
            for s in split(plan.film, [F(2 * n) for n in range(150)])
        }

    one, other = keys_of(F(20)), keys_of(F(21))
    assert len(one - other) <= 4


def test_renaming_a_step_touches_its_segments_alone() -> None:
    """The other steps' keys stay."""
    before, after = keys(planned()), keys(planned(title="Clean up"))
    changed = [i for i, (a, b) in enumerate(zip(before, after, strict=True)) if a != b]
    plan = planned()
    own = [
        i
        for i, s in enumerate(split(plan.film))
        if plan.film.piece_at(s.first / plan.film.fps).step == "b"
    ]
    assert changed == own


def test_another_speed_touches_the_fast_step_alone() -> None:
    """What follows moves by whole frames and keeps its keys, so it need not be drawn again."""
    before, after = set(keys(planned(F(8)))), set(keys(planned(F(11))))
    gone = len(before - after)
    plan = planned(F(8))
    fast = [s for s in split(plan.film) if plan.film.piece_at(s.first / plan.film.fps).step == "b"]
    assert gone == len(fast)


def test_another_base_changes_every_key() -> None:
    """Another encoder setting or version draws everything anew."""
    plan = planned()
    faces = Faces(plan.film, plan.rows)
    segment = Segment(130, 140)
    one, other = (segment_key(segment, faces, picture_of, b) for b in ("a", "b"))
    assert one != other
