"""Whether the parts of a case agree with one another and with the recording.

The first half needs nothing but the case file; ``check_against`` needs the lengths of the
recordings. Nothing here opens a file.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from chapters.case import Away, Case, Part, Place, Step
from chapters.errors import Mistake, Severity
from chapters.fieldtext import time_text
from chapters.record import Record
from chapters.times import RecordingTime
from chapters.yamltext import Report

#: A ``to:`` read off a player's clock may lie this far beyond the recording's last frame.
END_TOLERANCE_S = Fraction(1)
#: Time away this near to a joint that has its own ``away_before`` is probably the same time twice.
JOINT_S = Fraction(2)

Read = tuple[Step, Record]


def check_ids(records: Sequence[tuple[str, Record]], report: Report) -> None:
    """Every step's id only once; the second use is the mistake."""
    first: dict[str, Place] = {}
    for step_id, record in records:
        place = record.place("id")
        if step_id in first:
            found = f"{step_id} is also the id of the step in line {first[step_id].line}"
            report.mistake(place, record.field("id"), found, "give each step its own id")
        first.setdefault(step_id, place)


def check_order(steps: Sequence[Read]) -> None:
    """Steps in the order of the recording, none inside another, each longer than nothing."""
    for step, record in steps:
        if step.end is not None and step.end <= step.start:
            found = (
                f"{time_text(step.end)} is not after the step's start at {time_text(step.start)}"
            )
            record.mistake("to", found, "write a later time, or leave to: out")
    for (before, former), (step, record) in pairwise(steps):
        start = time_text(step.start)
        if step.start == before.start:
            found = f"{start} is where {former.where} starts as well"
            record.mistake("from", found, "give each step its own start")
        elif step.start < before.start:
            found = f"{start} is before {former.where} starts, at {time_text(before.start)}"
            record.mistake("from", found, "write the steps in the order of the recording")
        elif before.end is not None and before.end > step.start and before.end > before.start:
            found = f"{time_text(before.end)} is after {record.where} starts, at {start}"
            former.mistake("to", found, f"write at most {start}, or leave to: out")


def check_shown(step: Step, record: Record, following: Step | None) -> None:
    """Stills inside their step, and none in a step that is not shown."""
    if step.show.kind == "skip":
        if step.stills:
            record.mistake(
                "stills",
                "the step is not shown, so its pictures would not be either",
                "delete the stills, or show the step",
            )
        if step.note:
            record.warn("note", "the step is not shown, so its note is not either", "")
    end = step.end or (following.start if following else None)
    for still in step.stills:
        if still.at is None or (still.at >= step.start and (end is None or still.at <= end)):
            continue
        until = f" to {time_text(end)}" if end is not None else ""
        record.report.mistake(
            still.place,
            record.field("stills"),
            f"the still at {time_text(still.at)} lies outside its step",
            f"write a time from {time_text(step.start)}{until}, or move it to its step",
        )


def in_order(away: Sequence[Away], report: Report) -> tuple[Away, ...]:
    """Time away sorted by its start; two at the same moment are a mistake."""
    for before, later in pairwise(away):
        if later.at < before.at:
            report.warn(
                later.place,
                "away",
                f"{time_text(later.at)} stands after {time_text(before.at)}",
                "the order of time is easier to check",
            )
    ordered = tuple(sorted(away, key=lambda a: a.at))
    for before, later in pairwise(ordered):
        if later.at == before.at:
            both = time_text(before.lasted + later.lasted)
            found = f"{time_text(later.at)} is also in line {before.place.line}"
            report.mistake(later.place, "away", found, f"write one entry that lasted {both}")
    return ordered


def check_parts(parts: Sequence[tuple[str, Part]], report: Report) -> None:
    """No recording twice; nothing away before, or overlapping, the first one.

    Each part comes with its name in messages, ``recordings[2]``; faulty ones are left out.
    """
    first: dict[str, int] = {}
    for field, part in parts:
        name = unicodedata.normalize("NFC", part.file)
        if name in first:
            found = f"{part.file} is also in line {first[name]}"
            report.mistake(part.place, field, found, "name each recording once")
        first.setdefault(name, part.place.line)
        if field == "recordings[1]" and (part.away_before or part.overlap):
            found = "the clock starts with the first recording, so nothing comes before it"
            report.mistake(part.place, field, found, "write away_before and overlap for later ones")
        elif part.away_before and part.overlap:
            found = "away_before and overlap exclude one another"
            report.mistake(part.place, field, found, "keep the one that is true")


