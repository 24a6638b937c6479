"""Case file -> Case, or every mistake with its place.

A case file is YAML 1.1 in UTF-8, at most 1 MB, every value read as text (see ``yamltext``) and
understood by its field (see ``fieldtext``). ``read_case`` is pure; ``load_case`` reads the file.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Final, Literal, TypeVar, cast

from chapters.case import (
    DEFAULT_RAMP_S,
    DEFAULT_STILL_S,
    Away,
    Case,
    Consent,
    Part,
    Place,
    Show,
    Step,
    Still,
    Subject,
    Tooth,
)
from chapters.casechecks import (
    check_against,
    check_ids,
    check_order,
    check_parts,
    check_shown,
    check_wishes,
    in_order,
)
from chapters.caseextras import read_ask, read_notes_in
from chapters.casenarration import read_loudness, read_takes, read_talk, read_terms
from chapters.errors import Mistake
from chapters.fieldtext import (
    FieldTextError,
    as_id,
    choice,
    clean_text,
    expected_range,
    file_value,
    frame_rate,
    height_px,
    id_value,
    language_value,
    show_value,
    time_between,
    time_value,
    yes_no,
)
from chapters.record import (
    Record,
    read_prose,
    read_record,
    read_scalar,
    warn_of_comment,
)
from chapters.teeth import System, ToothTextError, bare_number, tooth_from
from chapters.textfile import read_text_file
from chapters.times import LONGEST_S, RecordingTime
from chapters.yamltext import Node, Report, Scalar, quoted, read_tree

__all__ = ["LoadedCase", "check_against", "load_case", "mistake_at", "read_case"]

T = TypeVar("T")

LONGEST_NOTE = 5000

CASE_FIELDS: Final = (
    "case", "title", "subject", "consent", "tooth", "recordings", "away", "away_from_clocks",
    "steps", "procedure", "presenter", "tags", "language", "length", "ramp", "snap", "sound",
    "fps", "height", "colour", "range", "fonts", "narration", "talk", "loudness", "terms", "lexicon", "captions", "captions_in_picture",
)  # fmt: skip
PART_FIELDS: Final = ("file", "away_before", "reason", "overlap")
AWAY_FIELDS: Final = ("at", "lasted", "reason")
STEP_FIELDS: Final = (
    "id", "title", "from", "to", "show", "expect", "note", "notes_in", "phase", "stills", "ask",
)  # fmt: skip
STILL_FIELDS: Final = ("file", "at", "hold", "caption")
CONSENT_FIELDS: Final = ("reference", "covers")
TOOTH_FIELDS: Final = ("fdi", "universal")

ZERO = Fraction(0)
_LASTED = time_between(ZERO, LONGEST_S)
_LASTED_OR_ZERO = time_between(ZERO, LONGEST_S, open_low=False)
_HOLD = time_between(ZERO, Fraction(600))
_RAMP = time_between(ZERO, Fraction(30), open_low=False)
_SNAP = time_between(ZERO, Fraction(60), open_low=False)


@dataclass(frozen=True)
class LoadedCase:
    """A case and where it came from.

    ``folder`` holds the files that the case names, ``shown_as`` is the case file's name in
    messages, ``places`` says where each written field stands (``steps[3].to``).
    """

    case: Case
    folder: Path
    path: Path
    warnings: tuple[Mistake, ...]
    shown_as: str
    places: Mapping[str, Place]

    def path_of(self, file: str) -> Path:
        """The path of a file that the case names, whichever way the disk writes its accents.

        A macOS disk may keep ``é`` as two characters where the case file has one. The path need
        not exist.
        """
        path = self.folder / file
        if path.exists() or not path.parent.is_dir():
            return path
        wanted = unicodedata.normalize("NFC", path.name)
        same = [p for p in path.parent.iterdir() if unicodedata.normalize("NFC", p.name) == wanted]
        return same[0] if same else path


def load_case(path: Path) -> LoadedCase:
    """Read the case file at ``path``. Raises CaseFileError with every mistake; writes nothing."""
    name = str(path)
    case, report = _understood(read_text_file(path, name), name)
    warnings = _in_order(report.warnings)
    return LoadedCase(case, path.parent, path, warnings, name, report.places)


def read_case(text: str, name: str) -> tuple[Case, tuple[Mistake, ...]]:
    """Understand the text of a case file; ``name`` is the file's name in messages.

    Returns the case and its warnings. Raises CaseFileError with all mistakes at once.
    """
    case, report = _understood(text, name)
    return case, _in_order(report.warnings)


def mistake_at(loaded: LoadedCase, field: str, found: str, advice: str) -> Mistake:
    """A mistake at a field of a loaded case, such as ``length`` or ``steps[3].to``.

    A field that the file does not write is placed at the file's first line.
    """
    place = loaded.places.get(field, Place(1, 1))
    return Mistake(loaded.shown_as, place.line, place.column, field, found, advice)


def _in_order(mistakes: Sequence[Mistake]) -> tuple[Mistake, ...]:
    return tuple(sorted(mistakes, key=lambda m: (m.line, m.column)))


def _understood(text: str, name: str) -> tuple[Case, Report]:
    report = Report(name)
    top = Record(read_tree(text, report), "", CASE_FIELDS, report)
    case = _case(top)
    check_wishes(case, top)
    report.stop()
    return case, report


def _or(value: T | None, default: T) -> T:
    """``value`` unless it is None; a faulty field has left a mistake, so no case comes of it."""
    return default if value is None else value


def _word(record: Record, name: str, *allowed: str) -> str:
    """One of a few words, the first where the field is absent."""
    return _or(record.value(name, choice(*allowed)), allowed[0])


def _case(top: Record) -> Case:
    case = Case(
        id=_or(top.value("case", id_value, "write case: and a short name, such as bench-03"), ""),
        title=top.prose("title", "write title: and the film's title"),
        parts=_parts(top),
        steps=_steps(top),
        subject=_subject(top),
        consent=_consent(top),
        tooth=_tooth(top),
        away=in_order(
            [a for n, f in top.items("away") if (a := _away(n, f, top.report))], top.report
        ),
        procedure=top.prose("procedure"),
        presenter=top.prose("presenter"),
        tags=_texts(top, "tags", lambda t: clean_text(t, 60)[0]),
        language=_or(top.value("language", language_value), "en"),
        length=top.value("length", _LASTED),
        ramp=_or(top.value("ramp", _RAMP), DEFAULT_RAMP_S),
        snap=_or(top.value("snap", _SNAP), ZERO),
        clocks_give_away=_or(top.value("away_from_clocks", yes_no), False),
        room_sound=_word(top, "sound", "off", "room") == "room",
        fps=top.value("fps", frame_rate),
        height_px=top.value("height", height_px),
        colour=cast(Literal["auto", "bt601", "bt709"], _word(top, "colour", "auto", "bt601", "bt709")),
        colour_range=cast(
            Literal["auto", "limited", "full"], _word(top, "range", "auto", "limited", "full")
        ),
        fonts=_texts(top, "fonts", file_value),
    )  # fmt: skip
    return replace(
        case,
        narration=read_takes(top, [step.id for step in case.steps]),
        talk=read_talk(top),
        loudness=read_loudness(top),
        terms=read_terms(top),
        lexicon=_or(top.value("lexicon", file_value), ""),
        captions_in_picture=_or(top.value("captions_in_picture", yes_no), False),
        captions=_or(top.value("captions", lambda text: text.strip().lower()), "notes"),
    )


def _subject(top: Record) -> Subject:
    """Simulated or patient; never assumed, for it decides whether the film may be shown."""
    needed = "write subject: simulated for a bench case, or subject: patient"
    return cast(
        Subject, _or(top.value("subject", choice("simulated", "patient"), needed), "patient")
    )


def _texts(record: Record, name: str, read: Callable[[str], str]) -> tuple[str, ...]:
    out: list[str] = []
    for node, field in record.items(name):
        text = read_scalar(node, field, read, record.report)
        warn_of_comment(node, field, record.report)
        if text is not None:
            out.append(text)
    return tuple(out)


def _consent(top: Record) -> Consent | None:
    node = top.node("consent")
    if node is None:
        return None
    example = "consent: {reference: C-0017, covers: teaching in study clubs}"
    record = read_record(node, "consent", CONSENT_FIELDS, top.report, example)
    if record is None:
        return None
    needed = "write reference: and the number of the record that the practice keeps"
    return Consent(record.prose("reference", needed), record.prose("covers"))


def _tooth(top: Record) -> Tooth | None:
    node = top.node("tooth")
    if node is None:
        return None
    if isinstance(node, Scalar) and node.text.strip():
        why, advice = bare_number(node.text).args
        top.mistake("tooth", f"{quoted(node.text)} {why}", advice)
        return None
    example = "tooth: {fdi: 36} or tooth: {universal: 19}"
    record = read_record(node, "tooth", TOOTH_FIELDS, top.report, example)
    if record is None:
        return None
    given: list[System] = [s for s in ("fdi", "universal") if s in record]
    if len(given) != 1:
        found = "both systems are given" if given else "no tooth is given"
        top.mistake("tooth", found, f"write {example}")
        return None
    return record.value(given[0], partial(_tooth_text, given[0]))


def _tooth_text(system: System, text: str) -> Tooth:
    try:
        return tooth_from(system, text)
    except ToothTextError as error:
        why, advice = error.args
        raise FieldTextError(f"{quoted(text)} {why}", advice) from None


def _file(record: Record) -> str:
    file = record.value("file", file_value, "write file: and the file's name")
    node = record.node("file")
    if node is not None:
        warn_of_comment(node, record.field("file"), record.report)
    return file or ""


def _parts(top: Record) -> tuple[Part, ...]:
    needed = "write recordings: and a list of files, such as [scope-001.mp4]"
    read = [
        (field, part)
        for node, field in top.items("recordings", needed)
        if (part := _part(node, field, top.report)) is not None
    ]
    check_parts(read, top.report)
    return tuple(part for _, part in read)


def _part(node: Node, field: str, report: Report) -> Part | None:
    if isinstance(node, Scalar):
        file = read_scalar(node, field, file_value, report)
        warn_of_comment(node, field, report)
        return Part(file, place=node.place) if file else None
    record = read_record(
        node, field, PART_FIELDS, report, "scope-001.mp4 or {file: scope-001.mp4, overlap: 2}"
    )
    if record is None:
        return None
    part = Part(
        file=_file(record),
        away_before=_or(record.value("away_before", _LASTED_OR_ZERO), ZERO),
        overlap=_or(record.value("overlap", _LASTED_OR_ZERO), ZERO),
        place=record.place("file"),
    )
    reason = record.prose("reason")
    if reason:
        part = Part(part.file, part.away_before, reason, part.overlap, part.place)
    return part if part.file else None


def _away(node: Node, field: str, report: Report) -> Away | None:
    example = "{at: 12:40, lasted: 1:00, reason: check radiograph}"
    record = read_record(node, field, AWAY_FIELDS, report, example)
    if record is None:
        return None
    at = record.value("at", time_value, f"write at:, as in {example}")
    lasted = record.value("lasted", _LASTED, f"write lasted:, as in {example}")
    reason = record.prose("reason", "write why the clock jumps; the film says it")
    if at is None or lasted is None:
        return None
    return Away(RecordingTime(at), lasted, reason, record.place("at"))


def _steps(top: Record) -> tuple[Step, ...]:
    records = [
        record
        for node, field in top.items("steps", "write at least one step")
        if (record := read_record(
            node, field, STEP_FIELDS, top.report, "{id: isolate, title: Isolate the tooth, from: 0:08}"
        ))
    ]  # fmt: skip
    ids: list[tuple[str, Record]] = []
    read: list[tuple[Step, Record]] = []
    for record in records:
        step_id = _step_id(record)
        if step_id is not None:
            ids.append((step_id, record))
        step = _step(record, step_id or "")
        if step is not None:
            read.append((step, record))
    check_ids(ids, top.report)
    check_order(read)
    for i, (step, record) in enumerate(read):
        check_shown(step, record, read[i + 1][0] if i + 1 < len(read) else None)
    return tuple(step for step, _ in read)


def _step_id(record: Record) -> str | None:
    title = record.node("title") if "title" in record else None
    example = as_id(title.text) if isinstance(title, Scalar) else "isolate"
    return record.value("id", id_value, f"write id: and a short name, such as {example}")


def _step(record: Record, step_id: str) -> Step | None:
    title = record.prose("title", "write title: and what the step is called")
    start = record.value("from", time_value, "write from: and the time at which the step starts")
    end = record.value("to", time_value)
    show = _or(record.value("show", show_value), Show("real"))
    expect = record.value("expect", expected_range)
    note_node = record.node("note")
    note = "" if note_node is None else read_prose(
        note_node, record.field("note"), record.report, LONGEST_NOTE, lines=True
    )  # fmt: skip
    phase = record.prose("phase")
    stills = tuple(s for n, f in record.items("stills") if (s := _still(n, f, record.report)))
    ask = read_ask(record)
    notes_in = read_notes_in(record, LONGEST_NOTE)
    if start is None:
        return None
    until = None if end is None else RecordingTime(end)
    return Step(
        id=step_id,
        title=title,
        start=RecordingTime(start),
        end=until,
        show=show,
        expect=expect,
        note=note,
        phase=phase,
        stills=stills,
        ask=ask,
        notes_in=notes_in,
        place=record.place("from"),
    )


def _still(node: Node, field: str, report: Report) -> Still | None:
    if isinstance(node, Scalar):
        file = read_scalar(node, field, file_value, report)
        warn_of_comment(node, field, report)
        return Still(file, place=node.place) if file else None
    record = read_record(node, field, STILL_FIELDS, report, "{file: radiograph.png, hold: 4}")
    if record is None:
        return None
    at = record.value("at", time_value)
    still = Still(
        file=_file(record),
        at=None if at is None else RecordingTime(at),
        hold=_or(record.value("hold", _HOLD), DEFAULT_STILL_S),
        caption=record.prose("caption"),
        place=record.place("at" if at is not None else "file"),
    )
    return still if still.file else None
