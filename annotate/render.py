"""The time map drawn: one pass from the recording to the teaching cut, memory flat.

Decoding and drawing run in one thread, encoding in another; a short queue lies between them.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Protocol, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from annotate.faces import Faces
from annotate.picture.overlay import OverlayFace
from annotate.progress import Report
from chapters.case import Still
from chapters.timemap import CardKind, Piece, TimeMap
from chapters.times import round_half_up

Plane = NDArray[np.uint8]
Planes = tuple[Plane, Plane, Plane]
T = TypeVar("T")

SOUND_RATE_HZ = 48000
AHEAD_FRAMES = 12


class Footage(Protocol):
    """Pictures by recording time, asked for in rising order."""

    def planes_at(self, r: Fraction) -> Planes:
        """Y, U and V of the picture at ``r``; they are copied before they are drawn on."""


class Inserts(Protocol):
    """Pictures that are laid in: cards and stills."""

    def card(self, kind: CardKind, t: Fraction) -> Planes:
        """The card's picture ``t`` seconds after it began."""

    def still(self, still: Still) -> Planes:
        """The still fitted to the film's size."""


class Drawer(Protocol):
    """Draws a face on planes in place."""

    def draw(self, y: Plane, u: Plane, v: Plane, face: OverlayFace) -> None:
        """Draw ``face`` over the picture."""


class Sink(Protocol):
    """Where pictures and sound go."""

    def write(self, y: Plane, u: Plane, v: Plane) -> None:
        """Take the next picture."""

    def write_sound(self, samples: NDArray[np.float32]) -> None:
        """Take the next sound, shape (n, 2)."""


@dataclass
class Renderer:
    """Draws any frames of the film. ``keep`` maps frame numbers to what is to be done with the clean picture."""

    film: TimeMap
    faces: Faces
    footage: Footage
    inserts: Inserts
    overlay: Drawer
    keep: dict[int, Callable[[Planes], None]] = field(default_factory=dict)

    def frames(self, first: int, last: int) -> Iterator[Planes]:
        """The planes of frames ``first`` (included) to ``last`` (not), overlay drawn."""
        for j in range(first, last):
            t = j / self.film.fps
            piece = self.film.piece_at(t)
            planes = self._clean(piece, t)
            if j in self.keep:
                self.keep[j](planes)
            face = self.faces.at(t)
            if face is not None:
                self.overlay.draw(*planes, face)
            yield planes

    def _clean(self, piece: Piece, t: Fraction) -> Planes:
        if piece.card is not None:
            return _copy(self.inserts.card(piece.card, t - piece.cut.start))
        if piece.still is not None:
            return _copy(self.inserts.still(piece.still))
        r = piece.recording_at(t)
        assert r is not None
        return _copy(self.footage.planes_at(r))


def _copy(planes: Planes) -> Planes:
    """Own planes to draw on: the same picture may be shown again."""
    y, u, v = planes
    return y.copy(), u.copy(), v.copy()


class _Ahead:
    """The thread behind ``ahead`` and the short queue between."""

    def __init__(self, items: Iterator[object], depth: int) -> None:
        self._items = items
        self._stop = threading.Event()
        self.waiting: queue.Queue[tuple[str, object]] = queue.Queue(depth)
        self._thread = threading.Thread(target=self._work, name="draw", daemon=True)
        self._thread.start()

    def _put(self, kind: str, value: object) -> bool:
        while not self._stop.is_set():
            try:
                self.waiting.put((kind, value), timeout=0.1)
            except queue.Full:
                continue
            return True
        return False

    def _work(self) -> None:
        try:
            for item in self._items:
                if not self._put("item", item):
                    return
        except BaseException as error:
            self._put("error", error)
        else:
            self._put("end", None)

    def stop(self) -> None:
        """Ask the thread to end and wait for it."""
        self._stop.set()
        self._thread.join()


def ahead(items: Iterator[T], depth: int = AHEAD_FRAMES) -> Iterator[T]:
    """Run an iterator in a thread, at most ``depth`` items ahead; its exception is raised here.

    Closing the returned iterator, also by leaving it early, stops the thread before it returns.
    """
    worker = _Ahead(items, depth)
    try:
        while True:
            kind, value = worker.waiting.get()
            if kind == "end":
                return
            if kind == "error":
                assert isinstance(value, BaseException)
                raise value
            yield cast(T, value)
    finally:
        worker.stop()


def render(
    renderer: Renderer,
    sink: Sink,
    sound: Iterator[NDArray[np.float32]],
    report: Report,
) -> None:
    """Draw the whole film into ``sink``. ``sound`` gives blocks of any length that add up to the film.

    Sound is handed over up to the end of each picture, so neither runs ahead of the other.
    """
    film = renderer.film
    total = film.frame_count
    pending = np.zeros((0, 2), np.float32)
    given = 0
    for j, planes in enumerate(ahead(renderer.frames(0, total))):
        sink.write(*planes)
        due = round_half_up(Fraction(j + 1) / film.fps * SOUND_RATE_HZ)
        while given + len(pending) < due:
            block = next(sound, None)
            if block is None:
                block = np.zeros((due - given - len(pending), 2), np.float32)
            pending = np.concatenate([pending, block]) if len(pending) else block
        sink.write_sound(pending[: due - given])
        pending = pending[due - given :]
        given = due
        report("drawing", j + 1, total)


def silence(samples: int) -> Iterator[NDArray[np.float32]]:
    """Stereo silence of the given length in blocks of a second."""
    while samples > 0:
        n = min(samples, SOUND_RATE_HZ)
        yield np.zeros((n, 2), np.float32)
        samples -= n
