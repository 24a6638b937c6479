"""Whatever the text, a case comes of it or its mistakes do; nothing else ever."""

from __future__ import annotations

import re

from hypothesis import example, given, settings
from hypothesis import strategies as st

from chapters.case import Case
from chapters.casefile import read_case
from chapters.errors import CaseFileError
from tests.chapters.casetexts import FULL, SMALL

#: What YAML, times, names and languages are made of, and what breaks them.
PIECES = (
    ": ", ":", "- ", "#", " #", "{", "}", "[", "]", ",", "&a ", "*a", "!", "!!int ", "|", ">", "'",
    '"', "%YAML 9", "@", "`", "\t", "\n", "\r", "  ", "? ", "<<: ", "---\n", "...\n", "~", "null",
    "\\", "\\x00", '"\\uD800"', '"\\UFFFFFFFF"', "\0", "\x07", "\x85", "\u2028", "\ufeff", "\u202e",
    "\ud800", "é", "e\u0301", "א", "٣", "𝟛", "1:75", "-1", "9" * 400, "1e9", "0x10", ".inf", "..",
    "1:00..0:30", "0.1x", "fast up to ", "skip", "real", "yes", "../", "/", "C:\\", "http://",
    "case:", "title:", "steps:", "from:", "to:", "stills:", "{at: 1, lasted: 1, reason: a}", "36",
)  # fmt: skip


def outcome(text: str) -> Case | CaseFileError:
    """The case or its mistakes; whatever else is raised fails the test."""
    try:
        return read_case(text, "case.yaml")[0]
    except CaseFileError as error:
        return error


def check(text: str) -> None:
    """Every mistake has a place inside the text, words, and one printable line."""
    found = outcome(text)
    if isinstance(found, Case):
        assert found.id and found.title and found.parts and found.steps
        assert all(a.start < b.start for a, b in zip(found.steps, found.steps[1:], strict=False))
        return
    lines = re.split(r"\r\n|\r|\n", text.removeprefix("\ufeff"))
    assert found.mistakes
    for mistake in found.mistakes:
        assert 1 <= mistake.line <= len(lines)
        assert 1 <= mistake.column <= len(lines[mistake.line - 1]) + 1
        assert mistake.found and mistake.advice
        assert str(mistake).isprintable()
    assert len(set(found.mistakes)) == len(found.mistakes)


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """A valid case file with a few pieces put in, cut out, doubled or moved."""
    text = draw(st.sampled_from((FULL, SMALL)))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(text)))
        end = min(len(text), at + draw(st.integers(0, 30)))
        piece = draw(st.sampled_from((*PIECES, text[at:end], "")))
        keep = draw(st.booleans())
        text = text[:at] + piece + text[at if keep else end :]
    return text


@settings(max_examples=400, deadline=None, derandomize=True)
@given(mutated())
@example(SMALL.replace("title: Sealing", "title: &a [*a]\nx: Sealing"))
@example("%TAG ! tag:x,2000:\n---\na: !b c")
@example("%YAML 1.1\n%YAML 1.1\n---\n")
@example("? \n: \n")
@example("a: !%zz b")
@example("a: !<%FF> b")
@example('"\\')
@example("\ufeff\ufeffcase: x")
@example("case: |9\n")
def test_mutated_case_files(text: str) -> None:
    """A valid file damaged anywhere is still read or refused in sentences."""
    check(text)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from(PIECES), max_size=40).map("".join))
def test_heaps_of_yaml_signs(text: str) -> None:
    """Signs in no order at all are refused in sentences."""
    check(text)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text())
def test_any_text(text: str) -> None:
    """So is any text."""
    check(text)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.sampled_from(("title: Sealing", "0:08", "2:40", "bench-03", "scope-001", "simulated")),
       st.text(max_size=30))  # fmt: skip
def test_any_value_in_double_quotes(place: str, value: str) -> None:
    """Any value, quoted and escaped as JSON would, meets its field's own reader."""
    escaped = "".join(
        c if c.isascii() and c.isprintable() and c not in '"\\' else f"\\U{ord(c):08X}"
        for c in value
    )
    keep = "title: " if place.startswith("title") else ""
    check(SMALL.replace(place, f'{keep}"{escaped}"', 1))
