"""Fitting text: few lines, whole words, ellipsis only at the end of patience."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.picture.direction import clean
from annotate.picture.textfit import fit
from annotate.textunits import clusters
from tests.annotate.picture.drawn import TITLES, chain, need_scripts

LONG = "Irrigate, dry and check the floor of the chamber under high magnification. " * 4


def widths(lines: tuple[str, ...], size_px: int) -> list[float]:
    """Width of each line."""
    return [chain().width_px(line, size_px) for line in lines]


def test_a_short_title_stays_whole_and_large() -> None:
    """What fits on one line is not touched."""
    found = fit(chain(), "Locate", 30, narrow_px=200, wide_px=400)
    assert (found.lines, found.size_px, found.cut) == (("Locate",), 30, False)


def test_a_longer_title_takes_two_even_lines() -> None:
    """Two lines in the narrow width, broken at the space that makes the longer one shortest."""
    text = "Locate the perforation on the chamber floor"
    found = fit(chain(), text, 30, narrow_px=400, wide_px=600)
    words = text.split()
    breaks = [(" ".join(words[:n]), " ".join(words[n:])) for n in range(1, len(words))]
    assert found.lines == min(breaks, key=lambda pair: max(widths(pair, 30)))
    assert found.size_px == 30


def test_it_widens_then_shrinks_then_takes_a_third_line() -> None:
    """Each remedy is used only when the one before is not enough."""
    text = LONG.strip()
    sizes = [
        (n.size_px, len(n.lines), n.cut)
        for wide in (1500, 900, 700, 300)
        for n in [fit(chain(), text, 20, narrow_px=200, wide_px=wide)]
    ]
    assert sizes[0][1] == 2
    assert [s[0] for s in sizes] == sorted((s[0] for s in sizes), reverse=True)
    assert sizes[2][1] == 3
    assert sizes[3] == (14, 3, True)


@pytest.mark.parametrize("script", TITLES)
def test_nothing_is_lost_short_of_ludicrous(script: str) -> None:
    """300 characters of any script fit a full-width strip without an ellipsis, in their order."""
    need_scripts(TITLES[script])
    text = " ".join([TITLES[script]] * 20)[:300].strip()
    found = fit(chain(), text, 36, narrow_px=880, wide_px=1700, weight="strong")
    assert len(found.lines) <= 3
    if script not in ("Chinese", "Japanese", "Korean", "Tamil"):
        assert not found.cut
        assert "".join(found.lines).replace(" ", "") == text.replace(" ", "")
    assert max(chain().width_px(line, found.size_px, "strong") for line in found.lines) <= 1700


def test_an_ellipsis_never_cuts_a_character() -> None:
    """What is left of a ludicrous title ends on a whole character."""
    text = "e\u0301\u0323q\u0307" * 400
    found = fit(chain(), text, 20, narrow_px=200, wide_px=200)
    assert found.cut
    kept = "".join(found.lines)
    assert kept.endswith("…")
    left = clusters(kept[:-1])
    assert left == clusters(clean(text))[: len(left)]
    assert len(left) > 20


def test_chinese_breaks_between_characters_but_not_before_a_comma() -> None:
    """Closing punctuation never begins a line."""
    need_scripts(TITLES["Chinese"])
    text = "用橡皮障隔离患牙，检查密封，确认无渗漏，避免污染，继续定位，清洁，成形。" * 2
    for wide in range(300, 700, 37):
        found = fit(chain(), text, 20, narrow_px=wide, wide_px=wide)
        assert not any(line[0] in "，。" for line in found.lines)


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet="abc gyÉ-/,.()מד 5", min_size=1, max_size=120), st.integers(60, 500))
def test_lines_are_never_wider_than_the_room(text: str, wide: int) -> None:
    """Whatever the text, every line fits its room."""
    found = fit(chain(), text, 18, narrow_px=wide * 0.7, wide_px=wide)
    assert len(found.lines) <= 3
    assert all(width <= wide for width in widths(found.lines, found.size_px))
    if not found.cut:
        assert "".join(found.lines).replace(" ", "") == "".join(text.split())
