"""YAML text -> a tree of texts, each with its place; or every fault of the form.

The syntax is YAML 1.1 as PyYAML reads it (https://yaml.org/spec/1.1/), with the meaning taken
out: no scalar becomes a number, a date or a truth value, so ``1:30``, ``no`` and ``010`` stay
what was written. Aliases, anchors, tags, merge keys, repeated fields, deep nesting and second
documents are refused, for each lets a file say something that its reader does not see.

What a field means is no business of this module. Nothing here opens a file.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import yaml

from chapters.case import Place
from chapters.errors import CaseFileError, Mistake

#: A list of steps with pictures needs five levels.
DEEPEST = 8
#: A case of five hundred steps with every field written has about ten thousand values.
MOST_VALUES = 50_000
#: After so many faults the rest of the file is no longer worth a list.
MOST_MISTAKES = 500

_LINE_END = re.compile(r"\r\n|\r|\n")
_UNPRINTABLE = yaml.reader.Reader.NON_PRINTABLE
_COMMENT = re.compile(r"[ \t]+(#[^\r\n]*)")
_BIG_ESCAPE = re.compile(r"\\U(?!000[0-9A-Fa-f]|0010)[0-9A-Fa-f]{8}")
_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Scalar:
    """One value as it was written. ``comment`` is what a `` #`` cut off a text without quotes."""

    text: str
    place: Place
    comment: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list; an item that could not be read is None, and has been reported."""

    items: tuple[Node | None, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Entry:
    """One ``name: value`` line; a value that could not be read is None, and has been reported."""

    name: str
    place: Place
    value: Node | None


@dataclass(frozen=True, slots=True)
class Fields:
    """A mapping: its entries in the order of the file, no name twice."""

    entries: tuple[Entry, ...]
    place: Place


Node = Scalar | Items | Fields


class Report:
    """Collects the faults of one file, and the place of every field read so far."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.places: dict[str, Place] = {}
        self.mistakes: list[Mistake] = []
        self.warnings: list[Mistake] = []

    def mistake(self, place: Place, field: str, found: str, advice: str) -> None:
        """Note a fault that stops the work."""
        if len(self.mistakes) >= MOST_MISTAKES:
            self.stop()
        self.mistakes.append(Mistake(self.file, place.line, place.column, field, found, advice))

    def warn(self, place: Place, field: str, found: str, advice: str) -> None:
        """Note something that is probably not meant, yet can be worked with."""
        if len(self.warnings) < MOST_MISTAKES:
            self.warnings.append(
                Mistake(self.file, place.line, place.column, field, found, advice, "warning")
            )

    def stop(self) -> None:
        """Raise CaseFileError with every mistake so far, if there is one."""
        if self.mistakes:
            raise CaseFileError(tuple(self.mistakes))


def quoted(text: str) -> str:
    """A value as a message shows it: in quotes, clipped, every invisible character spelt out."""
    shown = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in text[:_SHOWN])
    return f'"{shown}"' + ("..." if len(text) > _SHOWN else "")


def caret_lines(text: str, mistake: Mistake) -> str:
    """The faulty line with a caret under the place, two lines; empty where there is no such line."""
    lines = _LINE_END.split(text.removeprefix("\ufeff"))
    if not 1 <= mistake.line <= len(lines):
        return ""
    start = max(0, mistake.column - _SHOWN)
    cut = lines[mistake.line - 1][start : start + 2 * _SHOWN]
    line = "".join(c if c.isprintable() else " " for c in cut)
    return f"    {line}\n    {' ' * (mistake.column - 1 - start)}^"


def read_tree(text: str, report: Report) -> Fields:
    """Read ``text`` as one YAML document whose top level is a mapping.

    Faults that leave the rest readable (a repeated field, an alias) go to ``report``; raises
    CaseFileError, all mistakes so far included, where no tree can be had.
    """
    tree = _Reader(text.removeprefix("\ufeff"), report).document()
    if not isinstance(tree, Fields):
        place = tree.place if tree is not None else Place(1, 1)
        found = "the file is empty" if tree is None else "the file does not begin with a field"
        report.mistake(place, "", found, "begin with a line such as case: bench-03")
        report.stop()
        raise AssertionError("stop() raises once a mistake is noted")
    return tree


class _Mark(Protocol):
    """A place in PyYAML's terms; both of its parsers have one."""

    @property
    def index(self) -> int: ...


