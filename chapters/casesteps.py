"""``steps:`` of the case file: each step, and the pictures laid into it."""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from chapters.case import DEFAULT_STILL_S, Show, Step, Still
from chapters.casechecks import check_ids, check_order, check_shown
from chapters.caseextras import read_ask, read_notes_in
from chapters.fieldtext import (
    as_id,
    expected_range,
    file_value,
    id_value,
    show_value,
    time_between,
    time_value,
)
from chapters.record import (
    Record,
    given,
    read_file_name,
    read_prose,
    read_record,
    read_scalar,
    warn_of_comment,
)
from chapters.times import RecordingTime
from chapters.yamltext import Fields, Items, Node, Report, Scalar

LONGEST_NOTE = 5000
STEP_FIELDS: Final = (
    "id", "title", "from", "to", "show", "expect", "note", "notes_in", "phase", "stills", "ask",
)  # fmt: skip
STILL_FIELDS: Final = ("file", "at", "hold", "caption")
_HOLD = time_between(Fraction(0), Fraction(600))


def written_ids(top: Record) -> tuple[str, ...]:
    """The steps' names as they stand in the file, also of steps that have mistakes; says nothing."""
    node = top.node("steps")
    steps = [s for s in node.items if isinstance(s, Fields)] if isinstance(node, Items) else []
    ids = [e.value for s in steps for e in s.entries if e.name == "id"]
    return tuple(value.text for value in ids if isinstance(value, Scalar))


def read_steps(top: Record) -> tuple[Step, ...]:
    """The steps in the order of the file, checked against one another; faults go to the report."""
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
    show = given(record.value("show", show_value), Show("real"))
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
        file=read_file_name(record),
        at=None if at is None else RecordingTime(at),
        hold=given(record.value("hold", _HOLD), DEFAULT_STILL_S),
        caption=record.prose("caption"),
        place=record.place("at" if at is not None else "file"),
    )
    return still if still.file else None
