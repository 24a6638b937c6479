"""What happens when: the whole demo recording as tables, and its truth as exact time stamps.

Seconds here are script seconds, counted along both parts laid end to end (at scale 1 they are
recording time). Places are millimetres on the tooth, x to the right, y down, centre (0, 0).
Everything drawn or heard is read from these tables, and so is the truth that tests use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import cos, pi, sin
from random import Random

from sample_clips.tooth import PERFORATION_MM, Stage

#: Second, x mm, y mm, angle in degrees.
Row = tuple[float, float, float, float]
TIME_BASE = Fraction(1, 90000)
SEED = 36
#: The two files and the script seconds they hold.
PARTS = (("scope-001.mp4", 0, 110), ("scope-002.mp4", 110, 245))
#: Frames a second: the camera halves its rate when the light is low.
NORMAL_FPS, DIM_FPS = 25, 15
#: Stretches (from, to, frames a second); each begins with a frame exactly on its second.
RATES = (
    (0, 110, NORMAL_FPS),
    (110, 126, NORMAL_FPS),
    (126, 144, DIM_FPS),
    (144, 180, NORMAL_FPS),
    (180, 181, DIM_FPS),
    (181, 193, DIM_FPS),
    (193, 206, DIM_FPS),
    (206, 223, NORMAL_FPS),
    (223, 229, NORMAL_FPS),
    (229, 245, NORMAL_FPS),
)
#: The recorder stood still here for a radiograph, between the two parts.
RADIOGRAPH_STOP = 110
#: The recorder was paused here inside the second part while the cement set.
PAUSE = 193
#: The picture swaps to the bench camera and back.
BENCH_VIEW = (126, 144)
#: The curing light shines.
BLUE_LIGHT = (223, 229)
#: Nothing moves (the sensor's noise goes on).
STILL = (181, 206)
#: The explorer touches the floor with an audible tick.
TICKS = (46.0, 48.5, 51.0, 53.5, 56.0, 115.0, 118.0, 121.0, 239.0, 241.0)
#: The curing light beeps.
BEEPS = (223.0, 229.0)


@dataclass(frozen=True)
class Track:
    """Values at moments, eased (3u^2 - 2u^3) between them and held outside."""

    keys: tuple[tuple[float, float], ...]

    def at(self, second: float) -> float:
        """The value at a script second."""
        if second <= self.keys[0][0]:
            return self.keys[0][1]
        for (t0, v0), (t1, v1) in pairwise(self.keys):
            if second < t1:
                u = (second - t0) / (t1 - t0)
                return v0 + (v1 - v0) * u * u * (3 - 2 * u)
        return self.keys[-1][1]


@dataclass(frozen=True)
class Pass:
    """One instrument coming in, working and leaving: rows of second, x, y, angle (degrees)."""

    tool: str
    rows: tuple[Row, ...]
    shake_mm: float = 0.012
    quiver_mm: float = 0.0

    def at(self, second: float) -> tuple[float, float, float] | None:
        """Tip x, y and the handle's angle, or None while the instrument is away."""
        if not self.rows[0][0] <= second < self.rows[-1][0]:
            return None
        for row, after in pairwise(self.rows):
            if second < after[0]:
                u = (second - row[0]) / (after[0] - row[0])
                u = u * u * (3 - 2 * u)
                x, y, angle = (a + (b - a) * u for a, b in zip(row[1:], after[1:], strict=True))
                return x, y, angle
        return None


ZOOM = Track(
    ((0, 52), (34.5, 52), (37, 92), (109.9, 92), (110, 84), (144, 94), (231, 94), (235, 52))
)
CENTRE_X = Track(((0, 0.4), (34.5, 0.4), (37, 0.15), (109.9, 0.15), (110, 0.45), (143.9, 0.45),
                  (144, 0.2), (231, 0.2), (235, 0.4)))  # fmt: skip
