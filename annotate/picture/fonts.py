"""The font chain: which open font draws which letter, and the text masks that come of it.

Fonts come with pip: Source Sans 3 first (its digits all have one width, so a clock does not
dance), then the fonts a case names itself, then one font for each script of the ``fonts`` extra,
last DejaVu Sans, which matplotlib carries. A character that none of them has stops the work with
its name; the box that a font draws instead never reaches the film. Shaping, joining and the
order of right-to-left text are raqm's, which Pillow carries; the text is handed over untouched.
"""

from __future__ import annotations

import importlib.util
import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
from fontTools.ttLib import TTFont, TTLibError
from PIL import Image, ImageDraw, ImageFont, features

from annotate.picture.colours import U8
from annotate.picture.direction import base_level, clean, levels, visual_order
from annotate.textunits import clusters
from chapters.errors import InputError

Weight = Literal["regular", "strong"]

_WEIGHT_AXIS: Final = {"regular": 400.0, "strong": 600.0}
#: Package and glob of each font that pip brings, in the order they are asked.
_FIRST: Final = ("fontpkg_source_sans_3", "files/SourceSans3[[]wght[]].ttf")
_SCRIPTS: Final = (
    ("fontpkg_noto_sans_arabic", "files/NotoSansArabic[[]wdth,wght[]].ttf"),
    ("pylopdf_fonts_he", "NotoSansHebrew-Variable.ttf"),
    ("fontpkg_noto_sans_devanagari", "files/NotoSansDevanagari[[]wdth,wght[]].ttf"),
    ("fontpkg_noto_sans_thai", "files/NotoSansThai[[]wdth,wght[]].ttf"),
    ("fontpkg_noto_sans_tamil", "files/NotoSansTamil[[]wdth,wght[]].ttf"),
    ("fontpkg_noto_sans_telugu", "files/NotoSansTelugu[[]wdth,wght[]].ttf"),
    ("fontpkg_noto_sans_khmer", "files/NotoSansKhmer[[]wdth,wght[]].ttf"),
    ("noto_cjk_sans_jp_regular", "NotoSansCJKjp-Regular.otf"),
)
_LAST: Final = ("matplotlib", "mpl-data/fonts/ttf/DejaVuSans.ttf")


def has_raqm() -> bool:
    """Whether this Pillow can shape text (join letters, order right-to-left lines, place marks)."""
    return bool(features.check("raqm"))


def needs_shaping(text: str) -> bool:
    """Whether drawing letter after letter would get the text wrong."""
    return any(
        unicodedata.bidirectional(ch) in ("R", "AL", "AN")
        or unicodedata.category(ch) in ("Mn", "Me", "Mc")
        or "\u0900" <= ch <= "\u109f"
        or "\u1100" <= ch <= "\u11ff"
        or "\u1780" <= ch <= "\u18af"
        or ch == "\u200d"
        for ch in clean(text)
    )


def _needs_no_glyph(ch: str) -> bool:
    """Joiners, direction marks and variation selectors: they act on others and draw nothing."""
    return unicodedata.category(ch) == "Cf" or "\ufe00" <= ch <= "\ufe0f"


@dataclass(frozen=True, slots=True)
class TextMask:
    """A line of text as coverage 0..255, shape (rows, columns), cut to its ink.

    ``left_px`` and ``top_px`` place the mask's first column and row against the pen's start on
    the baseline (``top_px`` is negative above it); ``advance_px`` is how far the pen went.
    """

    mask: U8
    left_px: int
    top_px: int
    advance_px: float

    @property
    def right_px(self) -> float:
        """The rightmost of pen and ink, from the pen's start."""
        return max(self.advance_px, float(self.left_px + self.mask.shape[1]))


class FontFile:
    """One font on the disk: what it covers and how it draws at a size. Raises InputError."""

    def __init__(self, path: Path, shown_as: str = "") -> None:
        self.path = path
        self.shown_as = shown_as or path.name
        self._codes: frozenset[int] | None = None
        self._axes: tuple[tuple[str, float], ...] = ()
        self._sizes: dict[tuple[int, Weight], ImageFont.FreeTypeFont] = {}

    def _read(self) -> frozenset[int]:
        if self._codes is None:
            try:
                with self.path.open("rb") as file, TTFont(file, lazy=True, fontNumber=0) as font:
                    self._codes = frozenset(font.getBestCmap() or {})
                    if "fvar" in font:
                        self._axes = tuple((a.axisTag, a.defaultValue) for a in font["fvar"].axes)
            except (OSError, TTLibError, ValueError, KeyError, AssertionError) as error:
                raise InputError(
                    f"{self.shown_as}: is not a font that can be read; give a .ttf or .otf file"
                ) from error
        return self._codes

    def covers(self, cluster: str) -> bool:
        """Whether every character of the cluster that draws something has a glyph here."""
        codes = self._read()
        return all(ord(ch) in codes or _needs_no_glyph(ch) for ch in cluster)

    def at(self, size_px: int, weight: Weight) -> ImageFont.FreeTypeFont:
        """The font at a size; a variable font is set to the weight, its other axes to their default."""
        key = (size_px, weight)
        if key not in self._sizes:
            self._read()
            engine = ImageFont.Layout.RAQM if has_raqm() else ImageFont.Layout.BASIC
            font = ImageFont.truetype(str(self.path), size_px, layout_engine=engine)
            if self._axes:
                wanted = [_WEIGHT_AXIS[weight] if t == "wght" else d for t, d in self._axes]
                font.set_variation_by_axes(wanted)
            self._sizes[key] = font
        return self._sizes[key]


