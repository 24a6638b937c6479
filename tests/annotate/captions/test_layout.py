"""The cheapest way to break a whole text into captions."""

from __future__ import annotations

import math
from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.captions.layout import Layout
from annotate.captions.phrases import pieces_of
from annotate.textunits import columns


def laid(sentences: list[str], line: int = 42, lines: int = 2) -> list[tuple[str, ...]]:
    """The lines of every caption."""
    return [b.lines for b in Layout(pieces_of(sentences, line), line, lines).blocks()]


def test_what_fits_one_line_stays_on_one_line() -> None:
    """No line is broken without need."""
    assert laid(["Dry it with a paper point."]) == [("Dry it with a paper point.",)]


def test_a_clause_decides_the_line_break() -> None:
    """The break falls after the semicolon, not in the middle."""
    assert laid(["Clamp first, then the sheet; check the seal with air."]) == [
        ("Clamp first, then the sheet;", "check the seal with air.")
    ]


def test_no_caption_mixes_the_end_of_a_sentence_with_the_start_of_the_next() -> None:
    """A long sentence and a short one: the short one gets its own caption."""
    found = laid(
        [
            "Locate the perforation and dry the floor of the chamber with a paper point before "
            "you look for the bleeding point.",
            "It marks the edge of the defect.",
        ]
    )

    assert found[-1] == ("It marks the edge of the defect.",)


def test_two_scraps_share_a_caption() -> None:
    """Sentences too short to be a caption of their own stand together."""
    assert laid(["Rinse.", "Dry.", "Wait."]) == [("Rinse. Dry. Wait.",)]


def test_a_full_caption_and_a_scrap_are_two_even_ones_instead() -> None:
    """The whole text is weighed: no greedy filling that leaves one word over."""
    text = " ".join(["seventeen"] * 9)  # 89 columns: greedy filling would leave one word

    found = laid([text])

    assert len(found) == 2
    sizes = [sum(map(columns, lines)) for lines in found]
    assert min(sizes) >= 38


def test_three_lines_where_a_profile_allows_them() -> None:
    """Lines are as many as asked for, each within its width."""
    layout = Layout(pieces_of(["seventeen eighteen nineteen"], 14), 14, 3)

    [found] = layout.blocks(lambda first, stop: 0.0 if stop - first == 3 else 99.0)

    assert found.lines == ("seventeen", "eighteen", "nineteen")


def test_extra_costs_decide() -> None:
    """A caller can forbid captions of more than two pieces."""
    layout = Layout(pieces_of(["a b c d e"], 42), 42, 2)

    blocks = layout.blocks(lambda first, stop: math.inf if stop - first > 2 else 0.0)

    assert all(b.stop - b.first <= 2 for b in blocks)


def test_the_layout_is_the_cheapest_of_all() -> None:
    """Every possible cutting of a short text, priced one by one, costs at least as much."""
    pieces = pieces_of(["Look at the floor, then dry it.", "Wait for a while and rinse."], 14)
    layout = Layout(pieces, 14, 2)
    count = len(pieces)

    def price(cuts: tuple[int, ...]) -> float:
        edges = (0, *cuts, count)
        total = 0.0
        for first, stop in pairwise(edges):
            costs = [cost for end, _, cost in layout._from(first) if end == stop]
            total += costs[0] if costs else math.inf
        return total

    every = [price(cuts) for size in range(count) for cuts in combinations(range(1, count), size)]
    ours = price(tuple(block.first for block in layout.blocks())[1:])
    assert abs(ours - min(every)) < 1e-9


words = st.text(alphabet="abÜ漢e\u0301.,-", min_size=1, max_size=30)


@settings(deadline=None, derandomize=True)
@given(st.lists(st.lists(words, min_size=1, max_size=12).map(" ".join), max_size=4))
def test_any_text_fits_and_is_whole(sentences: list[str]) -> None:
    """Every caption has one or two lines within the width, and together they are the text."""
    found = laid(sentences, line=20)

    assert all(1 <= len(lines) <= 2 for lines in found)
    assert all(columns(line) <= 20 for lines in found for line in lines)
    shown = "".join("".join(lines) for lines in found).replace(" ", "")
    assert shown == "".join(sentences).replace(" ", "")
