"""Every text that stands beside the film, made from a plan: values in, text out, no file touched."""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from annotate.captions.cues import Cue, NoteTooLong
from annotate.captions.files import cues_to_srt, cues_to_vtt
from annotate.captions.notes import notes_to_cues
from annotate.plan import Plan
from annotate.report import ledger_json, step_times_csv, step_times_json
from annotate.words import CAUTIONS, NOT_FOR_PUBLICATION
from chapters.markers import Chapter, chapters_text, chapters_vtt, safe_shape
from chapters.teeth import tooth_name
from chapters.timefile import time_map_values
from chapters.times import CutTime, duration_text, exact_text


#: Captions stand at the top of the picture: the lower left belongs to the clock.
ABOVE = "line:0"


@dataclass(frozen=True)
class Words:
    """The film's captions and chapters, and the notes that did not fit."""

    cues: tuple[Cue, ...]
    too_long: tuple[NoteTooLong, ...]
    chapters: tuple[Chapter, ...]


def notice(plan: Plan) -> str:
    """The sentence that a film which may not be published bears; empty for any other."""
    return "" if plan.case.publishable else NOT_FOR_PUBLICATION


def make_words(plan: Plan) -> Words:
    """Captions from the steps' notes, chapters from the steps."""
    notes = [(row.id, row.note, row.cut) for row in plan.rows if row.note and row.cut is not None]
    cues, too_long = notes_to_cues(notes, language=plan.case.language)
    return Words(cues, too_long, film_chapters(plan))


def film_chapters(plan: Plan) -> tuple[Chapter, ...]:
    """One chapter a shown step, the cards as chapters of their own, in the shape that survives."""
    found: list[Chapter] = []
    for piece in plan.film.pieces:
        if piece.card is not None:
            title = plan.case.title if piece.card == "title" else "Where the time went"
            found.append(Chapter(CutTime(piece.cut.start), CutTime(piece.cut.end), title))
    for row in plan.rows:
        if row.cut is not None:
            title = f"{row.number}. {row.title}"
            found.append(Chapter(CutTime(row.cut.start), CutTime(row.cut.end), title))
    return safe_shape(tuple(found), plan.film.length)


def head_values(plan: Plan) -> dict[str, Any]:
    """What every JSON sidecar begins with: which case, may it be published, the cautions."""
    case = plan.case
    tooth = case.tooth
    return {
        "case": case.id,
        "title": case.title,
        "subject": case.subject,
        "publishable": case.publishable,
        "notice": notice(plan) or None,
        "tooth": None
        if tooth is None
        else {"fdi": tooth.fdi, "universal": tooth.universal, "name": tooth_name(tooth)},
        "procedure": case.procedure,
        "presenter": case.presenter,
        "tags": list(case.tags),
        "language": case.language,
        "cautions": list(CAUTIONS),
    }


def json_text(values: dict[str, Any]) -> str:
    """JSON as all sidecars are written: readable, every script as it is."""
    return json.dumps(values, ensure_ascii=False, indent=1) + "\n"


def sidecars(plan: Plan, words: Words) -> dict[str, str]:
    """Name -> text of every text sidecar."""
    case, said = plan.case, notice(plan)
    head = head_values(plan)
    about = "\n".join((*CAUTIONS, said) if said else CAUTIONS)
    return {
        "captions.vtt": cues_to_vtt(words.cues, said, case.language, settings=ABOVE),
        "captions.srt": cues_to_srt(words.cues, said),
        "chapters.vtt": chapters_vtt(words.chapters, said),
        "chapters.txt": chapters_text(words.chapters, about, heading=case.title),
        "time-map.json": json_text(head | time_map_values(plan.film)),
        "step-times.csv": step_times_csv(plan.rows, plan.ledger, notice=said),
        "step-times.json": json_text(head | step_times_json(plan.rows, plan.ledger)),
        "ledger.json": json_text(head | ledger_json(plan.ledger)),
    }


def tell(plan: Plan) -> str:
    """One sentence about the film that was made, for the terminal."""
    film = plan.film
    parts = [
        f"{duration_text(film.length)} film of {duration_text(plan.ledger.total)} clinical time"
    ]
    if plan.solved is not None:
        parts.append(f"fast steps at {exact_text(Fraction(round(plan.solved * 100), 100))[:-7]}×")
    return ", ".join(parts)
