"""What is true of the demo recording, exactly: for tests, and for the table in README.md.

Times are seconds of recording time (both parts laid end to end) and fall on frames: each names
the first frame of the new state. They come from ``script`` alone, so they are what was drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from chapters.times import exact_text
from sample_clips import script

_ONE = Fraction(1)


def _at(second: float, scale: Fraction) -> Fraction:
    """Recording time of a script second, on the frame's own tick."""
    part, (_, first, _) = next(
        (i, p)
        for i, p in enumerate(script.PARTS)
        if p[1] <= second < p[2] or i + 1 == len(script.PARTS)
    )
    before = sum((part_length(i, scale) for i in range(part)), Fraction(0))
    ticks = round((Fraction(second) - first) * scale / script.TIME_BASE)
    return before + ticks * script.TIME_BASE


def part_length(part: int, scale: Fraction = _ONE) -> Fraction:
    """Exact length of one part in seconds."""
    return script.frame_stamps(part, scale)[1] * script.TIME_BASE


def scene_cuts(scale: Fraction = _ONE) -> tuple[tuple[Fraction, str], ...]:
    """The sudden changes of picture and what they are. The pause changes nothing that can be seen."""
    bench, back = script.BENCH_VIEW
    return (
        (_at(script.RADIOGRAPH_STOP, scale), "recorder stopped and started"),
        (_at(bench, scale), "view swapped to the bench"),
        (_at(back, scale), "view swapped back to the microscope"),
    )


def pause(scale: Fraction = _ONE) -> Fraction:
    """Where the recorder was paused while nothing moved."""
    return _at(script.PAUSE, scale)


def blue_light(scale: Fraction = _ONE) -> tuple[Fraction, Fraction]:
    """First frame of the curing light and first frame without it."""
    return _at(script.BLUE_LIGHT[0], scale), _at(script.BLUE_LIGHT[1], scale)


def still(scale: Fraction = _ONE) -> tuple[Fraction, Fraction]:
    """The stretch in which nothing moves; only the sensor's noise goes on."""
    return _at(script.STILL[0], scale), _at(script.STILL[1], scale)


def low_light(scale: Fraction = _ONE) -> tuple[tuple[Fraction, Fraction], ...]:
    """The stretches in which the camera runs at the lower rate."""
    dim = [(a, b) for a, b, fps in script.RATES if fps == script.DIM_FPS]
    joined: list[tuple[int, int]] = []
    for start, stop in dim:
        if joined and joined[-1][1] == start:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((start, stop))
    return tuple((_at(a, scale), _at(b, scale)) for a, b in joined)


def ticks(scale: Fraction = _ONE) -> tuple[Fraction, ...]:
    """When the explorer touches the floor: a tick is heard."""
    return tuple(_at(second, scale) for second in script.TICKS)


def _span(pair: Sequence[Fraction]) -> str:
    return f"{_s(pair[0])} to {_s(pair[1])}"


def _s(second: Fraction) -> str:
    return exact_text(second).removesuffix("000000") + " s"


def truth_table() -> str:
    """The truth as a Markdown table, as it stands in README.md."""
    rows = [
        (f"part {name}", f"length {_s(part_length(i))}")
        for i, (name, _, _) in enumerate(script.PARTS)
    ]
    rows += [("scene cut: " + what, _s(at)) for at, what in scene_cuts()]
    rows += [("recorder paused, nothing to be seen of it", _s(pause()))]
    rows += [("nothing moves", _span(still()))]
    rows += [("curing light (no scene cut)", _span(blue_light()))]
    rows += [
        (f"{script.DIM_FPS} instead of {script.NORMAL_FPS} frames a second", _span(s))
        for s in low_light()
    ]
    rows += [("audible ticks of the explorer", ", ".join(_s(t) for t in ticks()))]
    lines = ["| what | recording time |", "| --- | --- |"]
    return "\n".join(lines + [f"| {what} | {when} |" for what, when in rows]) + "\n"
