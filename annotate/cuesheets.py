"""The cue sheet of one film: read off the plan, with a strip of frames for every step."""

from __future__ import annotations

from fractions import Fraction

from annotate.narrate import Narration
from annotate.picture.colours import planes_to_rgb
from annotate.picture.posters import jpeg_bytes
from annotate.plan import Plan
from annotate.render import Footage
from annotate.sound.cuesheet import Cue, CuePart, CueSheet
from annotate.sound.takes import USUAL_WPM
from chapters.steptimes import StepTime
from chapters.timemap import Piece

#: Frames of a step's strip: its start, its end and two between.
STRIP = (Fraction(1, 20), Fraction(7, 20), Fraction(13, 20), Fraction(19, 20))
STRIP_WIDTH_PX = 168


def cue_sheet(plan: Plan, narration: Narration, pictures: Footage, mark: str) -> CueSheet:
    """What to say, when and for how long, for every step the film shows."""
    cues = tuple(
        Cue(
            number=row.number,
            title=row.title,
            cut=row.cut,
            parts=step_parts(plan, row),
            note=row.note,
            take=_take(plan, narration, row),
            script=own.script if (own := narration.by_step.get(row.id)) else "",
            frames=_strip(plan, row, pictures),
        )
        for row in plan.rows
        if row.cut is not None
    )
    return CueSheet(
        title=plan.case.title,
        film_length=plan.film.length,
        cues=cues,
        pace=narration.pace,
        measured=narration.pace != USUAL_WPM,
        language=plan.case.language,
        mark=mark,
    )


def step_parts(plan: Plan, row: StepTime) -> tuple[CuePart, ...]:
    """How the film shows a step, one part a stretch; the ramps belong to the fast stretch."""
    out: list[CuePart] = []
    for piece in plan.film.pieces:
        if piece.step != row.id:
            continue
        part = _part(piece)
        if out and part.kind == out[-1].kind and part.kind in ("fast", "real"):
            before = out.pop()
            part = CuePart(part.kind, before.length + part.length, max(before.speed, part.speed))
        out.append(part)
    return tuple(out)


def _part(piece: Piece) -> CuePart:
    if piece.kind != "footage":
        return CuePart("still" if piece.still is not None else "held", piece.cut.length)
    if piece.is_real:
        return CuePart("real", piece.cut.length)
    return CuePart("fast", piece.cut.length, max(piece.speed))


def _take(plan: Plan, narration: Narration, row: StepTime) -> str:
    """How the step's take stands; empty where there is none yet."""
    for laid in plan.laid:
        if laid.step == row.id:
            heard = next(h for h in narration.heard if h.file == laid.file)
            state = "good" if heard.report.good else "to be recorded again"
            return f"{laid.file}: {float(laid.length):.1f} s, {state}"
    return ""


def _strip(plan: Plan, row: StepTime, pictures: Footage) -> tuple[bytes, ...]:
    own = [p.recording for p in plan.film.footage if p.step == row.id and p.recording]
    out = []
    for share in STRIP:
        wanted = row.recording.start + row.recording.length * share
        shown = [span for span in own if span.holds(wanted)]
        if shown:
            rgb = planes_to_rgb(*pictures.planes_at(wanted))
            out.append(jpeg_bytes(rgb, STRIP_WIDTH_PX))
    return tuple(out)
