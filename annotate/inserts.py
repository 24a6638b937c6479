"""Pictures laid into the film, and pictures taken out of it: cards, stills, posters."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from annotate.picture.cards import Card, ComingUp
from annotate.picture.cardwords import closing_card, title_card
from annotate.picture.colours import U8, planes_to_rgb
from annotate.picture.fonts import FontChain
from annotate.picture.overlay import Overlay, OverlayFace
from annotate.picture.posters import write_jpeg
from annotate.picture.stills import still_planes
from annotate.plan import Plan
from annotate.render import Footage
from chapters.case import Still
from chapters.timemap import CardKind

Planes = tuple[U8, U8, U8]

#: A step's picture is taken this far into it: past the approach, before the end.
PICTURE_AT = Fraction(2, 5)


class FilmInserts:
    """Cards and stills of one film, fitted to its size and drawn once each.

    ``find_file`` gives the path of a file that the case names. Raises InputError for a still that
    is no picture and for characters no font has.
    """

    def __init__(
        self,
        plan: Plan,
        size_px: tuple[int, int],
        fonts: FontChain,
        find_file: Callable[[str], Path],
        mark: str,
    ) -> None:
        self._size_px, self._fonts, self._find_file = size_px, fonts, find_file
        self._cards = {
            "title": ComingUp(Card(title_card(plan.case), size_px, fonts)),
            "closing": ComingUp(Card(closing_card(plan.ledger, mark), size_px, fonts)),
        }
        self._stills = {
            still: still_planes(find_file(still.file), size_px, fonts, still.caption)
            for step in plan.steps
            for still in step.stills
        }

    def card(self, kind: CardKind, t: Fraction) -> Planes:
        """The card's picture ``t`` seconds after it began; safe from any thread."""
        return self._cards[kind].planes(t)

    def still(self, still: Still) -> Planes:
        """The still as planes of the film's size."""
        return self._stills[still]

    def plain_still(self, still: Still) -> Planes:
        """The still on its own, without its caption: the page says that in words."""
        if not still.caption:
            return self._stills[still]
        return still_planes(self._find_file(still.file), self._size_px, self._fonts, "")


def step_times_of_pictures(plan: Plan) -> dict[int, Fraction]:
    """Step number -> the recording time of its picture, for every step the film shows."""
    out: dict[int, Fraction] = {}
    for row in plan.rows:
        own = [p.recording for p in plan.film.footage if p.step == row.id and p.recording]
        if own:
            wanted = own[0].start + (own[-1].end - own[0].start) * PICTURE_AT
            shown = [span for span in own if span.holds(wanted)]
            out[row.number] = wanted if shown else own[0].start
    return out


def write_pictures(
    plan: Plan,
    pictures: Footage,
    inserts: FilmInserts,
    overlay: Overlay,
    place: Callable[[str], Path],
    mark: str,
) -> None:
    """``step-3.jpg`` for every shown step, ``still-1.jpg`` for the stills in film order, and a poster.

    ``poster.jpg`` comes from the step shown longest.
    A film of cards alone has its title card for a poster. ``mark`` is drawn on pictures that are
    not for publication.
    """
    longest = max(plan.rows, key=lambda row: row.real + row.fast, default=None)
    for number, r in step_times_of_pictures(plan).items():
        names = [f"step-{number}.jpg"]
        if longest is not None and number == longest.number:
            names.append("poster.jpg")
        _keep([place(n) for n in names], overlay, mark, pictures.planes_at(r))
    held = [p.still for p in plan.film.pieces if p.kind == "still"]
    for number, still in enumerate(held, 1):
        if still is not None:
            _keep([place(f"still-{number}.jpg")], overlay, mark, inserts.plain_still(still))
    if longest is None or longest.cut is None:
        _keep([place("poster.jpg")], overlay, mark, inserts.card("title", Fraction(2)))


def _keep(paths: list[Path], overlay: Overlay, mark: str, planes: Planes) -> None:
    y, u, v = (plane.copy() for plane in planes)
    if mark:
        overlay.draw(y, u, v, OverlayFace(0, 0, "", None, None, mark=mark))
    picture = planes_to_rgb(y, u, v)
    for path in paths:
        write_jpeg(path, picture)
