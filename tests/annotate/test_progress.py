"""Progress lines: rewritten on a terminal, plain and rare elsewhere."""

from __future__ import annotations

import io
import json

from annotate.progress import PACE_OVER_S, ProgressEvents, ProgressLine, tell_film_rate


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        """Always."""
        return True


def test_plain_lines_come_at_each_stage_and_every_fifteen_seconds() -> None:
    """A log is not flooded."""
    now = [0.0]
    out = io.StringIO()
    line = ProgressLine("bench-03", out, lambda: now[0])
    for second in range(31):
        now[0] = float(second)
        line("drawing", second, 60)
    line("checking", 0, 0)
    assert out.getvalue().splitlines() == [
        "bench-03: drawing",
        "bench-03: drawing  25%, about 0:45 left",
        "bench-03: drawing  50%, about 0:30 left",
        "bench-03: checking",
    ]


def test_a_terminal_line_is_rewritten_and_left_clean() -> None:
    """The cursor goes back to the line's start; at the end nothing of it stays."""
    now = [0.0]
    out = Terminal()
    line = ProgressLine("x", out, lambda: now[0])
    line("drawing", 0, 10)
    now[0] = 1.0
    line("drawing", 5, 10)
    line.end()
    assert out.getvalue() == "\r\x1b[Kx: drawing\r\x1b[Kx: drawing  50%, about 0:01 left\r\x1b[K"


def test_a_film_is_told_in_frames_and_against_real_time() -> None:
    """60 frames a second of a film of 30 are twice real time; what was kept does not count as pace."""
    now = [0.0]
    out = io.StringIO()
    line = ProgressLine("x", out, lambda: now[0])
    tell_film_rate(line, 30.0)
    line("drawing", 3000, 6600)  # kept from the last run
    for second in range(1, 31):
        now[0] = float(second)
        line("drawing", 3000 + 60 * second, 6600)
    assert out.getvalue().splitlines()[1:] == [
        "x: drawing  59%, 3900 of 6600 frames, 2.0x real time, about 0:45 left",
        "x: drawing  73%, 4800 of 6600 frames, 2.0x real time, about 0:30 left",
    ]


def test_the_pace_forgets_what_was_long_ago() -> None:
    """After a fast start the time left follows the last half minute."""
    now = [0.0]
    out = io.StringIO()
    events = ProgressEvents("x", out, lambda: now[0])
    for second in range(121):
        now[0] = float(second)
        events("drawing", second * 100 if second < 60 else 6000 + (second - 60), 7000)
    last = json.loads(out.getvalue().splitlines()[-1])
    assert last["per_s"] == 1.0 and last["left_s"] == 940.0
    assert now[0] > PACE_OVER_S


def test_events_are_json_lines_at_most_one_a_second() -> None:
    """Each stage begins with one, ends with one; a script can parse every line."""
    now = [0.0]
    out = io.StringIO()
    events = ProgressEvents("bench-03", out, lambda: now[0])
    tell_film_rate(events, 25.0)
    events("reading the recording", 0, 0)
    for tick in range(41):
        now[0] = tick / 10
        events("drawing", tick * 5, 200)
    told = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [e["stage"] for e in told] == ["reading the recording"] + ["drawing"] * 5
    assert told[0]["left_s"] is None and told[0]["total"] == 0
    assert told[-1]["done"] == told[-1]["total"] == 200
    assert told[-1]["real_time"] == 2.0 and told[2]["left_s"] == 3.0
    assert all(e["event"] == "progress" and e["case"] == "bench-03" for e in told)
