"""One mapping of the case file, asked for its fields by name; faults go to the report.

Every reader returns the value, or None where the field is absent or faulty: a faulty file is
read to its end so that all its mistakes are told at once, and no case is made of it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from types import MappingProxyType
from typing import Final, TypeVar

from chapters.case import Place
from chapters.fieldtext import (
    LONGEST_TITLE,
    FieldTextError,
    choice,
    clean_text,
    file_value,
    nearest,
)
from chapters.yamltext import Entry, Fields, Items, Node, Report, Scalar, quoted

T = TypeVar("T")

#: What people write instead -> what the field is called here.
_OTHER_WORDS: Final = MappingProxyType(
    {
        "start": "from",
        "begin": "from",
        "end": "to",
        "until": "to",
        "speed": "show",
        "name": "title",
        "label": "title",
        "text": "note",
        "notes": "note",
        "comment": "note",
        "caption": "note",
        "narration": "note",
        "expected": "expect",
        "duration": "lasted",
        "length": "lasted",
        "when": "at",
        "time": "at",
        "why": "reason",
        "files": "recordings",
        "videos": "recordings",
        "video": "recordings",
        "parts": "recordings",
        "lang": "language",
        "color": "colour",
        "id": "case",
        "pictures": "stills",
        "images": "stills",
        "iso": "fdi",
        "iso3950": "fdi",
        "ref": "reference",
    }
)
_HINTED = 30


class Record:
    """The fields of one mapping. ``where`` is its name in messages, such as ``steps[3]``."""

    def __init__(self, node: Fields, where: str, allowed: Sequence[str], report: Report) -> None:
        self.where = where
        self.report = report
        self._allowed = allowed
        self._node = node
        self._entries = {e.name: e for e in node.entries if e.name in allowed}
        self._meant: set[str] = set()
        report.places.update({self.field(name): self.place(name) for name in self._entries})
        unknown = [e for e in node.entries if e.name not in allowed]
        for count, entry in enumerate(unknown):
            self._unknown(entry, hinted=count < _HINTED)

    def _unknown(self, entry: Entry, *, hinted: bool) -> None:
        advice = f"the fields here are {', '.join(self._allowed)}"
        if hinted:
            near = nearest(entry.name, self._allowed) or _OTHER_WORDS.get(entry.name.lower(), "")
            if near in self._allowed:
                advice = f"did you mean {near}?"
                self._meant.add(near)
        self.report.mistake(
            entry.place, self.where, f"{quoted(entry.name)} is not a field here", advice
        )

    def __contains__(self, name: str) -> bool:
        return name in self._entries

    def field(self, name: str) -> str:
        """The field's full name for a message: ``steps[3].expect``."""
        return f"{self.where}.{name}" if self.where else name

    def place(self, name: str = "") -> Place:
        """Where the field's value stands; the record's own place where there is none."""
        entry = self._entries.get(name)
        if entry is None:
            return self._node.place
        return entry.place if entry.value is None else entry.value.place

    def mistake(self, name: str, found: str, advice: str) -> None:
        """Report a fault of one field at its place."""
        self.report.mistake(self.place(name), self.field(name), found, advice)

    def warn(self, name: str, found: str, advice: str) -> None:
        """Report a warning about one field at its place."""
        self.report.warn(self.place(name), self.field(name), found, advice)

    def node(self, name: str, needed: str = "") -> Node | None:
        """The field's value. ``needed`` says what to write where the field must not be absent."""
        entry = self._entries.get(name)
        if entry is None:
            if needed and name not in self._meant:
                self.mistake(name, "is missing", needed)
            return None
        return entry.value

    def value(self, name: str, read: Callable[[str], T], needed: str = "") -> T | None:
        """The field's one value, understood by ``read`` (see fieldtext)."""
        node = self.node(name, needed)
        return None if node is None else read_scalar(node, self.field(name), read, self.report)

    def prose(self, name: str, needed: str = "", longest: int = LONGEST_TITLE) -> str:
        """The field's words, cleaned (see ``fieldtext.clean_text``); empty where absent or faulty."""
        node = self.node(name, needed)
        return "" if node is None else read_prose(node, self.field(name), self.report, longest)

    def items(self, name: str, needed: str = "") -> tuple[tuple[Node, str], ...]:
        """The items of a list field, each with its name in messages; counted from 1."""
        node = self.node(name, needed)
        if node is None:
            return ()
        field = self.field(name)
        if not isinstance(node, Items):
            self._no_list(name, node)
            return ()
        if not node.items and needed:
            self.mistake(name, "is an empty list", needed)
        return tuple((n, f"{field}[{i}]") for i, n in enumerate(node.items, 1) if n is not None)

    def _no_list(self, name: str, node: Scalar | Fields) -> None:
        advice = "write one item a line, each after a dash"
        found = "is not a list"
        if isinstance(node, Scalar):
            if not node.text:
                found = "is empty"
            elif re.fullmatch(r"[\w./-]{1,40}", node.text):
                advice = f"write {name}: [{node.text}]"
        self.mistake(name, found, advice)