def check_wishes(case: Case, record: Record) -> None:
    """Warnings about what the case asks for and cannot have."""
    if case.subject == "patient" and case.consent is None:
        record.warn(
            "subject",
            "a patient case without a consent record is marked NOT FOR PUBLICATION",
            "once there is a record, write consent: {reference: ..., covers: ...}",
        )
    if case.length is not None and not any(s.show.kind == "fast" for s in case.steps):
        record.warn(
            "length",
            "no step is fast, so nothing can be fitted to the wished length",
            "write show: fast for the steps that may run fast",
        )
    left_out = {step.id for step in case.steps if step.show.kind == "skip"}
    for take in case.narration:
        if take.step in left_out:
            record.report.warn(
                take.place,
                f"narration.{take.step}",
                "the step is not shown, so its take is not heard",
                "show the step, or leave the take out",
            )
    if case.sound_labels and not case.room_sound:
        record.warn(
            "sound_labels",
            "the film has no sound of the room, so nothing is labelled",
            "write sound: room to keep it",
        )


class _Against:
    """Collects what does not fit the recording."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Mistake] = []

    def add(
        self, place: Place, field: str, found: str, advice: str, severity: Severity = "mistake"
    ) -> None:
        self.found.append(
            Mistake(self.file, place.line, place.column, field, found, advice, severity)
        )


def check_against(
    case: Case,
    recording_length_s: Fraction,
    file: str = "case.yaml",
    part_lengths_s: Sequence[Fraction] = (),
) -> tuple[Mistake, ...]:
    """What in the case lies beyond its recording, in the order of the file.

    ``recording_length_s`` is the length of all parts end to end, overlaps taken out; ``file`` the
    case file's name in messages; ``part_lengths_s`` are the files' own lengths, one a part, or nothing. Times away and stills
    beyond the end are mistakes; an end less than a second beyond is a warning (see
    ``fit_to_recording``); away time beside a joint that has its own is a warning.
    """
    against = _Against(file)
    end = f"the recording's end at {_about(recording_length_s)}"
    for number, step in enumerate(case.steps, 1):
        _step_against(step, f"steps[{number}]", recording_length_s, end, against)
    for away in case.away:
        if away.at >= recording_length_s:
            found = f"{time_text(away.at)} is not before {end}"
            against.add(away.place, "away", found, "times count along the recordings end to end")
    for number, label in enumerate(case.sound_labels, 1):
        if label.at >= recording_length_s:
            found = f"{time_text(label.at)} is not before {end}"
            advice = "times count along the recordings end to end"
            against.add(label.place, f"sound_labels[{number}].at", found, advice)
    if part_lengths_s:
        _parts_against(case, part_lengths_s, against)
    return tuple(sorted(against.found, key=lambda m: (m.line, m.column)))


def _step_against(step: Step, field: str, length_s: Fraction, end: str, against: _Against) -> None:
    if step.start >= length_s:
        found = f"{time_text(step.start)} is not before {end}"
        advice = "times count along the recordings end to end"
        against.add(step.place, f"{field}.from", found, advice)
    elif step.end is not None and step.end > length_s:
        found = f"{time_text(step.end)} is beyond {end}"
        if step.end <= length_s + END_TOLERANCE_S:
            advice = "the step ends with the recording"
            against.add(step.place, f"{field}.to", found, advice, "warning")
        else:
            against.add(step.place, f"{field}.to", found, "leave to: out for the last step")
    for still in step.stills:
        if still.at is not None and still.at > length_s:
            found = f"the still at {time_text(still.at)} is beyond {end}"
            against.add(still.place, f"{field}.stills", found, "write a time inside its step")


def _parts_against(case: Case, lengths_s: Sequence[Fraction], against: _Against) -> None:
    joint = Fraction(0)
    for number, (part, length) in enumerate(zip(case.parts, lengths_s, strict=True), 1):
        field = f"recordings[{number}]"
        if part.overlap >= length:
            found = f"an overlap of {time_text(part.overlap)} leaves nothing of {part.file}"
            advice = f"it is {_about(length)} long"
            against.add(part.place, f"{field}.overlap", found, advice)
        has_own = part.away_before > 0 or (case.clocks_give_away and number > 1)
        for away in case.away:
            if has_own and abs(away.at - joint) <= JOINT_S:
                found = (
                    f"{time_text(away.at)} is where {part.file} begins, which has its own time "
                    "away; both are counted"
                )
                advice = "delete one of the two if they are the same time"
                against.add(away.place, "away", found, advice, "warning")
        joint += max(Fraction(0), length - part.overlap)


def _about(seconds: Fraction) -> str:
    """A measured length as a time text, down to the millisecond."""
    return time_text(Fraction(int(seconds * 1000), 1000))


def fit_to_recording(case: Case, recording_length_s: Fraction) -> Case:
    """The same case, no step ending beyond the recording. Call after ``check_against``."""
    return replace(
        case,
        steps=tuple(
            replace(s, end=RecordingTime(recording_length_s))
            if s.end is not None and s.start < recording_length_s < s.end
            else s
            for s in case.steps
        ),
    )
