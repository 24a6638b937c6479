"""Running figures: every character of a clock drawn once as a tile, then only set in place.

All digits of one size have cells of one even width, so that a clock does not dance and a cell
lies on whole chroma samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from annotate.picture import colours
from annotate.picture.colours import U8
from annotate.picture.fonts import FontChain, TextMask
from annotate.picture.layout import Box, even_up
from annotate.picture.plates import Prepared, ink, plate, prepare

#: How solid the dark plate is, 0..255. 0.88 keeps quiet text at 4.5:1 and forms at 3:1 over white.
PLATE_ALPHA = 224
_FIGURES = "0123456789:.×+"


@dataclass(frozen=True, slots=True)
class Tile:
    """A small piece of plate with something on it, as pixels and made ready for blending."""

    rgba: U8
    ready: Prepared

    @property
    def width_px(self) -> int:
        """Width in pixels, even."""
        return int(self.rgba.shape[1])


def tile(rgba: U8) -> Tile:
    """A piece of even size made ready."""
    return Tile(rgba, prepare(rgba))


def bare_plate(width_px: int, height_px: int, radius_px: float = 0) -> U8:
    """The dark plate that everything on the film stands on."""
    return plate(width_px, height_px, colours.GROUND, PLATE_ALPHA, radius_px)


@dataclass(frozen=True, slots=True)
class Figures:
    """Tiles of one size for the characters of a clock, all digits equally wide."""

    tiles: Mapping[str, Tile]
    above_px: int
    below_px: int

    @property
    def height_px(self) -> int:
        """Rows of every tile, even; the baseline lies ``above_px`` below the first row."""
        return self.above_px + self.below_px

    def width_px(self, text: str) -> int:
        """Columns the text takes."""
        return sum(self.tiles[ch].width_px for ch in text)


def _cell_px(masks: Mapping[str, TextMask], of: str) -> int:
    """The even width nearest to the characters' advance in which all their ink still fits."""
    advance = max(masks[ch].advance_px for ch in of)
    return max(2 * round(advance / 2), even_up(max(masks[ch].mask.shape[1] for ch in of)))


def draw_figures(chain: FontChain, size_px: int) -> Figures:
    """Draw the characters of a clock at one size onto bits of plate."""
    masks = {ch: chain.draw(ch, size_px, "strong") for ch in _FIGURES}
    above = even_up(max(-m.top_px for m in masks.values()))
    below = even_up(max(m.top_px + m.mask.shape[0] for m in masks.values()))
    digit = _cell_px(masks, "0123456789")
    tiles = {}
    for ch, mask in masks.items():
        width = digit if ch.isdigit() else _cell_px(masks, ch)
        rgba = bare_plate(width, above + below)
        left = round((width - mask.advance_px) / 2) + mask.left_px
        left = min(max(left, 0), width - mask.mask.shape[1])
        ink(rgba, mask.mask, colours.CHALK, left, above + mask.top_px)
        tiles[ch] = tile(rgba)
    return Figures(tiles, above, below)


class FigureCase:
    """The figures of one font chain, each size drawn when it is first asked for."""

    def __init__(self, chain: FontChain) -> None:
        self._chain = chain
        self._drawn: dict[int, Figures] = {}

    def at(self, size_px: int) -> Figures:
        """The figures of a font size in pixels."""
        if size_px not in self._drawn:
            self._drawn[size_px] = draw_figures(self._chain, size_px)
        return self._drawn[size_px]


@dataclass(slots=True)
class Canvas:
    """A drawn plate that tiles are set on: its pixels and its weights for blending, kept alike."""

    rgba: U8
    ready: Prepared

    @classmethod
    def of(cls, rgba: U8) -> Canvas:
        """Make a drawn plate of even size ready."""
        return cls(rgba, prepare(rgba))

    def paste(self, piece: Tile, x_px: int, y_px: int) -> None:
        """Set a tile at an even place, over what was there."""
        rows, columns = piece.rgba.shape[:2]
        self.rgba[y_px : y_px + rows, x_px : x_px + columns] = piece.rgba
        self.ready.paste(piece.ready, x_px, y_px)


@dataclass(slots=True)
class Field:
    """A place on a plate that shows figures, and what it shows now."""

    box: Box
    figures: Figures
    shown: str = ""
    bare: Tile = field(init=False)

    def __post_init__(self) -> None:
        self.bare = tile(bare_plate(self.box.width_px, self.box.height_px))

    def cells(self, text: str) -> list[tuple[str, int]]:
        """Every character with its column on the plate."""
        out, x = [], self.box.x_px
        for ch in text:
            out.append((ch, x))
            x += self.figures.tiles[ch].width_px
        return out

    def show(self, canvas: Canvas, text: str) -> None:
        """Set the figures; only cells that differ from what is shown are touched."""
        if text == self.shown:
            return
        cells = self.cells(text)
        before = {x: ch for ch, x in self.cells(self.shown)}
        if not text or [x for _, x in cells] != list(before):
            canvas.paste(self.bare, self.box.x_px, self.box.y_px)
            before = {}
        for ch, x in cells:
            if before.get(x) != ch:
                canvas.paste(self.figures.tiles[ch], x, self.box.y_px)
        self.shown = text


def shape_of(clock: str) -> str:
    """A clock's text with every digit 0: two clocks of one shape take the same room."""
    return "".join("0" if ch.isdigit() else ch for ch in clock)