class _Reader:
    """Walks PyYAML's events; depth and number of values are bounded, so no file exhausts it."""

    def __init__(self, text: str, report: Report) -> None:
        self._text = text
        self._report = report
        self._starts = [0, *(m.end() for m in _LINE_END.finditer(text))]
        self._values = 0
        self._events = self._checked_events()

    def _place(self, index: int) -> Place:
        """Line and column as an editor counts them (YAML also counts U+0085 and U+2028 as ends)."""
        line = bisect_right(self._starts, index)
        return Place(line, index - self._starts[line - 1] + 1)

    def _index(self, mark: _Mark | None) -> int:
        """Where a mark of PyYAML's stands in the text; its end stands one beyond."""
        return min(mark.index, len(self._text)) if mark else 0

    def _fatal(self, index: int, found: str, advice: str) -> CaseFileError:
        place = self._place(index)
        file = self._report.file
        mistake = Mistake(file, place.line, place.column, "", found, advice)
        return CaseFileError((*self._report.mistakes, mistake))

    def _checked_events(self) -> Iterator[yaml.Event]:
        """PyYAML's events; whatever it raises comes out as CaseFileError with a plain hint."""
        bad = _UNPRINTABLE.search(self._text)
        if bad:
            raise self._fatal(bad.start(), *_unprintable(bad[0]))
        try:
            yield from yaml.parse(self._text, Loader=yaml.SafeLoader)
        except yaml.MarkedYAMLError as error:
            index = self._index(error.problem_mark or error.context_mark)
            raise self._fatal(index, *self._explain(error, index)) from None
        except (ValueError, OverflowError):  # PyYAML lets chr() and int() speak for themselves
            big = _BIG_ESCAPE.search(self._text)
            found = f"{big[0]} names no character" if big else "a number that YAML cannot hold"
            advice = "put the text in single quotes"
            raise self._fatal(big.start() if big else 0, found, advice) from None

    def _explain(self, error: yaml.MarkedYAMLError, index: int) -> tuple[str, str]:
        line = self._place(index).line
        before = self._text[self._starts[line - 1] : index]
        after = _LINE_END.split(self._text[index:], maxsplit=1)[0]
        opened = error.context_mark
        first = self._place(self._index(opened)).line if opened else line
        return explain(f"{error.context or ''}; {error.problem or ''}", first, before, after)

    def document(self) -> Node | None:
        """The one document's tree, or None where the file holds none."""
        tree: Node | None = None
        documents = 0
        for event in self._events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise self._fatal(
                        self._index(event.start_mark),
                        "a second document begins here",
                        "write one case a file, without a line of ---",
                    )
            elif isinstance(event, yaml.NodeEvent):
                tree = self._node(event, 1)
        return tree

    def _node(self, event: yaml.Event, depth: int) -> Node | None:
        index = self._index(event.start_mark)
        self._values += 1
        if self._values > MOST_VALUES:
            raise self._fatal(index, "more values than a case has", "is this the right file?")
        if depth > DEEPEST:
            raise self._fatal(
                index, f"nested more than {DEEPEST} levels deep", "check the brackets and the lines"
            )
        if isinstance(event, yaml.AliasEvent):
            self._refuse(index, f"*{event.anchor} is an alias", "write the value out")
            return None
        if isinstance(event, yaml.NodeEvent) and event.anchor is not None:
            self._refuse(index, f"&{event.anchor} is an anchor", "delete it, or put it in quotes")
        tag = getattr(event, "tag", None)
        if tag is not None:
            said = quoted(tag.replace("tag:yaml.org,2002:", "!!"))
            self._refuse(index, f"{said} is a tag", "delete it, or put the text in quotes")
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event)
        if isinstance(event, yaml.SequenceStartEvent):
            return self._items(event, depth)
        return self._fields(event, depth)

    def _refuse(self, index: int, found: str, advice: str) -> None:
        self._report.mistake(self._place(index), "", found, advice)

    def _scalar(self, event: yaml.ScalarEvent) -> Scalar:
        comment = None
        if event.style is None:
            comment = _COMMENT.match(self._text, self._index(event.end_mark))
        place = self._place(self._index(event.start_mark))
        return Scalar(event.value, place, comment[1] if comment else "")

    def _items(self, start: yaml.Event, depth: int) -> Items:
        items: list[Node | None] = []
        while not isinstance(event := next(self._events), yaml.SequenceEndEvent):
            items.append(self._node(event, depth + 1))
        return Items(tuple(items), self._place(self._index(start.start_mark)))

    def _fields(self, start: yaml.Event, depth: int) -> Fields:
        entries: dict[str, Entry] = {}
        while not isinstance(event := next(self._events), yaml.MappingEndEvent):
            index = self._index(event.start_mark)
            name = self._node(event, depth + 1)
            value = self._node(next(self._events), depth + 1)
            if not isinstance(name, Scalar):
                self._refuse(index, "a field's name is one word", "write name: value")
            elif name.text == "<<":
                self._refuse(index, "<< is a merge key", "write the fields out")
            elif name.text in entries:
                line = entries[name.text].place.line
                found = f"{quoted(name.text)} stands here twice, first in line {line}"
                self._refuse(index, found, "delete one of the two")
            else:
                entries[name.text] = Entry(name.text, name.place, value)
        return Fields(tuple(entries.values()), self._place(self._index(start.start_mark)))


