"""Every text that stands beside the film, made from a plan: values in, text out, no file touched."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Literal

from annotate.captions.cues import Cue, NoteTooLong
from annotate.captions.files import NOTICE_MS, cues_to_srt, cues_to_vtt, notice_lines
from annotate.captions.labels import RoomSound, lay_labels
from annotate.captions.languages import three_letters
from annotate.captions.notes import notes_to_cues
from annotate.captions.profiles import NOTES, Profile
from annotate.captions.terms import fix_terms, terms_of
from annotate.plan import Plan
from annotate.report import ledger_json, step_times_csv, step_times_json
from annotate.words import CAUTIONS, DRAFT_CAPTIONS, HEARD_TEXT, NOT_FOR_PUBLICATION
from chapters.markers import Chapter, chapters_text, chapters_vtt, safe_shape
from chapters.media.mux import TextTrack
from chapters.spans import Span
from chapters.teeth import tooth_name
from chapters.timefile import time_map_values
from chapters.times import CutTime, milliseconds

#: Captions stand at the top of the picture: the lower left belongs to the clock.
ABOVE = "line:0"


Source = Literal["script", "draft", "note"]


@dataclass(frozen=True)
class Words:
    """The film's captions and chapters, and the notes that did not fit.

    ``others`` are the captions in other languages, by BCP 47 tag. ``sources`` says of each step
    with captions where they come from. ``drafts`` are the texts, by step, that a recogniser heard
    and nobody has read. ``remarks`` tell of sound labels left out.
    """

    cues: tuple[Cue, ...]
    too_long: tuple[NoteTooLong, ...]
    chapters: tuple[Chapter, ...]
    others: tuple[tuple[str, tuple[Cue, ...]], ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)
    drafts: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    @property
    def read_cues(self) -> tuple[Cue, ...]:
        """The captions but those that nobody has read: what may be drawn into the picture."""
        return tuple(cue for cue in self.cues if cue.step and cue.step not in self.drafts)


def notice(plan: Plan) -> str:
    """The sentence that a film which may not be published bears; empty for any other."""
    return "" if plan.case.publishable else NOT_FOR_PUBLICATION


def make_words(
    plan: Plan,
    spoken: Mapping[str, tuple[Cue, ...]] = MappingProxyType({}),
    profile: Profile = NOTES,
    drafts: Mapping[str, str] = MappingProxyType({}),
    sounds: Sequence[RoomSound] = (),
) -> Words:
    """Captions from what was ``spoken`` over a step, else from its note; chapters from the steps.

    ``drafts`` are the steps of ``spoken`` whose words nobody has read. ``sounds`` are labelled.
    """
    terms = terms_of(dict(plan.case.terms))
    notes = [
        (row.id, fix_terms(row.note, terms), row.cut)
        for row in plan.rows
        if row.note and row.cut is not None and row.id not in spoken
    ]
    noted, too_long = notes_to_cues(notes, profile, language=plan.case.language)
    begins = {row.id: milliseconds(row.cut.start) for row in plan.rows if row.cut is not None}
    cues = one_after_another([*noted, *(cue for own in spoken.values() for cue in own)])
    cues = gaps_between_steps(cues, begins, profile)
    sources: dict[str, Source] = {cue.step: "note" for cue in noted}
    sources |= {
        step: "draft" if step in drafts else "script" for step, own in spoken.items() if own
    }
    cues, remarks = lay_labels(cues, sounds, profile)
    cues = (*_draft_mark(cues), *cues) if drafts else cues
    others, complaints = [], list(too_long)
    for tag in dict.fromkeys(tag for step in plan.steps for tag, _ in step.notes_in):
        if tag == plan.case.language:
            continue
        said, over = notes_to_cues(_notes_in(plan, tag), profile, language=tag)
        others.append((tag, said))
        complaints += over
    return Words(
        cues,
        tuple(complaints),
        film_chapters(plan),
        tuple(others),
        sources,
        drafts,
        remarks,
    )


def _draft_mark(cues: Sequence[Cue]) -> tuple[Cue, ...]:
    """The first cue of captions that nobody has read: it says so, over the title card."""
    until = min(NOTICE_MS, cues[0].start_ms) if cues else NOTICE_MS
    return (Cue(0, until, notice_lines(DRAFT_CAPTIONS)),) if until > 0 else ()


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


def gaps_between_steps(
    cues: Sequence[Cue], begins_ms: Mapping[str, int], profile: Profile
) -> tuple[Cue, ...]:
    """Cues whose gaps from one step to the next keep the profile's rule, where they can.

    A gap that is too short is closed on the step's first picture, whose time ``begins_ms`` gives,
    where the profile allows that; else the caption before it ends sooner if it can still be read.
    """
    gap, out = profile.gap, list(cues)
    if gap is None:
        return tuple(out)
    for number in range(len(out) - 1):
        before, after = out[number], out[number + 1]
        lacks = gap.shortest_ms.value - (after.start_ms - before.end_ms)
        if before.step == after.step or not 0 < lacks < gap.shortest_ms.value:
            continue
        if gap.closed:
            border = begins_ms.get(after.step, after.start_ms)
            border = min(max(border, before.end_ms), after.start_ms)
            out[number] = replace(before, end_ms=border)
            out[number + 1] = replace(after, start_ms=border)
        elif before.length_ms - lacks >= profile.needed_ms(before.columns, before.words):
            out[number] = replace(before, end_ms=before.end_ms - lacks)
    return tuple(out)


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
    drafted = f"{DRAFT_CAPTIONS}: step {', '.join(words.drafts)}" if words.drafts else ""
    others = {
        f"captions.{tag}.{kind}": text
        for tag, cues in words.others
        for kind, text in (
            ("vtt", cues_to_vtt(cues, said, tag, settings=ABOVE)),
            ("srt", cues_to_srt(cues, said)),
        )
    }
    remark = "\n".join((HEARD_TEXT, f"# {said}") if said else (HEARD_TEXT,))
    heard = {f"heard-{step}.txt": f"{remark}\n{text}" for step, text in words.drafts.items()}
    own = cues_to_vtt(words.cues, said, case.language, settings=ABOVE, about=drafted)
    return (
        others
        | heard
        | {
            "captions.vtt": own,
            "captions.srt": cues_to_srt(words.cues, said),
            "chapters.vtt": chapters_vtt(words.chapters, said),
            "chapters.txt": chapters_text(words.chapters, about, heading=case.title),
            "time-map.json": json_text(head | time_map_values(plan.film)),
            "step-times.csv": step_times_csv(plan.rows, plan.ledger, notice=said),
            "step-times.json": json_text(head | _steps_told(plan, words)),
            "ledger.json": json_text(head | ledger_json(plan.ledger)),
        }
    )


def _steps_told(plan: Plan, words: Words) -> dict[str, Any]:
    """The step times, each step with where its captions come from and the question it carries."""
    values = step_times_json(plan.rows, plan.ledger)
    values["captions_in_picture"] = plan.case.captions_in_picture
    for row, step in zip(values["steps"], plan.steps, strict=True):
        row["captions_from"] = words.sources.get(step.id)
        if step.ask is not None:
            row["ask"] = {
                "question": step.ask.question,
                "choices": list(step.ask.choices) or None,
                "answer": step.ask.answer,
                "look": step.ask.look,
            }
    return values
