"""Rates of the 1001 family against SMPTE ST 12-1.

Source: SMPTE ST 12-1:2014 "Time and Control Code", drop-frame compensation: of the labels at
30/1.001 frames a second the first two of every minute are left out, except in minutes divisible
by ten; at 60/1.001 the first four. From that follow 1798 labels in a minute, 17982 in ten minutes,
107892 in an hour and 2589408 in a day (twice as many at 60/1.001), and the known residuals: an
hour of counted frames without drops lasts 3603.6 s, an hour of drop-frame labels 3599.9964 s,
a day of them is 0.0864 s short.

The label function stands here, written from the standard; the program has none. What is held
against it are the program's own exact rates, its time map and its clock.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from annotate.plan import film_rate
from chapters.assemble import assemble, film_elements, make_line, resolve_ends
from chapters.case import Case, Part, Step
from chapters.fieldtext import frame_rate
from chapters.speedplan import plan_speeds
from chapters.timemap import TimeMap
from chapters.times import RecordingTime as R
from chapters.times import clock_text, exact_text, from_exact_text, milliseconds

pytestmark = pytest.mark.outside

HOUR, DAY = 3600, 24 * 3600
#: nominal rate -> (labels dropped a minute, per minute, per ten minutes, per hour, per day)
FIGURES = {
    30: (2, 1798, 17_982, 107_892, 2_589_408),
    60: (4, 3596, 35_964, 215_784, 5_178_816),
}


def label(frame: int, nominal: int) -> tuple[int, int, int, int]:
    """The drop-frame label (hours, minutes, seconds, frames) of a counted frame, from 00:00:00;00."""
    drop, minute, ten_minutes, *_ = FIGURES[nominal]
    tens, rest = divmod(frame, ten_minutes)
    # the first minute of ten keeps all its labels, each of the nine others lacks some
    minutes = 0 if rest < nominal * 60 else 1 + (rest - nominal * 60) // minute
    number = frame + drop * (9 * tens + minutes)
    seconds, frames = divmod(number, nominal)
    return seconds // HOUR, seconds // 60 % 60, seconds % 60, frames


def real_film(length: F, fps: F) -> TimeMap:
    """A film of one step in real time and nothing else."""
    steps = (Step("s", "S", R(F(0))),)
    case = Case("c", "C", (Part("p"),), steps)
    line = make_line(case, [length])
    resolved = resolve_ends(steps, line.length)
    elements = film_elements(resolved, line, title_s=F(0), closing_s=F(0))
    return assemble(elements, line, plan_speeds(resolved, elements, F(1)).speeds, F(1), fps)


def test_the_label_function_gives_the_standard_s_own_examples() -> None:
    """00:00:59;29 is followed by 00:01:00;02, 00:09:59;29 by 00:10:00;00; 1798 labels in a minute."""
    assert label(0, 30) == (0, 0, 0, 0)
    assert label(1799, 30) == (0, 0, 59, 29)
    assert label(1800, 30) == (0, 1, 0, 2)
    assert label(17_981, 30) == (0, 9, 59, 29)
    assert label(17_982, 30) == (0, 10, 0, 0)
    assert label(107_892, 30) == (1, 0, 0, 0)
    assert label(2_589_408, 30) == (24, 0, 0, 0)
    assert label(3599, 60) == (0, 0, 59, 59)
    assert label(3600, 60) == (0, 1, 0, 4)
    assert label(215_784, 60) == (1, 0, 0, 0)
    first = [j for j in range(3600) if label(j, 30)[1] == 1]
    assert len(first) == 1798
    seen = [label(j, 30) for j in range(20_000)]
    assert len(set(seen)) == len(seen) and seen == sorted(seen)
    assert not [x for x in seen if x[1] % 10 and x[2] == 0 and x[3] < 2]


@pytest.mark.parametrize(
    ("written", "nominal"), [("29.97", 30), ("30000/1001", 30), ("59.94", 60), ("60000/1001", 60)]
)
def test_a_written_rate_is_the_exact_one(written: str, nominal: int) -> None:
    """29.97 in a case file is 30/1.001 to the last digit, not 2997/100."""
    assert frame_rate(written) == F(nominal * 1000, 1001)


@pytest.mark.parametrize("nominal", FIGURES)
def test_an_hour_of_film_has_the_standard_s_number_of_frames(nominal: int) -> None:
    """107892 frames, 3.6 ms short of the hour; 86.4 ms a day; 3603.6 s where nothing is dropped."""
    drop, minute, ten_minutes, hour, day = FIGURES[nominal]
    fps = frame_rate(f"{nominal * 1000}/1001")
    assert F(HOUR) * fps // 1 == hour
    film = real_film(F(hour) / fps, fps)
    assert (film.frame_count, film.length) == (hour, F(hour * 1001, nominal * 1000))
    assert float(film.length) == pytest.approx(3599.9964, abs=1e-9)
    assert F(DAY) - F(day) / fps == F(864, 10_000)
    assert F(nominal * HOUR) / fps == F(36_036, 10)
    assert (60 * nominal - drop, 600 * nominal - 9 * drop) == (minute, ten_minutes)


@pytest.mark.parametrize("nominal", FIGURES)
def test_the_clock_stays_with_the_labels_for_an_hour(nominal: int) -> None:
    """No label is off by what is dropped a minute, two frames of 30; 3.6 ms are left after the hour.

    Labels run behind by up to 60 ms in a minute until some are left out (ST 12-1's compensation);
    our clock is the exact time of the frame.
    """
    drop, *_, hour, _ = FIGURES[nominal]
    fps = F(nominal * 1000, 1001)
    film = real_film(F(hour + 1) / fps, fps)
    worst = F(0)
    for j in range(0, hour + 1, 1 if nominal == 30 else 7):
        h, m, s, f = label(j, nominal)
        of_label = h * HOUR + m * 60 + s + F(f, nominal)
        off = of_label - j / fps
        worst = max(worst, abs(off))
        if j % 1000 == 0 or f < drop:
            clinical = film.clinical_at(j / fps)
            assert clinical == j / fps
            apart = abs(_seconds(clock_text(clinical)) - (h * HOUR + m * 60 + s))
            assert apart <= 1
            if abs(j / fps % 1 - F(1, 2)) < F(1, 4):  # away from the second's border
                assert apart == 0
    assert F(1, 20) < worst < F(drop, nominal)
    assert F(HOUR) - hour / fps == F(36, 10_000)


def _seconds(clock: str) -> int:
    h, m, s = clock.split(":")
    return int(h) * HOUR + int(m) * 60 + int(s)


def test_frame_times_of_a_day_lose_nothing() -> None:
    """The last frame of a day at 30/1.001, as the time map has it, as text and back: exact.

    2589409 x 1001 / 30000 = 86399.946966...
    """
    fps = F(30_000, 1001)
    count = 2_589_410
    film = real_film(count / fps, fps)
    assert film.frame_count == count
    last = F(count - 1) / fps
    assert film.recording_at(last) == last
    assert milliseconds(last) == 86_399_947
    assert from_exact_text(exact_text(last)) == last


def test_a_recorder_of_the_1001_family_gets_a_film_of_its_rate() -> None:
    """Frames 1001/30000 s apart are shown at 30/1.001 and not at 30: no frame is doubled in an hour."""
    assert film_rate(F(1001, 30_000)) == F(30_000, 1001)
    assert film_rate(F(1001, 60_000)) == F(30_000, 1001)
    assert film_rate(F(1001, 24_000)) == F(24_000, 1001)
    fps = film_rate(F(1001, 30_000))
    film = real_film(F(107_892) / fps, fps)
    shown = [film.recording_at(j / fps) for j in range(0, 107_892, 97)]
    assert shown == [F(j * 1001, 30_000) for j in range(0, 107_892, 97)]