@dataclass(frozen=True, slots=True)
class _Run:
    text: str
    font: FontFile
    direction: Literal["ltr", "rtl"] | None
    language: str | None


class FontChain:
    """The fonts of one case in the order they are asked; the first one draws every clock.

    ``case_fonts`` are the case's own files, asked after Source Sans 3 and before the rest.
    Raises InputError where one cannot be read or Source Sans 3 is not installed.
    """

    def __init__(self, case_fonts: Sequence[Path] = (), language: str = "en") -> None:
        self.files = _standard_files(case_fonts)
        self.language = language

    @classmethod
    def of(cls, files: Sequence[FontFile], language: str = "en") -> FontChain:
        """A chain of just these fonts, at least one."""
        chain = cls.__new__(cls)
        chain.files = tuple(files)
        chain.language = language
        return chain

    @property
    def primary(self) -> FontFile:
        """The font of the clocks and of all Latin, Greek and Cyrillic text."""
        return self.files[0]

    def missing(self, text: str) -> tuple[str, ...]:
        """The characters of the text that no font of the chain can draw, each once, in order."""
        found: dict[str, None] = {}
        for cluster in clusters(clean(text)):
            if self._font_for(cluster) is None:
                lone = [ch for ch in cluster if self._font_for(ch) is None]
                found.update(dict.fromkeys(lone or cluster))
        return tuple(found)

    def _font_for(self, cluster: str) -> FontFile | None:
        return next((font for font in self.files if font.covers(cluster)), None)

    def _runs(self, text: str) -> list[_Run]:
        """The text in pieces of one font and one direction, as they stand from left to right."""
        parts = clusters(text)
        two_ways = any(unicodedata.bidirectional(ch) in ("R", "AL", "AN") for ch in text)
        asked = self.files if two_ways else self.files[:1]
        whole = next((font for font in asked if font.covers(text)), None)
        if whole is not None:
            return [_Run(text, whole, None, _han_language(text, self.language))]
        check_texts(self, [("", text)])
        base = base_level(text)
        level_of = levels(text, base)
        pieces: list[tuple[str, FontFile, int]] = []
        at = 0
        for part in parts:
            level = level_of[at]
            at += len(part)
            font = self._font_for(part)
            assert font is not None  # check_texts has raised already
            if pieces and pieces[-1][2] == level:
                last_text, last_font, _ = pieces[-1]
                if last_font is font or (not part.isalnum() and last_font.covers(part)):
                    pieces[-1] = (last_text + part, last_font, level)
                    continue
            pieces.append((part, font, level))
        language = _han_language(text, self.language)
        return [
            _Run(pieces[i][0], pieces[i][1], "rtl" if pieces[i][2] % 2 else "ltr", language)
            for i in visual_order([level for _, _, level in pieces])
        ]

    def width_px(self, text: str, size_px: int, weight: Weight = "regular") -> float:
        """How far the pen goes over the text on one line."""
        return sum(_advance(run, size_px, weight) for run in self._runs(clean(text)))

    def draw(self, text: str, size_px: int, weight: Weight = "regular") -> TextMask:
        """The text on one line. Raises InputError for a character that no font has."""
        pen = 0.0
        drawn: list[tuple[U8, int, int]] = []
        for run in self._runs(clean(text)):
            drawn.append(_ink(run, size_px, weight, pen))
            pen += _advance(run, size_px, weight)
        return _joined([piece for piece in drawn if piece[0].size], pen)


def _fineness(size_px: int) -> int:
    """How many times as fine small letters are drawn before they are averaged down.

    The rasteriser sets every letter on a whole pixel, which at small sizes tears words apart.
    """
    if size_px <= 32:
        return 4
    return 2 if size_px <= 64 else 1


def _advance(run: _Run, size_px: int, weight: Weight) -> float:
    """How far the pen goes over one run."""
    fine = _fineness(size_px)
    direction, language = _shaping(run)
    font = run.font.at(size_px * fine, weight)
    return float(font.getlength(run.text, direction=direction, language=language)) / fine


