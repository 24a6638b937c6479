"""Writing direction and user-perceived characters against general reference libraries.

Direction: python-bidi, which wraps the unicode-bidi implementation of Unicode Standard Annex #9.
Clusters: the regex library's ``\\X``, extended grapheme clusters of Unicode Standard Annex #29.
"""

from __future__ import annotations

import pytest
import regex
from bidi import get_display
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.picture.direction import base_level, clean, levels, visual_order
from annotate.picture.graphemes import clusters

pytestmark = pytest.mark.outside

#: Letters, digits, signs and brackets of both directions, with a mark and a separator of each kind.
LETTERS = "abXé אבגש عزلسن 0123456789 ٣٤٥ ()[]{}<> +-.,:/%$#!? ַּ́ـ·×→"


def _displayed(text: str) -> str:
    """The order only; mirrored shapes are the shaper's business, here and in the reference."""
    return "".join(text[i] for i in visual_order(levels(text, base_level(text))))


@settings(max_examples=1000, derandomize=True)
@given(st.text(alphabet=LETTERS, max_size=30))
def test_order_agrees_with_a_reference(text: str) -> None:
    """Any line of mixed scripts, digits and brackets stands in the order python-bidi gives it."""
    line = clean(text)
    assert _displayed(line) == get_display(line, base_dir="R" if base_level(line) else "L")


@given(
    st.text(
        alphabet=st.one_of(
            st.sampled_from("e\u0301\u0323q\u200d\u200cक्षिমাกำ두각👩🏽🇩🇪🇫️"),
            st.characters(codec="utf-8", exclude_categories=("Cs", "Cn", "Co")),
        ),
        max_size=20,
    )
)
def test_a_cluster_is_never_cut(text: str) -> None:
    """Every border between two clusters is one that the regex library's clusters have too."""
    ours, at = set(), 0
    for cluster in clusters(text):
        at += len(cluster)
        ours.add(at)
    reference, at = set(), 0
    for cluster in regex.findall(r"\X", text):
        at += len(cluster)
        reference.add(at)
    assert ours <= reference, [hex(ord(ch)) for ch in text]
    assert "".join(clusters(text)) == text
