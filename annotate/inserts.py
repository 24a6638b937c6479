"""Pictures laid into the film, and pictures taken out of it: cards, stills, posters."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import partial
from pathlib import Path

from annotate.picture.cardlayout import closing_card, title_card
from annotate.picture.cards import Card
from annotate.picture.colours import U8, planes_to_rgb
from annotate.picture.fonts import FontChain, check_texts
from annotate.picture.overlay import Overlay, OverlayFace
from annotate.picture.posters import write_jpeg
from annotate.picture.stills import still_planes
from annotate.plan import Plan
from chapters.case import Still
from chapters.timemap import CardKind
from chapters.times import round_half_up

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
        check_texts(fonts, film_texts(plan))
        self._cards = {
            "title": Card(title_card(plan.case), size_px, fonts),
            "closing": Card(closing_card(plan.ledger, mark), size_px, fonts),
        }
        self._stills = {
            still: still_planes(find_file(still.file), size_px, fonts, still.caption)
            for step in plan.steps
            for still in step.stills
        }

    def card(self, kind: CardKind, t: Fraction) -> Planes:
        """The card's picture ``t`` seconds after it began."""
        return self._cards[kind].planes(t)

    def still(self, still: Still) -> Planes:
        """The still as planes of the film's size."""
        return self._stills[still]


def film_texts(plan: Plan) -> list[tuple[str, str]]:
    """Every text of the case that is drawn on the film, with its place in the case file."""
    case = plan.case
    found = [("title", case.title), ("procedure", case.procedure), ("presenter", case.presenter)]
    for number, step in enumerate(plan.steps, 1):
        found.append((f"steps[{number}].title", step.title))
        found += [(f"steps[{number}].stills", s.caption) for s in step.stills]
    found += [("away", a.reason) for a in plan.line.away]
    return [(where, text) for where, text in found if text]


def step_pictures(plan: Plan) -> dict[int, str]:
    """Which film frame gives which picture: ``step-3.jpg`` from the middle of step 3's footage."""
    film = plan.film
    out: dict[int, str] = {}
    for row in plan.rows:
        own = [p for p in film.footage if p.step == row.id and p.recording is not None]
        if not own or own[0].recording is None or own[-1].recording is None:
            continue
        start, end = own[0].recording.start, own[-1].recording.end
        at, _ = film.cut_at(start + (end - start) * PICTURE_AT)
        out[min(film.frame_count - 1, round_half_up(at * film.fps))] = f"step-{row.number}.jpg"
    return out


def keep_pictures(
    plan: Plan, place: Callable[[str], Path], overlay: Overlay, mark: str
) -> dict[int, Callable[[Planes], None]]:
    """What to do with the clean pictures of some frames: the steps' pictures and the poster.

    The longest shown step gives the poster. ``mark`` is drawn on pictures not for publication.
    """
    frames = step_pictures(plan)
    longest = max(plan.rows, key=lambda row: row.real + row.fast, default=None)
    out: dict[int, Callable[[Planes], None]] = {}
    for frame, name in frames.items():
        names = [name]
        if longest is not None and name == f"step-{longest.number}.jpg":
            names.append("poster.jpg")
        out[frame] = partial(_keep, [place(n) for n in names], overlay, mark)
    return out or {0: partial(_keep, [place("poster.jpg")], overlay, mark)}


def _keep(paths: list[Path], overlay: Overlay, mark: str, planes: Planes) -> None:
    y, u, v = (plane.copy() for plane in planes)
    if mark:
        overlay.draw(y, u, v, OverlayFace(0, 0, "", None, None, mark=mark))
    picture = planes_to_rgb(y, u, v)
    for path in paths:
        write_jpeg(path, picture)
