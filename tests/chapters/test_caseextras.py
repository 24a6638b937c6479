"""Questions and notes in other languages: what is read, what is refused with which words."""

from __future__ import annotations

import pytest

from chapters.case import Ask, Step
from chapters.casefile import read_case
from chapters.errors import CaseFileError

HEAD = """\
case: c
title: C
subject: simulated
recordings: [a.mp4]
steps:
  - id: s
    title: S
    from: 0
"""


def step(more: str) -> Step:
    """The one step of a case with more fields."""
    case, warnings = read_case(HEAD + more, "case.yaml")
    assert warnings == ()
    return case.steps[0]


def faults(more: str) -> list[str]:
    """Every mistake of that case."""
    with pytest.raises(CaseFileError) as caught:
        read_case(HEAD + more, "case.yaml")
    return [str(m) for m in caught.value.mistakes]


def test_a_question_with_choices_is_read() -> None:
    """Question, choices, answer and where to look."""
    asked = step(
        '    ask: {question: "Which wall?", choices: [mesial, distal], answer: distal, look: "the mirror"}\n'
    )
    assert asked.ask == Ask("Which wall?", ("mesial", "distal"), "distal", "the mirror")


def test_a_free_question_needs_no_choices() -> None:
    """No choices, no look."""
    assert step('    ask: {question: "What now?", answer: Wait.}\n').ask == Ask(
        "What now?", (), "Wait."
    )


def test_notes_in_other_languages_keep_their_tags() -> None:
    """Tags in their customary letter case, texts as they are, right-to-left too."""
    found = step(
        "    notes_in:\n      pt-br: Um grampo.\n      ar: ضع المشبك أولا\n      no: Klemmen først.\n"
    )
    assert found.notes_in == (
        ("pt-BR", "Um grampo."),
        ("ar", "ضع المشبك أولا"),
        ("no", "Klemmen først."),
    )


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            "    ask: Which?\n",
            'case.yaml:9:10: steps[1].ask: "Which?" is not a group of fields; write {question:',
        ),
        (
            '    ask: {question: "Q?"}\n',
            "case.yaml:9:10: steps[1].ask.answer: is missing; write answer:",
        ),
        (
            '    ask: {question: "Q?", choices: [a], answer: a}\n',
            "choices: 1 choices; write 2 to 8, or none",
        ),
        (
            '    ask: {question: "Q?", choices: [a, b], answer: c}\n',
            'answer: "c" is none of the choices; write one of them, word for word',
        ),
        (
            "    notes_in: Hallo\n",
            "case.yaml:9:15: steps[1].notes_in: is not a list of languages; write",
        ),
        ("    notes_in: {xx_y: a}\n", 'steps[1].notes_in.xx_y: "xx_y" is no language tag'),
        ("    notes_in: {de: [a]}\n", "steps[1].notes_in.de: is not a text; write"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_place(more: str, said: str) -> None:
    """One mistake, its place and what to write."""
    told = faults(more)
    assert len(told) == 1
    assert said in told[0]
