"""From a checked case and its opened recording to everything that is decided before a frame is drawn.

Values in, values out: opens nothing. ``recording.py`` opens, ``render.py`` draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from annotate.sound.takes import (
    USUAL_WPM,
    Laid,
    SpokenTake,
    StepPlace,
    lay_takes,
    shortest_steps,
)
from chapters.assemble import (
    Element,
    assemble,
    film_elements,
    resolve_ends,
)
from chapters.case import Case, Step
from chapters.fieldtext import time_text
from chapters.scenecuts import SceneCut
from chapters.speedplan import SpeedPlan, no_faster_than, plan_speeds
from chapters.steptimes import Ledger, StepTime, make_ledger, step_times
from chapters.timemap import Line, TimeMap
from chapters.times import RecordingTime, speed_text

#: A step start this near a scene cut, without being on it, is worth a look (common practice: a
#: hand on the stop button is rarely off by more).
NEAR_CUT_S = Fraction(1)

#: Rates a teaching cut is written at, the ones every player knows.
FILM_RATES = (
    Fraction(24000, 1001),
    Fraction(24),
    Fraction(25),
    Fraction(30000, 1001),
    Fraction(30),
)


@dataclass(frozen=True)
class Plan:
    """One case, decided: where every frame comes from and what every second is called.

    ``laid`` says where the takes of the narration sound.
    """

    case: Case
    line: Line
    steps: tuple[Step, ...]
    elements: tuple[Element, ...]
    speeds: Mapping[str, Fraction]
    solved: Fraction | None
    film: TimeMap
    rows: tuple[StepTime, ...]
    ledger: Ledger
    notices: tuple[str, ...] = ()
    laid: tuple[Laid, ...] = ()


def film_rate(typical_gap_s: Fraction) -> Fraction:
    """The rate of the film for a recording whose frames are typically ``typical_gap_s`` apart.

    The nearest of FILM_RATES; recordings at 48 frames a second or more are halved first, and
    slow recorders (under 20) get 30, which shows each of their frames several times.
    """
    if typical_gap_s <= 0:
        return Fraction(30)
    rate = 1 / typical_gap_s
    while rate >= 47:
        rate /= 2
    if rate < 20:
        return Fraction(25) if abs(rate * 2 - 25) < 1 else Fraction(30)
    return min(FILM_RATES, key=lambda r: abs(r - rate))


def snap_steps(
    steps: Sequence[Step], cuts: Sequence[SceneCut], tolerance_s: Fraction
) -> tuple[tuple[Step, ...], tuple[str, ...]]:
    """Move step starts (and ``to``) onto the nearest scene cut within the tolerance.

    A start that would cross its neighbour stays. Returns the steps and a sentence for each move.
    """
    moved: list[Step] = []
    notes: list[str] = []
    for step in steps:
        start = _nearest(step.start, cuts, tolerance_s)
        end = step.end if step.end is None else _nearest(step.end, cuts, tolerance_s)
        floor = moved[-1].end or moved[-1].start if moved else RecordingTime(Fraction(0))
        if start < floor or (end is not None and end <= start):
            start, end = step.start, step.end
        if start != step.start:
            notes.append(
                f"step {step.id}: start moved by {float(abs(start - step.start)):.3f} s, from "
                f"{_written(step.start)} onto the scene cut at {_written(start)}"
            )
        moved.append(replace(step, start=start, end=end))
    return tuple(moved), tuple(notes)


def _nearest(at: Fraction, cuts: Sequence[SceneCut], tolerance_s: Fraction) -> RecordingTime:
    near = min((c.at for c in cuts), key=lambda c: abs(c - at), default=None)
    if near is not None and abs(near - at) <= tolerance_s:
        return RecordingTime(Fraction(near))
    return RecordingTime(at)


def near_misses(
    steps: Sequence[Step], cuts: Sequence[SceneCut], frame_s: Fraction
) -> tuple[str, ...]:
    """A sentence for each step start that is near a scene cut without being on it."""
    out: list[str] = []
    for step in steps:
        if step.start == 0:
            continue
        near = min((c.at for c in cuts), key=lambda c: abs(c - step.start), default=None)
        if near is None:
            continue
        off = abs(near - step.start)
        if frame_s <= off <= NEAR_CUT_S:
            side = "after" if step.start > near else "before"
            out.append(
                f"step {step.id} starts {float(off):.3f} s {side} a scene cut; "
                f"write from: {_written(near)} or set snap: to move it there"
            )
    return tuple(out)


def _written(at: Fraction) -> str:
    """A time as a case file takes it, to the millisecond; rounded up, for a frame's start rounded
    down lies on the frame before."""
    return time_text(Fraction(-(-at * 1000 // 1), 1000))


def slow_peaks(film: TimeMap, speeds: Mapping[str, Fraction]) -> tuple[str, ...]:
    """A sentence for each step that is too short for its ramps to reach its speed."""
    peaks: dict[str, Fraction] = {}
    for piece in film.footage:
        if piece.step is not None:
            peaks[piece.step] = max(peaks.get(piece.step, Fraction(0)), *piece.speed)
    return tuple(
        f"step {step}: too short to reach {speed_text(speeds[step])}, runs at up to "
        f"{speed_text(peak)}; set a smaller ramp if it should be faster"
        for step, peak in peaks.items()
        if peak < speeds.get(step, Fraction(1)) * Fraction(9, 10)
    )


def make_plan(
    case: Case,
    line: Line,
    typical_gap_s: Fraction,
    cuts: Sequence[SceneCut] = (),
    takes: Sequence[SpokenTake] = (),
    pace: Fraction = USUAL_WPM,
) -> Plan:
    """Decide everything. ``cuts`` are needed only when the case asks for snapping.

    ``fast`` steps slow until their ``takes`` fit; a step whose take may hold its last picture is
    lengthened by it. Raises UnreachableLength when the wished length cannot be had, TakesTooLong
    for every take that does not fit.
    """
    steps = case.steps
    notes: tuple[str, ...] = ()
    if case.snap > 0:
        steps, notes = snap_steps(steps, cuts, case.snap)
    steps = no_faster_than(resolve_ends(steps, line.length), shortest_steps(takes))
    fps = case.fps or film_rate(typical_gap_s)
    holds: dict[str, Fraction] = {}
    while True:
        elements = film_elements(steps, line, holds=holds)
        speeds: SpeedPlan = plan_speeds(steps, elements, case.ramp, case.length)
        film = assemble(elements, line, speeds.speeds, case.ramp, fps, case.length)
        spoken = lay_takes(takes, step_places(steps, film), film.length, pace)
        if not spoken.holds:
            break
        for step, more in spoken.holds.items():
            holds[step] = holds.get(step, Fraction(0)) + more
    spoken.check()
    rows = step_times(steps, film, dict(speeds.speeds))
    return Plan(
        case=case,
        line=line,
        steps=steps,
        elements=elements,
        speeds=speeds.speeds,
        solved=speeds.solved,
        film=film,
        rows=rows,
        ledger=make_ledger(steps, film),
        notices=notes + slow_peaks(film, speeds.speeds),
        laid=spoken.laid,
    )


def step_places(steps: Sequence[Step], film: TimeMap) -> tuple[StepPlace, ...]:
    """Where each shown step lies in the film, in film order."""
    places = ((step.id, film.step_cut(step.id)) for step in steps)
    return tuple(StepPlace(step, cut) for step, cut in places if cut is not None)
