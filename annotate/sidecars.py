"""Every text that stands beside the film, made from a plan: values in, text out, no file touched."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from annotate.captions.cues import Cue, NoteTooLong
from annotate.captions.files import cues_to_srt, cues_to_vtt
from annotate.captions.languages import three_letters
from annotate.captions.notes import notes_to_cues
from annotate.captions.profiles import NOTES, Profile
from annotate.plan import Plan
from annotate.report import ledger_json, step_times_csv, step_times_json
from annotate.words import CAUTIONS, NOT_FOR_PUBLICATION
from chapters.markers import Chapter, chapters_text, chapters_vtt, safe_shape
from chapters.media.mux import TextTrack
from chapters.spans import Span
from chapters.teeth import tooth_name
from chapters.timefile import time_map_values
from chapters.times import CutTime

#: Captions stand at the top of the picture: the lower left belongs to the clock.
ABOVE = "line:0"


@dataclass(frozen=True)
class Words:
    """The film's captions and chapters, and the notes that did not fit.

    ``others`` are the captions in other languages, by BCP 47 tag.
    """

    cues: tuple[Cue, ...]
    too_long: tuple[NoteTooLong, ...]
    chapters: tuple[Chapter, ...]
    others: tuple[tuple[str, tuple[Cue, ...]], ...] = ()


def notice(plan: Plan) -> str:
    """The sentence that a film which may not be published bears; empty for any other."""
    return "" if plan.case.publishable else NOT_FOR_PUBLICATION


def make_words(
    plan: Plan,
    spoken: Mapping[str, tuple[Cue, ...]] = MappingProxyType({}),
    profile: Profile = NOTES,
) -> Words:
    """Captions from what was ``spoken`` over a step, else from its note; chapters from the steps."""
    notes = [
        (row.id, row.note, row.cut)
        for row in plan.rows
        if row.note and row.cut is not None and row.id not in spoken
    ]
    noted, too_long = notes_to_cues(notes, profile, language=plan.case.language)
    cues = one_after_another([*noted, *(cue for own in spoken.values() for cue in own)])
    others, complaints = [], list(too_long)
    for tag in dict.fromkeys(tag for step in plan.steps for tag, _ in step.notes_in):
        if tag == plan.case.language:
            continue
        said, over = notes_to_cues(_notes_in(plan, tag), profile, language=tag)
        others.append((tag, said))
        complaints += over
    return Words(cues, tuple(complaints), film_chapters(plan), tuple(others))


def one_after_another(cues: Sequence[Cue]) -> tuple[Cue, ...]:
    """Cues in the order of their starts, none running into the next.

    A take that runs on into the next step would leave two captions on the picture at once.
    """
    ordered = sorted(cues, key=lambda cue: (cue.start_ms, cue.end_ms))
    out: list[Cue] = []
    for cue in reversed(ordered):
        end = min(cue.end_ms, out[-1].start_ms) if out else cue.end_ms
        if end > cue.start_ms:
            out.append(replace(cue, end_ms=end))
    return tuple(reversed(out))


def _notes_in(plan: Plan, tag: str) -> list[tuple[str, str, Span]]:
    cuts = {row.id: row.cut for row in plan.rows}
    return [
        (step.id, text, cut)
        for step in plan.steps
        for own, text in step.notes_in
        if own == tag and (cut := cuts[step.id]) is not None
    ]


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


def caption_tracks(plan: Plan, words: Words) -> tuple[TextTrack, ...]:
    """The captions as tracks of the film, one a language; none where there are no captions."""
    own = [(plan.case.language, words.cues), *words.others]
    return tuple(
        TextTrack(
            three_letters(tag), tuple((c.start_ms, c.end_ms, "\n".join(c.lines)) for c in cues)
        )
        for tag, cues in own
        if cues
    )


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
    others = {
        f"captions.{tag}.{kind}": text
        for tag, cues in words.others
        for kind, text in (
            ("vtt", cues_to_vtt(cues, said, tag, settings=ABOVE)),
            ("srt", cues_to_srt(cues, said)),
        )
    }
    return others | {
        "captions.vtt": cues_to_vtt(words.cues, said, case.language, settings=ABOVE),
        "captions.srt": cues_to_srt(words.cues, said),
        "chapters.vtt": chapters_vtt(words.chapters, said),
        "chapters.txt": chapters_text(words.chapters, about, heading=case.title),
        "time-map.json": json_text(head | time_map_values(plan.film)),
        "step-times.csv": step_times_csv(plan.rows, plan.ledger, notice=said),
        "step-times.json": json_text(head | _with_questions(plan)),
        "ledger.json": json_text(head | ledger_json(plan.ledger)),
    }


def _with_questions(plan: Plan) -> dict[str, Any]:
    """The step times, each step with the question it carries."""
    values = step_times_json(plan.rows, plan.ledger)
    for row, step in zip(values["steps"], plan.steps, strict=True):
        if step.ask is not None:
            row["ask"] = {
                "question": step.ask.question,
                "choices": list(step.ask.choices) or None,
                "answer": step.ask.answer,
                "look": step.ask.look,
            }
    return values
