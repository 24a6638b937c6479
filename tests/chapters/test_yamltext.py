"""The form of a case file: places, and what is refused whatever the fields mean."""

from __future__ import annotations

import pytest

from chapters.case import Place
from chapters.errors import CaseFileError, Mistake
from chapters.yamltext import (
    MOST_MISTAKES,
    MOST_VALUES,
    Fields,
    Items,
    Node,
    Report,
    Scalar,
    caret_lines,
    quoted,
    read_tree,
)


def tree_of(text: str) -> Fields:
    """The tree of a text without faults."""
    report = Report("case.yaml")
    tree = read_tree(text, report)
    assert report.mistakes == []
    return tree


def value(tree: Fields, name: str) -> Node | None:
    """The value of one field of a tree."""
    return next(e.value for e in tree.entries if e.name == name)


def faults(text: str) -> list[str]:
    """Every mistake of the text's form, as printed."""
    report = Report("case.yaml")
    try:
        read_tree(text, report)
    except CaseFileError as error:
        return [str(m) for m in error.mistakes]
    return [str(m) for m in report.mistakes]


#: What YAML 1.1 takes for base-60 and octal numbers, truth values, nothing, infinity and a date.
TEXTS = (
    "1:30 01:30 0:45 12:30:15 1:30.5 no Off on ~ null 010 08 0123 1_000 12e5 .inf 2024-01-02 = "
    "http://x:80/y it's"
)


@pytest.mark.parametrize(
    "written",
    ["1" * 5000, *TEXTS.split()],
)
def test_scalars_stay_text(written: str) -> None:
    """What YAML 1.1 takes for a number, date, truth value or nothing stays what was written."""
    assert value(tree_of(f"a: {written}\n"), "a") == Scalar(written, Place(1, 4))


def test_places_count_from_one_and_in_characters() -> None:
    """Line and column are an editor's: from 1, in characters, whatever stands before."""
    tree = tree_of("título: é\nsteps:\n  - {ä: ö, to: 0:08}\n")
    steps = value(tree, "steps")
    assert isinstance(steps, Items)
    step = steps.items[0]
    assert isinstance(step, Fields)
    assert step.place == Place(3, 5)
    assert value(step, "to") == Scalar("0:08", Place(3, 16))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_of_three_systems(end: str) -> None:
    """Unix, Windows and old Macintosh line ends count alike."""
    tree = tree_of(f"a: b{end}c: d{end}")
    assert value(tree, "c") == Scalar("d", Place(2, 4))


def test_unicode_line_ends_are_no_lines_for_an_editor() -> None:
    """YAML 1.1 breaks lines at U+0085 and U+2028, editors do not; the places are the editor's."""
    assert faults("a: \u2028\u0085 b\nc: @x\n") == [
        "case.yaml:2:4: a text cannot begin with @; put the text in quotes"
    ]


def test_byte_order_mark_takes_no_column() -> None:
    """A mark that an editor on Windows left at the start moves no place."""
    assert value(tree_of("\ufeffa: b\n"), "a") == Scalar("b", Place(1, 4))


def test_comment_that_cuts_a_text_short_is_kept_beside_it() -> None:
    """The text after a `` #`` is lost to YAML and kept for a warning; in quotes nothing is lost."""
    tree = tree_of("a: step #1\nb: 'step #1'\nc: x#1\nd:  #1 x\n")
    assert value(tree, "a") == Scalar("step", Place(1, 4), "#1")
    assert value(tree, "b") == Scalar("step #1", Place(2, 4))
    assert value(tree, "c") == Scalar("x#1", Place(3, 4))
    assert value(tree, "d") == Scalar("", Place(4, 3), "#1 x")


