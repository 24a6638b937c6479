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
from typing import Final, Literal, cast

from chapters.case import (
    DEFAULT_RAMP_S,
    Away,
    Case,
    Consent,
    Part,
    Place,
    Subject,
    Tooth,
)
from chapters.casechecks import (
    check_against,
    check_parts,
    check_wishes,
    in_order,
)
from chapters.casenarration import (
    read_loudness,
    read_sound_labels,
    read_takes,
    read_talk,
    read_terms,
)
from chapters.casesteps import read_steps, written_ids
from chapters.errors import Mistake
from chapters.fieldtext import (
    FieldTextError,
    choice,
    clean_text,
    file_value,
    folder_value,
    frame_rate,
    height_px,
    id_value,
    language_value,
    time_between,
    time_value,
    yes_no,
)
from chapters.record import (
    Record,
    given,
    one_word,
    read_file_name,
    read_record,
    read_scalar,
    warn_of_comment,
)
from chapters.teeth import System, ToothTextError, bare_number, tooth_from
from chapters.textfile import read_text_file
from chapters.times import LONGEST_S, RecordingTime
from chapters.yamltext import Node, Report, Scalar, quoted, read_tree

__all__ = ["LoadedCase", "check_against", "load_case", "mistake_at", "read_case"]

CASE_FIELDS: Final = (
    "case", "title", "subject", "consent", "tooth", "recordings", "away", "away_from_clocks",
    "steps", "procedure", "presenter", "tags", "language", "length", "ramp", "snap", "sound",
    "fps", "height", "colour", "range", "fonts", "narration", "talk", "loudness",
    "terms", "lexicon", "recogniser", "sound_labels", "captions", "captions_in_picture",
)  # fmt: skip
PART_FIELDS: Final = ("file", "away_before", "reason", "overlap")
AWAY_FIELDS: Final = ("at", "lasted", "reason")
CONSENT_FIELDS: Final = ("reference", "covers")
TOOTH_FIELDS: Final = ("fdi", "universal")

ZERO = Fraction(0)
_LASTED = time_between(ZERO, LONGEST_S)
_LASTED_OR_ZERO = time_between(ZERO, LONGEST_S, open_low=False)
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


def _case(top: Record) -> Case:
    case = Case(
        id=given(top.value("case", id_value, "write case: and a short name, such as bench-03"), ""),
        title=top.prose("title", "write title: and the film's title"),
        parts=_parts(top),
        steps=read_steps(top),
        subject=_subject(top),
        consent=_consent(top),
        tooth=_tooth(top),
        away=in_order(
            [a for n, f in top.items("away") if (a := _away(n, f, top.report))], top.report
        ),
        procedure=top.prose("procedure"),
        presenter=top.prose("presenter"),
        tags=_texts(top, "tags", lambda t: clean_text(t, 60)[0]),
        language=given(top.value("language", language_value), "en"),
        length=top.value("length", _LASTED),
        ramp=given(top.value("ramp", _RAMP), DEFAULT_RAMP_S),
        snap=given(top.value("snap", _SNAP), ZERO),
        clocks_give_away=given(top.value("away_from_clocks", yes_no), False),
        room_sound=one_word(top, "sound", "off", "room") == "room",
        fps=top.value("fps", frame_rate),
        height_px=top.value("height", height_px),
        colour=cast(Literal["auto", "bt601", "bt709"], one_word(top, "colour", "auto", "bt601", "bt709")),
        colour_range=cast(
            Literal["auto", "limited", "full"], one_word(top, "range", "auto", "limited", "full")
        ),
        fonts=_texts(top, "fonts", file_value),
    )  # fmt: skip
    return replace(
        case,
        narration=read_takes(top, written_ids(top)),
        talk=read_talk(top),
        loudness=read_loudness(top),
        terms=read_terms(top),
        lexicon=given(top.value("lexicon", file_value), ""),
        recogniser=given(top.value("recogniser", folder_value), ""),
        sound_labels=read_sound_labels(top),
        captions_in_picture=given(top.value("captions_in_picture", yes_no), False),
        captions=given(top.value("captions", lambda text: text.strip().lower()), "notes"),
    )


def _subject(top: Record) -> Subject:
    """Simulated or patient; never assumed, for it decides whether the film may be shown."""
    needed = "write subject: simulated for a bench case, or subject: patient"
    return cast(
        Subject, given(top.value("subject", choice("simulated", "patient"), needed), "patient")
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
        file=read_file_name(record),
        away_before=given(record.value("away_before", _LASTED_OR_ZERO), ZERO),
        overlap=given(record.value("overlap", _LASTED_OR_ZERO), ZERO),
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
