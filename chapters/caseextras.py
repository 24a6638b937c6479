"""What a step may carry besides its picture: a question for the viewer, its note in other languages."""

from __future__ import annotations

from typing import Final

from chapters.case import Ask
from chapters.fieldtext import FieldTextError, language_value
from chapters.record import Record, read_prose, read_record
from chapters.yamltext import Fields, Scalar, quoted

ASK_FIELDS: Final = ("question", "choices", "answer", "look")
_ASK_EXAMPLE: Final = '{question: "Which wall?", choices: [mesial, distal], answer: distal}'
LONGEST_ANSWER: Final = 1000
MOST_CHOICES: Final = 8


def read_ask(step: Record) -> Ask | None:
    """The question of a step, or None where it has none or a faulty one."""
    node = step.node("ask")
    if node is None:
        return None
    record = read_record(node, step.field("ask"), ASK_FIELDS, step.report, _ASK_EXAMPLE)
    if record is None:
        return None
    question = record.prose("question", f"write question:, as in {_ASK_EXAMPLE}")
    answer = record.prose("answer", f"write answer:, as in {_ASK_EXAMPLE}", LONGEST_ANSWER)
    choices = tuple(
        text
        for item, field in record.items("choices")
        if (text := read_prose(item, field, record.report, LONGEST_ANSWER))
    )
    if choices and not 2 <= len(choices) <= MOST_CHOICES:
        record.mistake("choices", f"{len(choices)} choices", f"write 2 to {MOST_CHOICES}, or none")
    elif choices and answer and answer not in choices:
        record.mistake(
            "answer", f"{quoted(answer)} is none of the choices", "write one of them, word for word"
        )
    if not question or not answer:
        return None
    return Ask(question, choices, answer, record.prose("look", longest=LONGEST_ANSWER))


def read_notes_in(step: Record, longest: int) -> tuple[tuple[str, str], ...]:
    """``notes_in: {de: …, ar: …}``: the step's note in other languages, by BCP 47 tag."""
    node = step.node("notes_in")
    if node is None:
        return ()
    example = 'write language tags and notes, such as {de: "Erst die Klammer, dann das Tuch."}'
    if not isinstance(node, Fields):
        step.mistake("notes_in", "is not a list of languages", example)
        return ()
    out: list[tuple[str, str]] = []
    for entry in node.entries:
        field = f"{step.field('notes_in')}.{entry.name}"
        try:
            tag = language_value(entry.name)
        except FieldTextError as error:
            step.report.mistake(entry.place, field, *error.args)
            continue
        if isinstance(entry.value, Scalar):
            text = read_prose(entry.value, field, step.report, longest, lines=True)
            out.append((tag, text))
        else:
            step.report.mistake(entry.place, field, "is not a text", example)
    return tuple((tag, text) for tag, text in out if text)
