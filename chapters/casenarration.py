"""``narration:`` and what belongs to it: takes by step, one talk over a cut, words, levels, sounds."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final, cast

from chapters.case import Late, Loudness, SoundLabel, Take, Talk
from chapters.fieldtext import choice, file_value, time_value
from chapters.record import Record, read_prose, read_record, read_scalar
from chapters.times import RecordingTime
from chapters.yamltext import Entry, Fields, Node, Scalar, quoted

TAKE_FIELDS: Final = ("file", "script", "late")
TALK_FIELDS: Final = ("file", "cut", "script", "late")
LATE: Final[tuple[Late, ...]] = ("refuse", "hold", "run on")
LOUDNESS: Final[tuple[Loudness, ...]] = ("speech", "broadcast")
LONGEST_SCRIPT: Final = 20_000
_EXAMPLE: Final = "{file: takes/isolate.wav, script: takes/isolate.txt, late: hold}"
LABEL_FIELDS: Final = ("at", "label")
#: A sound label is one line of a caption.
LONGEST_LABEL: Final = 60
_LABEL: Final = "{at: 3:10, label: drill whines}"
_TERMS: Final = (
    "write spellings, such as [MTA, gutta-percha], or pairs: {gutta percha: gutta-percha}"
)
_TALK: Final = "{file: talk.wav, cut: talk-time-map.json}"


def read_takes(top: Record, step_ids: Collection[str]) -> tuple[Take, ...]:
    """``narration: {isolate: takes/isolate.wav, …}`` as takes in the order of the file."""
    node = top.node("narration")
    if node is None:
        return ()
    if not isinstance(node, Fields):
        top.mistake(
            "narration", "is no mapping of steps", "write one line a step: its id and a file"
        )
        return ()
    found = [_take(top, entry, step_ids) for entry in node.entries]
    return tuple(take for take in found if take is not None)


def _take(top: Record, entry: Entry, step_ids: Collection[str]) -> Take | None:
    field = f"narration.{entry.name}"
    if entry.name not in step_ids:
        known = ", ".join(sorted(step_ids)[:12])
        top.report.mistake(
            entry.place, field, f"{quoted(entry.name)} is no step", f"the steps are {known}"
        )
        return None
    if entry.value is None:
        top.report.mistake(entry.place, field, "is empty", "write a sound file")
        return None
    if isinstance(entry.value, Scalar):
        file = read_scalar(entry.value, field, file_value, top.report)
        return Take(entry.name, file, place=entry.value.place) if file else None
    record = read_record(entry.value, field, TAKE_FIELDS, top.report, _EXAMPLE)
    if record is None:
        return None
    file = record.value("file", file_value, f"write file:, as in {_EXAMPLE}")
    late = _late(record)
    script = _script(record)
    if file is None:
        return None
    return Take(entry.name, file, script, late, record.place("file"))


def read_talk(top: Record) -> Talk | None:
    """``talk: {file: …, cut: …}``: one narration over a whole cut."""
    node = top.node("talk")
    if node is None:
        return None
    record = read_record(node, "talk", TALK_FIELDS, top.report, _TALK)
    if record is None:
        return None
    file = record.value("file", file_value, f"write file:, as in {_TALK}")
    cut = record.value(
        "cut",
        file_value,
        "write cut: and a copy of the time-map.json of the cut that was spoken over",
    )
    late = _late(record)
    script = _script(record)
    if file is None or cut is None:
        return None
    return Talk(file, cut, script, late, record.place("file"))


def read_loudness(top: Record) -> Loudness:
    """``loudness: speech`` (-18 LUFS, for the web) or ``broadcast`` (-23 LUFS)."""
    return cast(Loudness, top.value("loudness", choice(*LOUDNESS)) or "speech")


def read_terms(top: Record) -> tuple[tuple[str, str], ...]:
    """``terms: [MTA, gutta-percha]`` or ``{gutta percha: gutta-percha}``, as (written, kept).

    A spelling alone stands for itself in any capitals.
    """
    node = top.node("terms")
    if isinstance(node, Fields):
        pairs = [(entry.name.strip(), _preferred(top, entry)) for entry in node.entries]
        return tuple((written, kept) for written, kept in pairs if written and kept)
    if isinstance(node, Scalar):
        top.mistake("terms", "is neither a list nor pairs of spellings", _TERMS)
        return ()
    found = (read_prose(item, field, top.report) for item, field in top.items("terms"))
    return tuple((text, text) for text in found if text)


def _preferred(top: Record, entry: Entry) -> str:
    field = f"terms.{entry.name}"
    if entry.value is None:
        top.report.mistake(entry.place, field, "is empty", _TERMS)
        return ""
    return read_prose(entry.value, field, top.report)


def read_sound_labels(top: Record) -> tuple[SoundLabel, ...]:
    """``sound_labels: [{at: 3:10, label: drill whines}]``, in the order of their times."""
    found = [_label(node, field, top) for node, field in top.items("sound_labels")]
    return tuple(sorted((label for label in found if label), key=lambda label: label.at))


def _label(node: Node, field: str, top: Record) -> SoundLabel | None:
    record = read_record(node, field, LABEL_FIELDS, top.report, _LABEL)
    if record is None:
        return None
    at = record.value("at", time_value, f"write at:, as in {_LABEL}")
    text = record.prose("label", f"write label:, as in {_LABEL}", LONGEST_LABEL)
    if at is None or not text:
        return None
    return SoundLabel(RecordingTime(at), text, record.place("at"))


def _late(record: Record) -> Late:
    return cast(Late, record.value("late", choice(*LATE)) or "refuse")


def _script(record: Record) -> str:
    node = record.node("script")
    if node is None:
        return ""
    return read_prose(node, record.field("script"), record.report, LONGEST_SCRIPT, lines=True)
