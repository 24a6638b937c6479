"""Progress lines: rewritten on a terminal, plain and rare elsewhere."""

from __future__ import annotations

import io

from annotate.progress import ProgressLine


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
