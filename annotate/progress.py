"""Progress for people and for logs: a line that is rewritten on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Protocol, TextIO

#: ``report(stage, done, total)``; ``total`` 0 means: not known.
Report = Callable[[str, float, float], None]

PLAIN_EVERY_S = 15.0
TERMINAL_EVERY_S = 0.2


class Clock(Protocol):
    """Anything that tells seconds that only rise."""

    def __call__(self) -> float: ...


def silent(stage: str, done: float, total: float) -> None:
    """Say nothing."""


class ProgressLine:
    """Writes progress to a text stream. On a terminal one line is rewritten, else one line every 15 s."""

    def __init__(
        self, name: str, stream: TextIO | None = None, clock: Clock = time.monotonic
    ) -> None:
        self._name = name
        self._stream = stream if stream is not None else sys.stderr
        self._live = self._stream.isatty()
        self._clock = clock
        self._stage = ""
        self._began = self._last = 0.0

    def __call__(self, stage: str, done: float, total: float) -> None:
        """Report ``done`` of ``total`` of a stage."""
        now = self._clock()
        fresh = stage != self._stage
        if fresh:
            self._stage, self._began, self._last = stage, now, now
        every = TERMINAL_EVERY_S if self._live else PLAIN_EVERY_S
        if not fresh and now - self._last < every and done < total:
            return
        if not fresh and not self._live and now - self._last < every:
            return
        self._last = now
        self._write(self._text(done, total, now))

    def _text(self, done: float, total: float, now: float) -> str:
        text = f"{self._name}: {self._stage}"
        if total > 0 and done > 0:
            share = min(1.0, done / total)
            left = (now - self._began) * (1 - share) / share
            text += f" {share:4.0%}"
            if share < 1 and left >= 1:
                text += f", about {int(left) // 60}:{int(left) % 60:02d} left"
        return text

    def _write(self, text: str) -> None:
        if self._live:
            self._stream.write(f"\r\x1b[K{text}")
        else:
            self._stream.write(text + "\n")
        self._stream.flush()

    def end(self) -> None:
        """Leave a clean line behind."""
        if self._live and self._stage:
            self._stream.write("\r\x1b[K")
            self._stream.flush()
