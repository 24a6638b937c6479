"""The font chain: which font, which letters are missing, whole ink, equal figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import features

from annotate.picture import fonts
from annotate.picture.fonts import FontChain, FontFile, Weight, check_texts, needs_shaping
from chapters.errors import InputError
from tests.annotate.picture.drawn import TITLES, chain, need_scripts

WEIGHTS: tuple[Weight, ...] = ("regular", "strong")


def dejavu() -> FontFile:
    """The wide-coverage font that matplotlib carries."""
    return chain().files[-1]


def test_latin_comes_from_source_sans() -> None:
    """The first font is Source Sans 3, and plain titles need no other."""
    assert chain().primary.shown_as.startswith("SourceSans3")
    assert chain().primary.covers("Abc 0:12:05 8× ±µ≥ Ωω Жж")


def test_all_digits_are_equally_wide() -> None:
    """Figures are tabular in both weights, to a thirtieth of a pixel, so a clock does not dance."""
    for weight in WEIGHTS:
        widths = [chain().width_px(digit, 64, weight) for digit in "0123456789"]
        assert max(widths) - min(widths) < 1 / 30


def test_the_strong_weight_is_bolder() -> None:
    """The variable font is set to two weights, not left at its thinnest."""
    light = chain().draw("Hamburg", 40).mask.sum(dtype=np.int64)
    bold = chain().draw("Hamburg", 40, "strong").mask.sum(dtype=np.int64)
    assert 1.1 < bold / light < 2


@pytest.mark.parametrize("script", TITLES)
@pytest.mark.parametrize("size_px", [9, 16, 33, 72])
def test_no_letter_is_cut_off(script: str, size_px: int) -> None:
    """The mask holds all ink: a wider canvas round the same text has no more of it."""
    text = TITLES[script]
    need_scripts(text)
    mask = chain().draw(text, size_px)
    assert mask.mask.any(axis=1)[[0, -1]].all()
    assert mask.mask.any(axis=0)[[0, -1]].all()
    spaced = chain().draw(f"{text}\u00a0", size_px)
    assert abs(int(spaced.mask.sum(dtype=np.int64)) - int(mask.mask.sum(dtype=np.int64))) <= (
        0.02 * mask.mask.sum(dtype=np.int64)
    )


def test_descenders_reach_below_the_baseline() -> None:
    """g, y and p keep their tails at every size."""
    for size in (10, 20, 40, 80):
        tail = chain().draw("gyp", size)
        assert tail.top_px + tail.mask.shape[0] >= round(0.18 * size)


def test_a_missing_character_is_named() -> None:
    """The message gives the character, its number and name, its text, its place and what to do."""
    small = FontChain.of([chain().primary])
    with pytest.raises(InputError) as caught:
        check_texts(small, [("steps[2].title", "Cut א牙"), ("title", "fine"), ("away", "𓀀")])
    message = str(caught.value)
    assert "steps[2].title: no font here has “א” U+05D0 HEBREW LETTER ALEF, “牙” U+7259" in message
    assert "stands in “Cut א牙”" in message
    assert "away: no font here has “𓀀” U+13000 EGYPTIAN HIEROGLYPH A001" in message
    assert "teachcut[fonts]" in message
    assert "`fonts:`" in message
    assert "title: no font here has" not in message.replace("steps[2].title", "")


def test_drawing_a_missing_character_stops() -> None:
    """The box that a font draws for what it lacks never reaches the film."""
    small = FontChain.of([chain().primary])
    with pytest.raises(InputError, match="U\\+05D0 HEBREW LETTER ALEF"):
        small.draw("א", 20)
    with pytest.raises(InputError, match="unnamed character"):
        small.draw("\U000e0fff", 20)


def test_signs_that_draw_nothing_need_no_font() -> None:
    """Joiners, direction marks and variation selectors are never missing."""
    assert chain().missing("a\u200d\u200c\u200e\u200f\ufe0f\u2060b") == ()


def test_a_mark_comes_from_the_font_of_its_letter() -> None:
    """A letter and its marks are drawn by one font that has them all."""
    runs = chain()._runs("aZ\u0351b")
    assert [run.text for run in runs] == ["a", "Z\u0351", "b"]
    assert runs[1].font is dejavu()


def test_right_to_left_text_is_joined_and_ordered() -> None:
    """Arabic drawn as a whole is narrower than its lone letters, and starts at the right."""
    alone = sum(chain().width_px(ch, 60) for ch in "سن")
    assert chain().width_px("سن", 60) < 0.9 * alone
    mask = chain().draw("ابط", 60).mask
    alef = chain().draw("ا", 60).mask
    tail = mask[:, -alef.shape[1] :]
    assert tail.any(axis=0).sum() == alef.shape[1]
    assert tail.any(axis=1).sum() > 0.8 * alef.shape[0]


def test_pieces_of_two_fonts_stand_where_one_font_puts_them() -> None:
    """A mixed line cut into pieces by font keeps the order that raqm gives the whole line.

    The same font under two names covers half of the letters each, so that the pieces can be
    compared with the line drawn whole.
    """

    class Half(FontFile):
        def __init__(self, path: Path, latin: bool) -> None:
            super().__init__(path)
            self.latin = latin

        def covers(self, cluster: str) -> bool:
            return all((ch < "\u0590") == self.latin or ch == " " for ch in cluster)

    path = dejavu().path
    halves = FontChain.of([Half(path, True), Half(path, False)])
    whole = FontChain.of([FontFile(path)])
    for text in ("עזל 36 (FDI) שן", "step אבג 3 (דה) end", "عزل السن 36 (FDI) بالحاجز", "a ע b"):
        ours, reference = halves.draw(text, 48), whole.draw(text, 48)
        assert len(halves._runs(text)) > 1
        assert ours.mask.shape[0] == reference.mask.shape[0]
        assert abs(ours.mask.shape[1] - reference.mask.shape[1]) <= 3
        columns = min(ours.mask.shape[1], reference.mask.shape[1])
        a = ours.mask[:, :columns].sum(axis=0, dtype=np.int64).cumsum()
        b = reference.mask[:, :columns].sum(axis=0, dtype=np.int64).cumsum()
        assert np.abs(a - b).max() < 0.02 * b[-1]


def test_han_takes_the_forms_of_its_language() -> None:
    """The same code points are drawn in the Japanese and in the Chinese way, told by the text or the case."""
    need_scripts("直骨")
    japanese = FontChain(language="ja").draw("直骨", 60).mask
    chinese = FontChain(language="zh-Hans").draw("直骨", 60).mask
    assert japanese.shape != chinese.shape or (japanese != chinese).any()
    plain = chain().draw("直骨", 60).mask
    assert plain.shape == chinese.shape
    assert (plain == chinese).all()


def test_raqm_is_missed_only_where_it_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without raqm plain text is drawn and text that must be shaped is refused, by name."""
    monkeypatch.setattr(fonts, "has_raqm", lambda: False)
    bare = FontChain.of([FontFile(chain().primary.path), FontFile(dejavu().path)])
    assert bare.draw("Locate 0:12:05", 30).mask.any()
    with pytest.raises(InputError, match=r"“שן”.*without raqm"):
        bare.draw("שן", 30)


def test_this_pillow_has_raqm() -> None:
    """The wheels that pip brings can shape text."""
    assert features.check("raqm")


@pytest.mark.parametrize(
    ("text", "needed"),
    [
        ("Plain 0:12", False),
        ("é", False),
        ("q\u0307", True),
        ("שן", True),
        ("दाँ", True),
        ("牙", False),
    ],
)
def test_which_text_needs_shaping(text: str, needed: bool) -> None:
    """Letters that stand alone do not; joined, ordered or marked ones do."""
    assert needs_shaping(text) is needed


def test_a_case_brings_its_own_font(tmp_path: Path) -> None:
    """A case's file is asked right after Source Sans 3; one that is no font is refused by name."""
    path = tmp_path / "own.ttf"
    path.write_bytes(dejavu().path.read_bytes())
    own = FontChain([path])
    assert own.files[1].path == path
    bad = tmp_path / "bad.ttf"
    bad.write_bytes(b"not a font at all")
    with pytest.raises(InputError, match=r"bad\.ttf: is not a font"):
        FontChain([bad])
    with pytest.raises(InputError, match=r"gone\.ttf: there is no such file"):
        FontChain([tmp_path / "gone.ttf"])