def read_scalar(node: Node, field: str, read: Callable[[str], T], report: Report) -> T | None:
    """The value of ``node``, or None and a mistake in the report."""
    if not isinstance(node, Scalar):
        kind = "a list" if isinstance(node, Items) else "a group of fields"
        report.mistake(node.place, field, f"is {kind}", "write one value")
        return None
    if not node.text.strip():
        found = 'is empty, for what follows " #" is a comment' if node.comment else "is empty"
        advice = "put the text in quotes" if node.comment else "write a value or delete the line"
        report.mistake(node.place, field, found, advice)
        return None
    try:
        return read(node.text)
    except FieldTextError as error:
        found, advice = error.args
        report.mistake(node.place, field, found, advice)
        return None


def read_prose(
    node: Node, field: str, report: Report, longest: int = LONGEST_TITLE, *, lines: bool = False
) -> str:
    """Words for people; warns of a swallowed comment and of direction marks left out."""
    found = read_scalar(
        node, field, lambda text: clean_text(text, longest, keep_lines=lines), report
    )
    warn_of_comment(node, field, report)
    if found is None:
        return ""
    text, changed = found
    if changed:
        report.warn(
            node.place,
            field,
            "invisible direction marks or zero-width characters are left out",
            "type the text anew where its order looks wrong",
        )
    return text


def warn_of_comment(node: Node, field: str, report: Report) -> None:
    """Warn where `` #`` cut a text short that its writer may have meant whole."""
    if isinstance(node, Scalar) and node.comment and node.text:
        report.warn(
            node.place,
            field,
            f"{quoted(node.comment)} is a comment and not in the text",
            "put the whole text in quotes if it belongs there",
        )


def read_record(
    node: Node, field: str, allowed: Sequence[str], report: Report, example: str
) -> Record | None:
    """``node`` as a record, or None and a mistake that shows ``example``."""
    if isinstance(node, Fields):
        return Record(node, field, allowed, report)
    kind = "a list" if isinstance(node, Items) else quoted(node.text)
    report.mistake(node.place, field, f"{kind} is not a group of fields", f"write {example}")
    return None


def given(value: T | None, default: T) -> T:
    """``value`` unless it is None; a faulty field has left a mistake, so no case comes of it."""
    return default if value is None else value


def one_word(record: Record, name: str, *allowed: str) -> str:
    """One of a few words, the first where the field is absent."""
    return given(record.value(name, choice(*allowed)), allowed[0])


def read_file_name(record: Record) -> str:
    """``file:`` of a group of fields; empty where it is absent or faulty."""
    file = record.value("file", file_value, "write file: and the file's name")
    node = record.node("file")
    if node is not None:
        warn_of_comment(node, record.field("file"), record.report)
    return file or ""
