"""The time map drawn: any stretch of the film as planes, from pictures by time, inserts and faces."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from annotate.faces import Faces
from annotate.picture.overlay import OverlayFace
from chapters.case import Still
from chapters.timemap import CardKind, Piece
from chapters.times import CutTime

Plane = NDArray[np.uint8]
Planes = tuple[Plane, Plane, Plane]

SOUND_RATE_HZ = 48000


class Footage(Protocol):
    """Pictures by recording time, asked for in rising order."""

    def planes_at(
        self, r: Fraction, into: Planes | None = None, then: Fraction | None = None
    ) -> Planes:
        """Y, U and V of the picture at ``r``: arrays that may be drawn on, fresh or ``into``.

        ``then``: the ``r`` that is asked for next, where it is known.
        """


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


@dataclass(frozen=True)
class Renderer:
    """Draws any frames of the film, overlay included."""

    faces: Faces
    footage: Footage
    inserts: Inserts
    overlay: Drawer

    def frames(
        self, first: int, last: int, canvas: Callable[[], Planes | None] = lambda: None
    ) -> Iterator[Planes]:
        """The planes of frames ``first`` (included) to ``last`` (not).

        ``canvas`` is asked before each frame for planes to draw it into; None: fresh ones.
        """
        film = self.faces.film
        for j in range(first, last):
            t = j / film.fps
            piece = film.piece_at(t)
            then = self._fast_on(piece, t) if j + 1 < last else None
            planes = self._clean(piece, t, canvas(), then)
            face = self.faces.at(t)
            if face is not None:
                self.overlay.draw(*planes, face)
            yield planes

    def _fast_on(self, piece: Piece, t: Fraction) -> Fraction | None:
        """Where the next frame is taken from, while the film runs fast."""
        after = t + 1 / self.faces.film.fps
        fast = piece.kind == "footage" and not piece.is_real and after < piece.cut.end
        return piece.recording_at(CutTime(after)) if fast else None

    def _clean(
        self, piece: Piece, t: Fraction, into: Planes | None, then: Fraction | None
    ) -> Planes:
        if piece.card is not None:
            return _copy(self.inserts.card(piece.card, t - piece.cut.start), into)
        if piece.still is not None:
            return _copy(self.inserts.still(piece.still), into)
        r = piece.recording_at(t)
        assert r is not None
        return self.footage.planes_at(r, into, then)


def _copy(planes: Planes, into: Planes | None) -> Planes:
    """Own planes to draw on: an insert is shown again and again."""
    if into is None:
        y, u, v = planes
        return y.copy(), u.copy(), v.copy()
    for own, plane in zip(into, planes, strict=True):
        np.copyto(own, plane)
    return into


def silence(samples: int) -> Iterator[NDArray[np.float32]]:
    """Stereo silence of the given length in blocks of a second."""
    while samples > 0:
        n = min(samples, SOUND_RATE_HZ)
        yield np.zeros((n, 2), np.float32)
        samples -= n
