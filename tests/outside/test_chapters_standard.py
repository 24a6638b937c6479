"""Chapter files against HTML's own algorithm, by webvtt-py and by Chromium.

HTML, "Text tracks describing chapters": the algorithm that turns a chapters track into a tree,
written here from the standard's steps. W3C WebVTT, "WebVTT file using chapter title text": a cue's
payload is text and character references only.
"""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
import webvtt

from chapters.markers import Chapter, chapters_vtt, safe_shape
from chapters.times import CutTime
from tests.outside.chromium import Browser, browser

pytestmark = pytest.mark.outside

TITLES = [
    "Opening",
    "1. Isolate: clamp & sheet",
    "2. IOP < 21 --> refer",
    "3. عزل السن (36)",
    "4. <b>Close</b> &amp; check",
]


@dataclass
class Node:
    """A chapter in the tree."""

    start: float
    end: float
    title: str
    children: list[Node] = field(default_factory=list)
    parent: Node | None = None


def chapter_tree(cues: Sequence[tuple[float, float, str]]) -> Node:
    """The standard's algorithm: cues in order, each dropped, or put below the open one it lies in."""
    root = Node(float("-inf"), float("inf"), "")
    current = root
    for start, end, title in cues:
        if end < start or start < current.start:
            continue
        while start >= current.end:
            assert current.parent is not None
            current = current.parent
        if end > current.end:
            continue
        node = Node(start, end, title, parent=current)
        current.children.append(node)
        current = node
    return root


def outline(node: Node) -> str:
    """``A[a1, a2], B``."""
    return ", ".join(
        child.title + (f"[{outline(child)}]" if child.children else "") for child in node.children
    )


@pytest.mark.parametrize(
    ("cues", "tree"),
    [
        (
            [
                (0, 84, "A"),
                (0, 44, "a1"),
                (44, 79, "a2"),
                (84, 300, "B"),
                (95, 180, "b1"),
                (180, 300, "b2"),
            ],
            "A[a1, a2], B[b1, b2]",
        ),
        ([(0, 60, "A"), (30, 90, "B")], "A"),
        ([(0, 10, "s1"), (9.999, 20, "s2")], "s1"),
        (
            [
                (0, 3000, "Astronomy"),
                (0, 600, "Introduction"),
                (600, 2700, "Solar system"),
                (0, 600, "Coursework"),
            ],
            "Astronomy[Introduction, Solar system]",
        ),
    ],
)
def test_the_tree_of_this_file_meets_the_worked_vectors(
    cues: list[tuple[float, float, str]], tree: str
) -> None:
    """Vectors worked by hand from the standard's steps; one millisecond of overlap loses a chapter."""
    assert outline(chapter_tree(cues)) == tree


def _film() -> tuple[Chapter, ...]:
    """Chapters at instants that no millisecond meets: a film at 30000/1001 frames a second."""
    starts = [Fraction(1001 * n, 30000) for n in (0, 100, 331, 1000, 2222)]
    length = Fraction(1001 * 4000, 30000)
    found = [
        Chapter(CutTime(start), CutTime(start + 1), title)
        for start, title in zip(starts, TITLES, strict=True)
    ]
    return safe_shape(found, length)


def _read(text: str) -> list[tuple[float, float, str]]:
    """Start, end (seconds) and title of every cue, by webvtt-py."""
    found = webvtt.from_buffer(io.BytesIO(text.encode("utf-8")))
    return [
        (
            cue.start_time.in_seconds() + cue.start_time.milliseconds / 1000,
            cue.end_time.in_seconds() + cue.end_time.milliseconds / 1000,
            html.unescape(cue.text),
        )
        for cue in found.captions
    ]


def test_no_chapter_of_ours_is_lost_in_the_tree() -> None:
    """Every chapter comes out flat, in order, under HTML's algorithm."""
    tree = chapter_tree(_read(chapters_vtt(_film())))

    assert [child.title for child in tree.children] == TITLES
    assert all(not child.children for child in tree.children)


def test_every_pair_of_cues_is_disjoint_and_touches() -> None:
    """ "Using only nested cues", as intended: any two are nested or disjoint; ours touch exactly."""
    read = _read(chapters_vtt(_film()))

    assert all(a[1] == b[0] for a, b in pairwise(read))


def test_payloads_are_text_and_character_references_only() -> None:
    """No tag and no inner time stamp can stand in a chapter title."""
    text = chapters_vtt(_film(), "A notice.")

    payloads = [block.split("\n")[2] for block in text.strip().split("\n\n")[2:]]
    assert len(payloads) == len(TITLES)
    assert not any(re.search(r"[<>]|&(?!amp;|lt;|gt;)", payload) for payload in payloads)


@pytest.fixture(scope="module")
def chromium(driver: Any, chromium_program: str) -> Iterator[Browser]:
    """One browser for this file."""
    with browser(driver, chromium_program) as page:
        yield page


@pytest.mark.browser
def test_chromium_reads_every_chapter(chromium: Browser) -> None:
    """Chromium's parser finds the titles as typed and ends that are the next starts."""
    found = chromium.cues(chapters_vtt(_film(), "A notice."), "chapters")

    assert [cue["shown"] for cue in found] == TITLES
    assert found[0]["start"] == 0
    assert all(a["end"] == b["start"] for a, b in pairwise(found))
    tree = chapter_tree([(cue["start"], cue["end"], cue["shown"]) for cue in found])
    assert [child.title for child in tree.children] == TITLES