CENTRE_Y = Track(
    ((0, 0.2), (34.5, 0.2), (37, -0.1), (109.9, -0.1), (110, 0.1), (231, 0.1), (235, 0))
)
TURN = Track(((0, -3), (109.9, -3), (110, 2), (245, 2)))
FOCUS = Track(
    ((0, -6.2), (2.2, -6.2), (4.2, 0.0), (5.0, -1.0), (36, -1.0), (38.5, -6.2), (39.2, -4.6),
     (40, -6.2), (109.9, -6.2), (110, -5.4), (112, -6.2), (207, -6.2), (209, -5.6), (231, -5.6),
     (234, -2.6), (236, -0.4), (237, -1.2))
)  # fmt: skip
EXPOSURE = Track(
    ((0, 1.25), (3, 1.0), (35, 1.0), (37, 0.74), (39.5, 1.04), (43, 1.0), (110, 1.12), (112, 1.0),
     (144, 1.0), (178, 1.0), (180, 0.68), (206, 0.68), (207.5, 1.06), (209, 1.0), (231, 1.0),
     (235, 1.07), (237, 0.97))
)  # fmt: skip
TREMOR = Track(
    ((0, 5), (4, 1), (34, 1), (35.5, 4), (38, 1), (178, 1), (180.5, 0), (206, 0), (207, 1),
     (231, 1), (233, 3), (236, 1))
)  # fmt: skip
LIQUID = Track(((66, 0), (70, 1), (95, 1), (99, 0)))
SPRAY = Track(
    ((67.5, 0), (68, 1), (78, 1), (78.5, 0.1), (80.5, 0.1), (81, 1), (94.5, 1), (95.2, 0))
)

_START = Stage("as found", gel=0.8, debris=1)
_RINSED = Stage("rinsed", gel=0.35, debris=0.4)
_CLEAN = Stage("clean")
_FIRST = Stage("first increment", cement=0.30, wet=0.7)
_SECOND = Stage("second increment", cement=0.62, wet=0.8)
_THIRD = Stage("third increment", cement=1.0, wet=0.9)
_PACKED = Stage("packed", cement=1.0, wet=0.45)
_SET = Stage("set", cement=1.0, wet=0.12)
_FLOW = Stage("cover begun", cement=1.0, wet=0.12, cover=0.45)
_COVERED = Stage("covered", cement=1.0, wet=0.12, cover=1.0)
_CURED = Stage("cured", cement=1.0, wet=0.12, cover=1.0, cured=1.0)
#: From each second on the picture goes over to the stage within so many seconds.
STAGES = (
    (0.0, 0.0, _START),
    (70.0, 10.0, _RINSED),
    (82.0, 10.0, _CLEAN),
    (149.3, 0.8, _FIRST),
    (158.3, 0.8, _SECOND),
    (167.3, 0.8, _THIRD),
    (171.0, 5.0, _PACKED),
    (193.0, 0.0, _SET),
    (211.5, 3.0, _FLOW),
    (215.0, 4.0, _COVERED),
    (224.0, 3.0, _CURED),
)


def stage_at(second: float) -> tuple[Stage, Stage, float]:
    """The stage before, the stage after and how far the change has come, 0..1."""
    before = after = STAGES[0][2]
    share = 1.0
    for start, lasts, stage in STAGES:
        if second < start:
            break
        before, after = after, stage
        share = min((second - start) / lasts, 1.0) if lasts else 1.0
    return before, after, share


def _ring(start: float, stop: float, radius: float, turns: float, angle: float) -> list[Row]:
    """Rows going round the perforation, a little unevenly."""
    count = max(int((stop - start) / 0.55), 2)
    rows: list[Row] = []
    for i in range(count + 1):
        turn = 2 * pi * turns * i / count
        wide = radius * (1 + 0.25 * sin(2.3 * i))
        x, y = PERFORATION_MM[0] + wide * cos(turn), PERFORATION_MM[1] + 0.8 * wide * sin(turn)
        rows.append((start + (stop - start) * i / count, x, y, angle))
    return rows


def _taps(
    seconds: Sequence[float], angle: float, places: Sequence[tuple[float, float]]
) -> list[Row]:
    """Rows that lift before each second and touch on it."""
    rows: list[Row] = []
    for second, (x, y) in zip(seconds, places, strict=False):
        rows.append((second - 0.7, x + 0.35, y + 0.18, angle))
        rows += [(second, x, y, angle), (second + 0.6, x, y, angle)]
    return rows