def _ink(run: _Run, size_px: int, weight: Weight, pen: float) -> tuple[U8, int, int]:
    """A run's coverage cut to its ink, and the place of its first pixel; the pen on the baseline."""
    fine = _fineness(size_px)
    direction, language = _shaping(run)
    font = run.font.at(size_px * fine, weight)
    box = font.getbbox(run.text, anchor="ls", direction=direction, language=language)
    # Room all round: the box is the shaper's, the ink the rasteriser's, and they differ by a pixel.
    left, top = math.floor(box[0] / fine + pen) - 2, math.floor(box[1] / fine) - 2
    right, bottom = math.ceil(box[2] / fine + pen) + 3, math.ceil(box[3] / fine) + 2
    columns, rows = max(right - left, 1), max(bottom - top, 1)
    canvas = Image.new("L", (columns * fine, rows * fine))
    ImageDraw.Draw(canvas).text(
        ((pen - left) * fine, -top * fine),
        run.text,
        fill=255,
        font=font,
        anchor="ls",
        direction=direction,
        language=language,
    )
    blocks = np.asarray(canvas).reshape(rows, fine, columns, fine)
    ink = np.rint(blocks.mean(axis=(1, 3), dtype=np.float32)).astype(np.uint8)
    down, across = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    if not down.size:
        return np.zeros((0, 0), np.uint8), 0, 0
    cut = ink[down[0] : down[-1] + 1, across[0] : across[-1] + 1]
    return cut, left + int(across[0]), top + int(down[0])


def _joined(drawn: Sequence[tuple[U8, int, int]], pen: float) -> TextMask:
    """Pieces laid on one canvas that just holds their ink."""
    if not drawn:
        return TextMask(np.zeros((0, 0), np.uint8), 0, 0, pen)
    left = min(x for _, x, _ in drawn)
    top = min(y for _, _, y in drawn)
    right = max(x + ink.shape[1] for ink, x, _ in drawn)
    bottom = max(y + ink.shape[0] for ink, _, y in drawn)
    canvas = np.zeros((bottom - top, right - left), np.uint8)
    for ink, x, y in drawn:
        window = canvas[y - top : y - top + ink.shape[0], x - left : x - left + ink.shape[1]]
        np.maximum(window, ink, out=window)
    return TextMask(canvas, left, top, pen)


def _shaping(run: _Run) -> tuple[str | None, str | None]:
    """Direction and language for raqm; without it none, and InputError where it is needed."""
    if has_raqm():
        return run.direction, run.language
    if needs_shaping(run.text):
        raise InputError(
            f"the text “{run.text}” needs its letters joined or ordered, and this Pillow was "
            "built without raqm; run: pip install --force-reinstall pillow"
        )
    return None, None


def _han_language(text: str, language: str) -> str | None:
    """The language whose forms of the Han characters a text wants, else the case's own.

    Kana tell Japanese and Hangul Korean; Han alone follows the case's language where that is
    one of the three, else simplified Chinese.
    """
    kinds = {unicodedata.name(ch, "").split(" ")[0] for ch in text}
    if kinds & {"HIRAGANA", "KATAKANA"}:
        return "ja"
    if "HANGUL" in kinds:
        return "ko"
    if "CJK" in kinds and language.lower().partition("-")[0] not in ("zh", "ja", "ko"):
        return "zh-hans"
    return language or None


def describe(ch: str) -> str:
    """``“ꙮ” U+A66E CYRILLIC LETTER MULTIOCULAR O``."""
    return f"“{ch}” U+{ord(ch):04X} {unicodedata.name(ch, 'unnamed character')}"


def check_texts(chain: FontChain, texts: Iterable[tuple[str, str]]) -> None:
    """Raise one InputError that names every character no font has, with the text it stands in.

    ``texts`` are pairs of where a text comes from (``steps[3].title``) and the text.
    """
    faults = []
    for where, text in texts:
        gaps = chain.missing(text)
        if gaps:
            place = f"{where}: " if where else ""
            faults.append(
                f"{place}no font here has {', '.join(describe(ch) for ch in gaps)}, "
                f"which stands in “{clean(text)}”"
            )
    if faults:
        faults.append(
            "run: pip install 'teachcut[fonts]' for more scripts, or name a font file that has "
            "them under `fonts:` in the case file"
        )
        raise InputError("\n".join(faults))


def _installed(package: str, name: str) -> list[FontFile]:
    """The font file of an installed package, found without running the package."""
    spec = importlib.util.find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        return []
    for place in spec.submodule_search_locations:
        found = sorted(Path(place).glob(name))
        if found:
            return [FontFile(found[0])]
    return []


def _standard_files(case_fonts: Sequence[Path]) -> tuple[FontFile, ...]:
    first = _installed(*_FIRST)
    if not first:
        raise InputError(
            "the font Source Sans 3 is not installed; run: pip install fontpkg-source-sans-3"
        )
    own = []
    for path in case_fonts:
        if not path.is_file():
            raise InputError(
                f"fonts: {path.name}: there is no such file; check the name and folder"
            )
        font = FontFile(path)
        font.covers(" ")
        own.append(font)
    rest = [font for package, name in (*_SCRIPTS, _LAST) for font in _installed(package, name)]
    return (*first, *own, *rest)
