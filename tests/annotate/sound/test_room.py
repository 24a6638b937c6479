"""The room's sound in step with the film: own samples in real time, quickened up to 2×, else none."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from annotate.sound.room import film_sound, sound_runs
from chapters.spans import Span
from chapters.timemap import Line, PartSpan, Piece, TimeMap
from tests.annotate.sound.clips import Floats

F = Fraction
RATE_HZ = 48_000


class FakeRoom:
    """A room whose left channel tells the recording time in units of 100 s, the right one a tone."""

    length = F(100)

    def read(self, start: Fraction, count: int) -> Floats:
        at = float(start) + np.arange(count) / RATE_HZ
        return np.stack([at / 100, 0.2 * np.sin(2 * np.pi * 440 * at)], axis=1).astype(np.float32)


def film(*pieces: tuple[float, float, float | None, float, float]) -> TimeMap:
    """(cut start, cut end, recording start or None for a card, speed at start, at end) in a row."""
    out = []
    for start, end, recording, s0, s1 in pieces:
        cut = Span(F(str(start)), F(str(end)))
        speed = (F(str(s0)), F(str(s1)))
        if recording is None:
            out.append(Piece("card", cut, None, None, speed, card="title"))
            continue
        r0 = F(str(recording))
        span = Span(r0, r0 + cut.length * (speed[0] + speed[1]) / 2)
        out.append(Piece("footage", cut, span, span, speed, step="a"))
    line = Line((PartSpan("a.mp4", F(0), F(100), F(0)),), ())
    return TimeMap(F(25), line, tuple(out))


def sound(made: TimeMap) -> Floats:
    return np.concatenate(list(film_sound(made, FakeRoom())))


def test_real_time_is_the_recordings_own_sample() -> None:
    """Behind a card of 2 s the sample at 5 s is the recording's at 13 s, exactly placed."""
    out = sound(film((0, 2, None, 0, 0), (2, 8, 10, 1, 1)))

    assert len(out) == 8 * RATE_HZ
    assert not out[: 2 * RATE_HZ].any()
    assert out[5 * RATE_HZ, 0] * 100 == pytest.approx(13.0, abs=1e-4)


def test_faster_than_twice_is_silent() -> None:
    """A piece at 8× has no sound at all; the real-time piece after it has."""
    out = sound(film((0, 3, 0, 8, 8), (3, 5, 24, 1, 1)))

    assert not out[: 3 * RATE_HZ].any()
    assert np.abs(out[4 * RATE_HZ :]).max() > 0.1


def test_up_to_twice_is_quickened_at_its_own_pitch() -> None:
    """A piece at 1.5× tells the right recording time within 10 ms, its tone still at 440 Hz."""
    out = sound(film((0, 6, 20, 1.5, 1.5)))

    for t in (1.0, 2.5, 4.75):
        assert out[round(t * RATE_HZ), 0] * 100 == pytest.approx(20 + 1.5 * t, abs=0.0155)
    tone = out[RATE_HZ : 3 * RATE_HZ, 1]
    assert abs(int(np.abs(np.fft.rfft(tone * np.hanning(len(tone)))).argmax()) - 880) <= 1


def test_a_ramp_is_heard_to_the_speed_of_two_and_no_further() -> None:
    """A ramp from 1× to 8× is heard until it passes 2×; the way back from there on again."""
    made = film((0, 1, 0, 1, 1), (1, 2, 1, 1, 8), (2, 4, 5.5, 8, 8), (4, 5, 21.5, 8, 1))

    runs = sound_runs(made)

    assert [bool(run.pieces) for run in runs] == [True, True, False, True]
    up, down = made.pieces[1], made.pieces[3]
    assert up.speed_at(runs[1].end) == pytest.approx(2, abs=0.001)
    assert down.speed_at(runs[3].start) == pytest.approx(2, abs=0.001)
    assert len(sound(made)) == 5 * RATE_HZ


def test_sound_runs_on_over_pieces_that_join_and_breaks_where_they_do_not() -> None:
    """Two real-time pieces in a row are one run; a jump of the recording begins another."""
    made = film((0, 2, 0, 1, 1), (2, 4, 2, 1, 1), (4, 6, 50, 1, 1))

    assert [(run.start, run.end) for run in sound_runs(made)] == [(0, 4), (4, 6)]


def test_far_along_a_film_the_sound_is_still_at_its_sample() -> None:
    """After 50 pieces of a third of a second each, sample for sample where it belongs."""
    third = F(1, 3)
    pieces = [
        Piece("footage", Span(i * third, (i + 1) * third), span, span, (F(1), F(1)), step="a")
        for i in range(50)
        for span in [Span(F(i), F(i) + third)]
    ]
    made = TimeMap(F(30), Line((PartSpan("a.mp4", F(0), F(100), F(0)),), ()), tuple(pieces))

    out = sound(made)

    t = 49 * third + F(1, 6)
    assert out[round(t * RATE_HZ), 0] * 100 == pytest.approx(float(49 + F(1, 6)), abs=1e-3)