QUOTES = "put the text in quotes"
COLON = (
    'a colon inside a value; put the text in quotes, such as title: "Cut: part 2", '
    "or indent the line like its neighbours"
)
BRACKET = (
    "the bracket opened in line 1 is not closed before this; close it, and put texts that hold "
    ", : ? [ ] { } in quotes"
)
AFTER_QUOTE = (
    "text after the closing quotation mark; put the whole text between one pair of quotation marks"
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a: Cut: part 2", f"1:7: {COLON}"),
        ("a: b\n c: d", f"2:3: {COLON}"),
        ("a: @x", f"1:4: a text cannot begin with @; {QUOTES}"),
        ("a: %x", f"1:4: a text cannot begin with %; {QUOTES}"),
        ("a: `x", f"1:4: a text cannot begin with `; {QUOTES}"),
        ("a: }", f"1:4: a text cannot begin with }}; {QUOTES}"),
        ("a: ?", f"1:4: a text cannot begin with ?; {QUOTES}"),
        ("a: *much* x", f"1:9: a text cannot begin with * or &; {QUOTES}"),
        ("a: |x\n b", f"1:5: a text cannot begin with | or >; {QUOTES}"),
        ("a: !x!y z", f"1:4: a text cannot begin with !; {QUOTES}"),
        ("\ta: b", "1:1: a tab before the text; indent with spaces"),
        ("a:\n\t- b", "2:1: a tab before the text; indent with spaces"),
        (
            "a: b\nfoo\nc: d",
            "3:1: line 2 has no colon with a space after it; write name: value",
        ),
        (
            "a: - b",
            "1:4: a list item in the middle of a line; begin the list on the next line",
        ),
        ("a: [x, y}\nb: 1", f"1:9: {BRACKET}"),
        ("a: {b: c", f"1:9: {BRACKET}"),
        (
            "a: {t: step #1, f: 3}",
            "1:22: the bracket opened in line 1 is not closed before this; "
            'what follows " #" is a comment, so put that text in quotes',
        ),
        (
            "a: 'b\nc: d",
            "2:5: the quotation mark opened in line 1 is never closed; "
            "close it, or write '' for an apostrophe inside single quotes",
        ),
        (
            'a: "C:\\clips"',
            "1:8: a backslash inside double quotes; use single quotes, and / between folder "
            "and file",
        ),
        ('a: "it"s"', f"1:8: {AFTER_QUOTE}"),
        ("a: 'x' y", f"1:8: {AFTER_QUOTE}"),
        (
            "a:\n  - b: 1\n   c: 2",
            "3:4: this does not line up with what stands above it; "
            "indent the fields of one step alike",
        ),
        ('a: "\\UFFFFFFFF"', "1:5: \\UFFFFFFFF names no character; put the text in single quotes"),
        ("a: \0", "1:4: a NUL byte; save the case file as plain text in UTF-8"),
        ("a: b\x07", "1:5: the control character U+0007; delete it"),
        ("a: \ud800", "1:4: the control character U+D800; delete it"),
        ("", "1:1: the file is empty; begin with a line such as case: bench-03"),
        ("# x\n", "1:1: the file is empty; begin with a line such as case: bench-03"),
        (
            "just words",
            "1:1: the file does not begin with a field; begin with a line such as case: bench-03",
        ),
        (
            "- a",
            "1:1: the file does not begin with a field; begin with a line such as case: bench-03",
        ),
        (
            "a: 1\n---\nb: 2\n",
            "2:1: a second document begins here; write one case a file, without a line of ---",
        ),
        (
            "%YAML 2.0\n---\na: 1",
            "1:1: a line that belongs to no field; begin with a line such as case: bench-03, "
            "and put a text that begins with % in quotes",
        ),
        (
            f"%YAML {'9' * 5000}.1\n---\na: 1",
            "1:1: a number that YAML cannot hold; put the text in single quotes",
        ),
        ("a: *x", "1:4: *x is an alias; write the value out"),
        ("a: &x y", "1:4: &x is an anchor; delete it, or put it in quotes"),
        ("a: !!int 3", '1:4: "!!int" is a tag; delete it, or put the text in quotes'),
        ("<<: {a: 1}", "1:1: << is a merge key; write the fields out"),
        ("? [a]\n: b", "1:3: a field's name is one word; write name: value"),
        ("a: 1\nb: 2\na: 3", '3:1: "a" stands here twice, first in line 1; delete one of the two'),
    ],
)
def test_faults_of_form_have_a_place_and_a_plain_hint(text: str, said: str) -> None:
    """Each fault of form is one line: where, what was found, what to write."""
    assert faults(text) == [f"case.yaml:{said}"]


def test_faults_that_leave_the_rest_readable_come_together() -> None:
    """An alias, a tag and a repeated field in one file are three mistakes at once."""
    assert faults("a: &x 1\nb: *x\nc: !y z\na: 2\n") == [
        "case.yaml:1:4: &x is an anchor; delete it, or put it in quotes",
        "case.yaml:2:4: *x is an alias; write the value out",
        'case.yaml:3:4: "!y" is a tag; delete it, or put the text in quotes',
        'case.yaml:4:1: "a" stands here twice, first in line 1; delete one of the two',
    ]


def test_alias_bomb_is_refused_by_its_aliases() -> None:
    """332 bytes that stand for 10^9 values are refused, every alias by its place."""
    bomb = "a: &a [x,x,x,x,x,x,x,x,x,x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [{','.join(['*' + chr(97 + i)] * 10)}]\n" for i in range(8)
    )
    found = faults(bomb)
    assert len(found) == 9 + 80
    assert found[1] == "case.yaml:2:4: &b is an anchor; delete it, or put it in quotes"


@pytest.mark.parametrize("text", ["- " * 5000, "a: " + "[" * 500, "a: " + "{b: " * 300])
def test_deep_nesting_is_refused_without_recursion(text: str) -> None:
    """A tower of brackets or dashes meets a limit, not Python's."""
    found = faults(text)
    assert len(found) == 1
    assert "nested more than 8 levels deep; check the brackets and the lines" in found[0]


def test_number_of_values_is_bounded() -> None:
    """A list of fifty thousand values is refused before it is built."""
    text = f"a: [{','.join(['b'] * (MOST_VALUES + 1))}]"
    assert "more values than a case has; is this the right file?" in faults(text)[0]


def test_number_of_mistakes_is_bounded() -> None:
    """A file that is wrong everywhere is told so a bounded number of times."""
    assert len(faults("a: 1\n" * (2 * MOST_MISTAKES))) == MOST_MISTAKES


def test_quoted_shows_what_cannot_be_seen_and_clips() -> None:
    """A message shows invisible characters by number and never a whole page."""
    assert quoted("a\u202eb\n") == '"a<U+202E>b<U+000A>"'
    assert quoted("x" * 41) == '"' + "x" * 40 + '"...'


def test_caret_stands_under_the_place() -> None:
    """The caret stands under the character at fault, in a long line too."""
    text = "a: b\nsteps: [x]   # y\n"
    mistake = Mistake("case.yaml", 2, 8, "", "", "")
    assert caret_lines(text, mistake) == "    steps: [x]   # y\n           ^"
    line, caret = caret_lines("x" * 300 + "!" + "y" * 300, Mistake("", 1, 301, "", "", "")).split(
        "\n"
    )
    assert line[caret.index("^")] == "!"
    assert caret_lines(text, Mistake("case.yaml", 9, 1, "", "", "")) == ""
