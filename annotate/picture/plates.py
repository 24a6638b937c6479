"""Small RGBA pictures made ready once and blended into 4:2:0 planes with whole-number arithmetic.

    out = (under * keep + add + 128) >> 8      keep 0..256, add = colour * (256 - keep)

so that nothing leaves 16 bits and the result lies within one level of exact blending. Colour is
BT.709 limited range; chroma takes the mean of each 2x2 block, weighted by coverage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from annotate.picture.colours import F32, RGB, U8, halve, rgb_to_ycbcr

U16 = npt.NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class Prepared:
    """An RGBA picture of even size as weights for blending; shapes (h, w) and (h/2, w/2)."""

    keep_y: U16
    add_y: U16
    keep_c: U16
    add_u: U16
    add_v: U16

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.keep_y.shape[1], self.keep_y.shape[0]

    def paste(self, other: Prepared, x_px: int, y_px: int) -> None:
        """Put a smaller one in place of what is at even ``x_px, y_px``."""
        width, height = other.size_px
        whole = np.s_[y_px : y_px + height, x_px : x_px + width]
        half = np.s_[y_px // 2 : (y_px + height) // 2, x_px // 2 : (x_px + width) // 2]
        self.keep_y[whole] = other.keep_y
        self.add_y[whole] = other.add_y
        self.keep_c[half] = other.keep_c
        self.add_u[half] = other.add_u
        self.add_v[half] = other.add_v

    def copy(self) -> Prepared:
        """The same weights in arrays of their own."""
        return Prepared(
            self.keep_y.copy(),
            self.add_y.copy(),
            self.keep_c.copy(),
            self.add_u.copy(),
            self.add_v.copy(),
        )


def prepare(rgba: U8) -> Prepared:
    """Weights for an (h, w, 4) picture with straight alpha; both sides must be even (ValueError)."""
    if rgba.shape[0] % 2 or rgba.shape[1] % 2:
        raise ValueError(f"a plate of {rgba.shape[1]}x{rgba.shape[0]} has an odd side")
    cover: F32 = rgba[..., 3].astype(np.float32) * np.float32(256 / 255)
    ycbcr = rgb_to_ycbcr(rgba[..., :3])

    def weights(share: F32, *colours: F32) -> list[U16]:
        keep = np.rint(256 - share)
        out = [keep.astype(np.uint16)]
        solid = np.where(share > 0, share, 1)
        for product in colours:
            out.append(np.rint(product / solid * (256 - keep)).astype(np.uint16))
        return out

    keep_y, add_y = weights(cover, ycbcr[..., 0] * cover)
    keep_c, add_u, add_v = weights(
        halve(cover), halve(ycbcr[..., 1] * cover), halve(ycbcr[..., 2] * cover)
    )
    return Prepared(keep_y, add_y, keep_c, add_u, add_v)


def _into(under: U8, keep: U16, add: U16) -> None:
    mixed = under * keep
    mixed += add
    mixed += np.uint16(128)
    mixed >>= 8
    np.copyto(under, mixed, casting="unsafe")


def blend(y: U8, u: U8, v: U8, plate: Prepared, x_px: int, y_px: int) -> None:
    """Blend a plate into the planes in place, its first pixel at even ``x_px, y_px``."""
    width, height = plate.size_px
    half = np.s_[y_px // 2 : (y_px + height) // 2, x_px // 2 : (x_px + width) // 2]
    _into(y[y_px : y_px + height, x_px : x_px + width], plate.keep_y, plate.add_y)
    _into(u[half], plate.keep_c, plate.add_u)
    _into(v[half], plate.keep_c, plate.add_v)


def plate(width_px: int, height_px: int, colour: RGB, alpha: int, radius_px: float = 0) -> U8:
    """A plain RGBA plate with rounded corners; ``alpha`` 0..255."""
    out = np.empty((height_px, width_px, 4), np.uint8)
    out[..., :3] = colour
    fine = 4
    across = np.abs((np.arange(width_px * fine) + 0.5) / fine - width_px / 2)
    down = np.abs((np.arange(height_px * fine) + 0.5) / fine - height_px / 2)
    beyond = np.hypot(
        np.maximum(across - (width_px / 2 - radius_px), 0)[None, :],
        np.maximum(down - (height_px / 2 - radius_px), 0)[:, None],
    )
    inside = (beyond <= radius_px).reshape(height_px, fine, width_px, fine).mean(axis=(1, 3))
    out[..., 3] = np.rint(inside * alpha)
    return out


def ink(rgba: U8, mask: U8, colour: RGB, x_px: int, y_px: int) -> None:
    """Lay a colour through a coverage mask over an RGBA picture in place.

    Raises ValueError where ink would fall off the picture: a letter cut off is a fault, not a look.
    """
    rows, columns = mask.shape
    if not rows or not columns:
        return
    if x_px < 0 or y_px < 0 or y_px + rows > rgba.shape[0] or x_px + columns > rgba.shape[1]:
        raise ValueError("ink falls off the plate")
    under = rgba[y_px : y_px + rows, x_px : x_px + columns]
    share = mask.astype(np.float32)[..., None] / 255
    alpha = under[..., 3:].astype(np.float32) / 255
    total = share + alpha * (1 - share)
    mixed = np.asarray(colour, np.float32) * share + under[..., :3] * (alpha * (1 - share))
    safe = np.where(total > 0, total, 1)
    under[..., :3] = np.rint(mixed / safe)
    under[..., 3:] = np.rint(total * 255)
