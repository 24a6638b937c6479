"""Read a clock back from a picture's pixels, by comparing with glyphs drawn straight by Pillow.

Knows nothing of how the overlay is drawn: it finds the light marks on the dark plate, cuts them
into columns, and compares each with the digits and the colon of the same font. Used to prove
that the clock in a decoded film says the right time.
"""

from __future__ import annotations

import importlib.util
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

U8 = npt.NDArray[np.uint8]
F32 = npt.NDArray[np.float32]

#: Below this likeness (correlation) a mark is no character of a clock.
LEAST_LIKENESS = 0.72
_DRAWN_PX = 200


class NotRead(AssertionError):
    """The pixels do not read as a clock; the message says how far the reading came."""


def _font() -> ImageFont.FreeTypeFont:
    spec = importlib.util.find_spec("fontpkg_source_sans_3")
    assert spec is not None
    assert spec.submodule_search_locations
    folder = Path(next(iter(spec.submodule_search_locations))) / "files"
    font = ImageFont.truetype(str(folder / "SourceSans3[wght].ttf"), _DRAWN_PX)
    font.set_variation_by_axes([600])
    return font


@lru_cache(maxsize=1)
def _glyphs() -> dict[str, tuple[U8, float]]:
    """Each character cut to its columns on the rows of a digit, and its width over that height."""
    font = _font()
    boxes = {ch: font.getbbox(ch, anchor="ls") for ch in "0123456789:"}
    top = min(box[1] for ch, box in boxes.items() if ch != ":")
    bottom = max(box[3] for ch, box in boxes.items() if ch != ":")
    out = {}
    for ch in boxes:
        page = Image.new("L", (_DRAWN_PX * 2, int(bottom - top)))
        ImageDraw.Draw(page).text((20, -top), ch, fill=255, font=font, anchor="ls")
        ink = np.asarray(page)
        columns = np.flatnonzero(ink.max(axis=0) > 127)
        cut = ink[:, columns[0] : columns[-1] + 1]
        out[ch] = (cut, cut.shape[1] / cut.shape[0])
    return out


def _runs(on: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(first, one past last) of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _split(marks: F32, start: int, end: int, digit_px: float) -> list[tuple[int, int]]:
    """Marks that blurred into one are cut at their thinnest column."""
    if end - start <= 1.2 * digit_px + 0.5:
        return [(start, end)]
    profile = marks[:, start:end].sum(axis=0)
    low = max(1, int(0.25 * digit_px))
    high = end - start - low
    if high <= low:
        return [(start, end)]
    at = start + low + int(np.argmin(profile[low:high]))
    return _split(marks, start, at, digit_px) + _split(marks, at, end, digit_px)


def _likeness(piece: F32, glyph: U8) -> float:
    """Correlation of a piece with a glyph brought to its size, at the best of nine small shifts."""
    height, width = piece.shape
    best = -1.0
    for grow in (0, 1, 2):
        size = (max(1, width + grow - 1), height)
        model = np.asarray(Image.fromarray(glyph).resize(size, Image.Resampling.BOX), np.float32)
        page = np.zeros((height, width + 4), np.float32)
        framed = np.zeros_like(page)
        page[:, 2 : 2 + width] = piece
        for shift in (1, 2, 3):
            framed[:] = 0
            room = min(model.shape[1], page.shape[1] - shift)
            framed[:, shift : shift + room] = model[:, :room]
            a, b = page - page.mean(), framed - framed.mean()
            norm = float(np.sqrt((a * a).sum() * (b * b).sum()))
            if norm > 0:
                best = max(best, float((a * b).sum()) / norm)
    return best


def read_clock(luma: npt.ArrayLike) -> str:
    """The clock's text from the luma of just its rectangle, light on dark. Raises NotRead."""
    picture = np.asarray(luma, dtype=np.float32)
    dark, light = np.percentile(picture, 5), picture.max()
    if light - dark < 40:
        raise NotRead("no light marks on a dark plate")
    marks: F32 = np.clip((picture - dark) / (light - dark), 0, 1)
    rows = np.flatnonzero(marks.max(axis=1) > 0.5)
    marks = marks[rows[0] : rows[-1] + 1]
    height = marks.shape[0]
    glyphs = _glyphs()
    digit_px = glyphs["0"][1] * height
    text = ""
    for start, end in _runs(marks.max(axis=0) > 0.5):
        for left, right in _split(marks, start, end, digit_px):
            text += _character(marks[:, left:right], glyphs, height, text)
    return text


def _character(piece: F32, glyphs: dict[str, tuple[U8, float]], height: int, before: str) -> str:
    ratio = piece.shape[1] / height
    fitting = {
        ch: glyph for ch, (glyph, own) in glyphs.items() if abs(own - ratio) < 0.16 + 2.5 / height
    }
    scores = sorted(((_likeness(piece, glyph), ch) for ch, glyph in fitting.items()), reverse=True)
    if not scores or scores[0][0] < LEAST_LIKENESS:
        raise NotRead(
            f"after “{before}” a mark of {piece.shape[1]}x{height} is no digit: {scores[:3]}"
        )
    return scores[0][1]
