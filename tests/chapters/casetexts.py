"""Case files for tests, and what is said of them."""

from __future__ import annotations

import pytest

from chapters.casefile import read_case
from chapters.errors import CaseFileError

SMALL = """\
case: bench-03
title: Sealing a perforation
subject: simulated
recordings: [scope-001.mp4, scope-002.mp4]
steps:
  - {id: isolate, title: Isolate, from: 0:08}
  - {id: locate, title: Locate, from: 2:40}
"""

FULL = """\
case: bench-03
title: "Sealing a perforation: practice tooth"
subject: patient
consent: {reference: C-0017, covers: teaching in study clubs}
tooth: {universal: 19}
procedure: Perforation repair
presenter: The bench team
tags: [perforation, bench]
language: en-gb
recordings:
  - scope-001.mp4
  - {file: day 1/scope-002.mp4, away_before: 1:10, reason: radiograph}
  - {file: scope-003.mp4, overlap: 2.5}
away:
  - {at: 12:40, lasted: 1:00, reason: check radiograph}
away_from_clocks: yes
length: 6:00
ramp: 0.5
snap: 2
sound: room
fps: 29.97
height: 720
colour: bt709
range: full
fonts: [fonts/own.ttf]
steps:
  - id: isolate
    title: Isolate the tooth
    from: 0:08
    show: 4x
    expect: 1:30..3:00
    phase: Access
    note: |
      Clamp first, then the sheet.

      - Check the seal with air.
  - id: locate
    title: Locate
    from: 2:40
    to: 1:02:03.5
    show: fast up to 12x
    stills:
      - radiograph.png
      - {file: slice.png, at: 3:00, hold: 6, caption: Slice through the furcation}
  - {id: leave, title: Leave, from: 1:10:00, show: skip}
"""


def mistakes(text: str) -> list[str]:
    """Every mistake of a case file, as printed."""
    with pytest.raises(CaseFileError) as caught:
        read_case(text, "case.yaml")
    return [str(m) for m in caught.value.mistakes]


def warnings(text: str) -> list[str]:
    """Every warning of a case file without mistakes, as printed."""
    return [str(m) for m in read_case(text, "case.yaml")[1]]


def with_step(fields: str) -> str:
    """The small case with one more step in line 8."""
    return f"{SMALL}  - {fields}\n"


def faulty_at_mark(text: str, said: str) -> None:
    """The text without its mark ‸ has one mistake, at the mark, and it is ``said``."""
    before = text[: text.index("‸")].split("\n")
    place = f"case.yaml:{len(before)}:{len(before[-1]) + 1}"
    assert mistakes(text.replace("‸", "")) == [f"{place}: {said}"]


def with_line(line: str) -> str:
    """The small case with one more line, line 8."""
    return f"{SMALL}{line}\n"


def place_of(text: str, part: str) -> tuple[int, int]:
    """Line and column, from 1, of the one place where ``part`` stands in ``text``."""
    assert text.count(part) == 1
    before = text[: text.index(part)].split("\n")
    return len(before), len(before[-1]) + 1