def _unprintable(character: str) -> tuple[str, str]:
    if character == "\0":
        return "a NUL byte", "save the case file as plain text in UTF-8"
    return f"the control character U+{ord(character):04X}", "delete it"


#: What PyYAML's scanner and parser say -> what it means to someone who writes a list of steps.
#: ``{first}`` is the line in which the unfinished thing began. The first match wins.
_HINTS: tuple[tuple[str, str, str], ...] = (
    (r"'\\t' that cannot start", "a tab before the text", "indent with spaces"),
    (r"cannot start any token", "a text cannot begin with {char}", "put the text in quotes"),
    (
        r"mapping values are not allowed",
        "a colon inside a value",
        'put the text in quotes, such as title: "Cut: part 2", '
        "or indent the line like its neighbours",
    ),
    (
        r"could not find expected ':'",
        "line {first} has no colon with a space after it",
        "write name: value",
    ),
    (
        r"(?=.*quoted scalar).*(unexpected end of stream|document separator)",
        "the quotation mark opened in line {first} is never closed",
        "close it, or write '' for an apostrophe inside single quotes",
    ),
    (
        r"unknown escape character|hexadecimal numbers",
        "a backslash inside double quotes",
        "use single quotes, and / between folder and file",
    ),
    (r"an (alias|anchor)", "a text cannot begin with * or &", "put the text in quotes"),
    (r"a block scalar", "a text cannot begin with | or >", "put the text in quotes"),
    (r"a tag|tag handle", "a text cannot begin with !", "put the text in quotes"),
    (
        r"a directive|YAML directive|incompatible YAML|document start",
        "a line that belongs to no field",
        "begin with a line such as case: bench-03, and put a text that begins with % in quotes",
    ),
    (
        r"sequence entries are not allowed",
        "a list item in the middle of a line",
        "begin the list on the next line",
    ),
    (
        r"expected ',' or '(\]|\})'|while parsing a flow",
        "the bracket opened in line {first} is not closed before this",
        "close it, and put texts that hold , : ? [ ] {{ }} in quotes",
    ),
    (
        r"expected the node content|mapping keys are not allowed",
        "a text cannot begin with {char}",
        "put the text in quotes",
    ),
    (
        r"<block end>",
        "this does not line up with what stands above it",
        "indent the fields of one step alike",
    ),
)
_SWALLOWED = re.compile(r"[{\[][^'\"]*[ \t]#")


def explain(problem: str, first_line: int, before: str, after: str) -> tuple[str, str]:
    """Put PyYAML's words for a syntax error as (what was found, what to write).

    ``problem`` is its context and problem, ``first_line`` where the unfinished thing began;
    ``before`` and ``after`` are the faulty line's text on both sides of the fault.
    """
    if "<block end>" in problem and before.rstrip().endswith(("'", '"')):
        return "text after the closing quotation mark", (
            "put the whole text between one pair of quotation marks"
        )
    for pattern, found, advice in _HINTS:
        if re.search(pattern, problem):
            if "bracket" in found and _SWALLOWED.search(before):
                advice = 'what follows " #" is a comment, so put that text in quotes'
            values = {"first": first_line, "char": after[:1] or "this"}
            return found.format(**values), advice.format(**values)
    return "the text breaks off or does not fit", (
        "check the quotes, brackets and indentation of this line"
    )
