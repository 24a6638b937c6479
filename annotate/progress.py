"""Progress for people, logs and scripts: a line rewritten on a terminal, plain lines, JSON events."""

from __future__ import annotations

import json
import sys
import time
from collections import deque
from collections.abc import Callable
from typing import Protocol, TextIO, runtime_checkable

#: ``report(stage, done, total)``; ``total`` 0 means: not known.
Report = Callable[[str, float, float], None]

#: The stage whose ``done`` and ``total`` are frames of the film.
DRAWING = "drawing"
#: The pace is taken over this time: kept segments at the start would promise too much.
PACE_OVER_S = 30.0
EVENTS_EVERY_S = 1.0
PLAIN_EVERY_S = 15.0
TERMINAL_EVERY_S = 0.2


class Clock(Protocol):
    """Anything that tells seconds that only rise."""

    def __call__(self) -> float: ...


def silent(stage: str, done: float, total: float) -> None:
    """Say nothing."""


@runtime_checkable
class KnowsFilm(Protocol):
    """A report that tells the speed against real time once it knows the film's rate."""

    def film_rate(self, fps: float) -> None: ...


def tell_film_rate(report: Report, fps: float) -> None:
    """Tell a report the film's frames per second, where it can make use of them."""
    if isinstance(report, KnowsFilm):
        report.film_rate(fps)


class Pace:
    """How fast a stage goes, over the last while."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._stage = ""
        self._seen: deque[tuple[float, float]] = deque()

    def see(self, stage: str, done: float) -> None:
        """Note how far a stage is."""
        now = self._clock()
        if stage != self._stage:
            self._stage = stage
            self._seen.clear()
        self._seen.append((now, done))
        while len(self._seen) > 2 and now - self._seen[0][0] > PACE_OVER_S:
            self._seen.popleft()

    @property
    def per_s(self) -> float:
        """Units of ``done`` a second; 0 while it is not known."""
        (t0, d0), (t1, d1) = self._seen[0], self._seen[-1]
        return (d1 - d0) / (t1 - t0) if t1 > t0 else 0.0

    def left_s(self, total: float) -> float | None:
        """Seconds until ``total``; None while it is not known."""
        return (total - self._seen[-1][1]) / self.per_s if self.per_s > 0 else None


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
        self._last = 0.0
        self._pace = Pace(clock)
        self._fps = 0.0

    def film_rate(self, fps: float) -> None:
        """From now on the speed of drawing is told against real time."""
        self._fps = fps

    def __call__(self, stage: str, done: float, total: float) -> None:
        """Report ``done`` of ``total`` of a stage."""
        now = self._clock()
        fresh = stage != self._stage
        if fresh:
            self._stage, self._last = stage, now
        self._pace.see(stage, done)
        every = TERMINAL_EVERY_S if self._live else PLAIN_EVERY_S
        if not fresh and now - self._last < every and done < total:
            return
        if not fresh and not self._live and now - self._last < every:
            return
        self._last = now
        self._write(self._text(done, total))

    def _text(self, done: float, total: float) -> str:
        text = f"{self._name}: {self._stage}"
        if total > 0 and done > 0:
            text += f" {min(1.0, done / total):4.0%}"
            if self._stage == DRAWING and self._fps:
                text += f", {done:.0f} of {total:.0f} frames"
                if self._pace.per_s > 0:
                    text += f", {self._pace.per_s / self._fps:.1f}x real time"
            left = self._pace.left_s(total)
            if left is not None and left >= 1:
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


class ProgressEvents:
    """Writes progress as one JSON object a line, for scripts: at most one a second for each stage.

    Keys: ``event`` (always "progress"), ``case``, ``stage``, ``done``, ``total`` (0: not known),
    ``per_s``, ``left_s`` (null: not known), and while drawing ``real_time``: film seconds made in
    a second.
    """

    def __init__(
        self, name: str, stream: TextIO | None = None, clock: Clock = time.monotonic
    ) -> None:
        self._name, self._clock = name, clock
        self._stream = stream if stream is not None else sys.stderr
        self._stage, self._last, self._fps = "", 0.0, 0.0
        self._pace = Pace(clock)

    def film_rate(self, fps: float) -> None:
        """From now on the speed of drawing is told against real time."""
        self._fps = fps

    def __call__(self, stage: str, done: float, total: float) -> None:
        """Report ``done`` of ``total`` of a stage."""
        now = self._clock()
        self._pace.see(stage, done)
        if (
            stage == self._stage
            and now - self._last < EVENTS_EVERY_S
            and (done < total or not total)
        ):
            return
        self._stage, self._last = stage, now
        left = self._pace.left_s(total) if total > 0 else None
        event: dict[str, object] = {
            "event": "progress",
            "case": self._name,
            "stage": stage,
            "done": done,
            "total": total,
            "per_s": round(self._pace.per_s, 2),
            "left_s": None if left is None else round(left, 1),
        }
        if stage == DRAWING and self._fps:
            event["real_time"] = round(self._pace.per_s / self._fps, 2)
        self._stream.write(json.dumps(event, ensure_ascii=False) + "\n")
        self._stream.flush()

    def end(self) -> None:
        """Nothing is left open."""