_HOLE = ((0.2, -0.5), (0.7, -0.3), (0.45, 0.05), (0.0, -0.15), (0.35, -0.25))
_NECK = ((24.0, 5.3, 2.4, 38), (26.5, 3.4, 4.6, 50), (29.0, 0.6, 5.2, 62), (31.0, -2.6, 4.9, 70))
PASSES = (
    Pass("suction", ((2, -9, 8, 140), (4, -6.0, 4.4, 140), (18, -5.7, 4.9, 138), (32, -6.0, 4.3, 141), (33.8, -10, 8, 140))),
    Pass("air", ((7, 9, -8, -35), (8.5, 5.0, -3.4, -32), (11, 4.6, 1.0, -20), (14, 5.4, -3.0, -34), (17, 2.6, -4.6, -50), (19, 5, -3.4, -34), (20.5, 10, -8, -35))),
    Pass("explorer", ((21.5, 9, 7, 35), *_NECK, (33.5, 6, 10, 50))),
    Pass("mirror", ((40.5, -8, 4, 170), (42.5, -3.35, 1.35, 172), (50, -3.2, 1.5, 170), (60, -3.4, 1.3, 173), (62, -8.5, 4.2, 170))),
    Pass("explorer", ((43, 6, 4, 32), *_taps(TICKS[:5], 32, _HOLE), (59, 0.5, -0.1, 32), (61, 6.5, 4.5, 32))),
    Pass("suction", ((65, -7, 6, 145), (67, -3.1, 2.55, 145), (80, -2.9, 2.7, 142), (99, -3.2, 2.5, 146), (101, -8, 7, 145))),
    Pass("ultrasonic", ((65.5, 6.5, -4, -24), (67.3, 0.9, -0.5, -24), *_ring(68, 78, 0.62, 4, -25), *_ring(80.5, 94.6, 0.55, 6, -22), (96.6, 7, -5, -24)), quiver_mm=0.03),
    Pass("air", ((97.5, 7, -5, -40), (99.2, 3.0, -1.9, -38), (103, 2.7, -1.6, -40), (105, 3.1, -2.0, -36), (106.6, 8, -6, -40))),
    Pass("explorer", ((112.4, 6, 4, 30), *_taps(TICKS[5:8], 28, _HOLE[1:]), (122.6, 0.6, -0.2, 28), (124.4, 6.5, 4.5, 30))),
    *(
        Pass(tool, tuple((row[0] + shift, *row[1:]) for row in rows))
        for shift in (0, 9, 18)
        for tool, rows in (
            ("loaded carrier", ((146.0, 6.5, 2.2, 16), (148.4, 0.55, -0.2, 14), (149.6, 0.42, -0.25, 12))),
            ("carrier", ((149.6, 0.42, -0.25, 12), (150.2, 0.7, -0.15, 13), (151.4, 7, 2.4, 16))),
        )
    ),
    *(
        Pass("plugger", ((start, 6, -3.4, -30), (start + 1.0, 0.7, -0.4, -28), *_ring(start + 1.2, stop - 1, 0.26, 1.5, -27), (stop, 6.5, -4, -30)))
        for start, stop in ((151.2, 155.2), (160.2, 164.2), (169.2, 178.0))
    ),
    Pass("syringe", ((208.5, 6, 3.5, 24), (210.8, 0.9, 0.1, 22), (213.5, 0.0, -0.5, 20), (215.5, 0.9, 0.5, 24), (218.8, -0.7, 0.3, 22), (220.6, 7, 4, 24))),
    Pass("light", ((221, 2.5, -9, -82), (222.6, 0.4, -2.7, -86), (229.4, 0.5, -2.8, -86), (230.8, 3, -9, -82))),
    Pass("explorer", ((236.4, 9, 6, 40), *_taps(TICKS[8:], 36, ((0.2, -0.2), (-0.9, 0.4))), (242, -0.5, 0.3, 36), (244, 8, 7, 40))),
    Pass("mirror", ((237, -10, 3, 176), (238.6, -5.6, 1.2, 178), (243, -5.4, 1.4, 177), (244.8, -10, 3.4, 176))),
)  # fmt: skip


def where(tool: str, second: float, else_at: tuple[float, float]) -> tuple[float, float]:
    """Where an instrument's tip is, or ``else_at`` while it is away."""
    for passing in PASSES:
        at = passing.at(second) if passing.tool == tool else None
        if at is not None:
            return at[0], at[1]
    return else_at


def frame_stamps(part: int, scale: Fraction = Fraction(1)) -> tuple[tuple[int, ...], int]:
    """Presentation time stamps of a part in ticks of ``TIME_BASE`` from 0, and its length in ticks.

    The camera's clock jitters by up to half a millisecond, except on the first frame of a rate.
    """
    _, first, last = PARTS[part]
    random = Random(SEED + part)
    stamps = []
    for start, stop, fps in RATES:
        if not first <= start < last:
            continue
        begin = round((start - first) * scale / TIME_BASE)
        end = round((stop - first) * scale / TIME_BASE)
        gap = Fraction(1, fps) / TIME_BASE
        count = -(-(end - begin) // gap)
        jitter = [0] + [random.randint(-45, 45) for _ in range(int(count) - 1)]
        stamps += [begin + round(i * gap) + jitter[i] for i in range(int(count))]
    return tuple(stamps), round((last - first) * scale / TIME_BASE)
