"""Colours of the film: the palette, WCAG contrast, and BT.709 limited-range Y'CbCr for arrays.

The palette's four hues are Okabe and Ito's colour-blind safe set (Okabe M., Ito K., Color
Universal Design, 2008); each is always joined by a form, so that no meaning hangs on hue alone.
Matrix and scaling: ITU-R BT.709-6, items 3.2 to 3.6, with 8-bit quantisation.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

U8 = npt.NDArray[np.uint8]
F32 = npt.NDArray[np.float32]
RGB = tuple[int, int, int]

REAL: Final[RGB] = (0x00, 0x72, 0xB2)
FAST: Final[RGB] = (0xE6, 0x9F, 0x00)
NOT_SHOWN: Final[RGB] = (0x8A, 0x8F, 0x98)
AWAY: Final[RGB] = (0xD5, 0x5E, 0x00)
EXPECTED: Final[RGB] = (0x00, 0x9E, 0x73)
GROUND: Final[RGB] = (0x10, 0x15, 0x1C)
PAPER: Final[RGB] = (0xFB, 0xFA, 0xF7)
INK: Final[RGB] = (0x12, 0x16, 0x1C)
#: Text on the dark ground; the quiet one is for labels and second lines.
CHALK: Final[RGB] = (0xF6, 0xF5, 0xF1)
QUIET: Final[RGB] = (0xC4, 0xCA, 0xD3)

_KR, _KB = 0.2126, 0.0722
_KG = 1.0 - _KR - _KB

#: Rows converted at a time: even, and few enough to stay near the processor.
_BAND = 64


def _forward() -> F32:
    """R'G'B' (0..255) to Y'CbCr (16..235, 16..240): the matrix part, rows Y', Cb, Cr."""
    luma = np.array([_KR, _KG, _KB])
    blue = (np.array([0.0, 0.0, 1.0]) - luma) / (2 * (1 - _KB))
    red = (np.array([1.0, 0.0, 0.0]) - luma) / (2 * (1 - _KR))
    return np.stack([luma * 219, blue * 224, red * 224]).astype(np.float32) / np.float32(255)


def rgb_to_ycbcr(rgb: npt.ArrayLike) -> F32:
    """Full-range R'G'B' 0..255, shape (..., 3), as unrounded limited-range Y'CbCr (BT.709)."""
    values = np.asarray(rgb, dtype=np.float32)
    out: F32 = values @ _forward().T
    out += np.array([16, 128, 128], dtype=np.float32)
    return out


def ycbcr_to_rgb(ycbcr: npt.ArrayLike) -> F32:
    """Limited-range Y'CbCr, shape (..., 3), as unrounded, unclipped full-range R'G'B' 0..255."""
    values = np.asarray(ycbcr, dtype=np.float32) - np.array([16, 128, 128], dtype=np.float32)
    inverse = np.linalg.inv(_forward().astype(np.float64)).astype(np.float32)
    out: F32 = values @ inverse.T
    return out


def _to_u8(values: F32) -> U8:
    return np.clip(np.rint(values), 0, 255).astype(np.uint8)


def halve(plane: F32) -> F32:
    """The mean of every 2x2 block; an odd last row or column is repeated. (h, w) -> (h/2, w/2) up."""
    height, width = plane.shape
    padded = np.pad(plane, ((0, height % 2), (0, width % 2)), mode="edge")
    out: F32 = (
        padded[0::2, 0::2] + padded[0::2, 1::2] + padded[1::2, 0::2] + padded[1::2, 1::2]
    ) * np.float32(0.25)
    return out


def rgb_to_planes(rgb: U8) -> tuple[U8, U8, U8]:
    """An (h, w, 3) picture as 4:2:0 planes y (h, w), u and v (h/2, w/2 rounded up)."""
    height, width = rgb.shape[:2]
    y = np.empty((height, width), np.uint8)
    u = np.empty(((height + 1) // 2, (width + 1) // 2), np.uint8)
    v = np.empty_like(u)
    for top in range(0, height, _BAND):
        half = slice(top // 2, (top + _BAND) // 2)
        y[top : top + _BAND], u[half], v[half] = _band_to_planes(rgb[top : top + _BAND])
    return y, u, v


def _band_to_planes(rgb: U8) -> tuple[U8, U8, U8]:
    matrix = _forward()
    red, green, blue = (rgb[..., i].astype(np.float32) for i in range(3))

    def mixed(row: int, r: F32, g: F32, b: F32, zero: int) -> F32:
        out: F32 = r * matrix[row, 0]
        out += g * matrix[row, 1]
        out += b * matrix[row, 2]
        out += np.float32(zero)
        return out

    y = _to_u8(mixed(0, red, green, blue, 16))
    small = halve(red), halve(green), halve(blue)
    return y, _to_u8(mixed(1, *small, 128)), _to_u8(mixed(2, *small, 128))


def planes_to_rgb(y: U8, u: U8, v: U8) -> U8:
    """4:2:0 planes as an (h, w, 3) picture; each chroma sample serves its 2x2 block."""
    height, width = y.shape
    out = np.empty((height, width, 3), np.uint8)

    def grown(plane: U8, rows: int) -> U8:
        return plane.repeat(2, axis=0).repeat(2, axis=1)[:rows, :width]

    for top in range(0, height, _BAND):
        luma = y[top : top + _BAND]
        half = slice(top // 2, (top + _BAND) // 2)
        whole = [luma, grown(u[half], len(luma)), grown(v[half], len(luma))]
        out[top : top + _BAND] = _to_u8(ycbcr_to_rgb(np.stack(whole, axis=-1)))
    return out


def relative_luminance(rgb: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """WCAG 2.2 relative luminance of sRGB 0..255, shape (..., 3) -> (...)."""
    share = np.asarray(rgb, dtype=np.float64) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    out: npt.NDArray[np.float64] = linear @ np.array([0.2126, 0.7152, 0.0722])
    return out


def contrast_ratio(one: npt.ArrayLike, other: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """WCAG 2.2 contrast ratio, 1 to 21, never rounded; shapes as in ``relative_luminance``."""
    first, second = relative_luminance(one), relative_luminance(other)
    bright, dark = np.maximum(first, second), np.minimum(first, second)
    out: npt.NDArray[np.float64] = (bright + 0.05) / (dark + 0.05)
    return out
