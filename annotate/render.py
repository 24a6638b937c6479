"""The time map drawn: any stretch of the film as planes, from pictures by time, inserts and faces."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from annotate.faces import Faces
from annotate.picture.overlay import OverlayFace
from chapters.case import Still
from chapters.timemap import CardKind, Piece

Plane = NDArray[np.uint8]
Planes = tuple[Plane, Plane, Plane]

SOUND_RATE_HZ = 48000


class Footage(Protocol):
    """Pictures by recording time, asked for in rising order."""

    def planes_at(self, r: Fraction) -> Planes:
        """Y, U and V of the picture at ``r``: fresh arrays that may be drawn on."""


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

    def frames(self, first: int, last: int) -> Iterator[Planes]:
        """The planes of frames ``first`` (included) to ``last`` (not)."""
        film = self.faces.film
        for j in range(first, last):
            t = j / film.fps
            planes = self._clean(film.piece_at(t), t)
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
        return self.footage.planes_at(r)


def _copy(planes: Planes) -> Planes:
    """Own planes to draw on: an insert is shown again and again."""
    y, u, v = planes
    return y.copy(), u.copy(), v.copy()


def silence(samples: int) -> Iterator[NDArray[np.float32]]:
    """Stereo silence of the given length in blocks of a second."""
    while samples > 0:
        n = min(samples, SOUND_RATE_HZ)
        yield np.zeros((n, 2), np.float32)
        samples -= n
