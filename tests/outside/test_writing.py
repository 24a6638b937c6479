"""Writing direction against a general reference library.

python-bidi wraps the unicode-bidi implementation of Unicode Standard Annex #9.
"""

from __future__ import annotations

import pytest
from bidi import get_display
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.picture.direction import base_level, clean, levels, visual_order

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
