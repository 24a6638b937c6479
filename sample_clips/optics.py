"""The camera behind the microscope: round field, exposure, sensor noise, and 4:2:0 pictures.

Matrix and scaling from RGB to Y'CbCr: ITU-R BT.709-6, items 3.2 to 3.6, 8 bits, limited range.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_clips.fields import Grid, Picture, plane, soft_step

FULL_SIZE_PX = (1280, 720)
FIELD_RADIUS_PX = 452.0
_KR, _KB = 0.2126, 0.0722
_KG = 1 - _KR - _KB


def _matrix() -> NDArray[np.float64]:
    luma = np.array([_KR, _KG, _KB])
    blue = (np.array([0.0, 0.0, 1.0]) - luma) / (2 * (1 - _KB))
    red = (np.array([1.0, 0.0, 0.0]) - luma) / (2 * (1 - _KR))
    rows = np.stack([luma * 219, blue * 224, red * 224]) / 255
    return np.hstack([rows, [[16], [128], [128]]])


class Camera:
    """Turns RGB fields into planar 4:2:0 pictures, shape (3h/2, w) uint8: Y, then Cb, then Cr.

    ``size_px`` is the asked size, brought down to multiples of four; ``field_px`` is the size of
    the round field's box, outside which the picture is black.
    """

    def __init__(self, height_px: int, noise: Picture, seed: int) -> None:
        zoom = height_px / FULL_SIZE_PX[1]
        self.zoom = zoom
        self.size_px = (round(FULL_SIZE_PX[0] * zoom) // 4 * 4, height_px // 4 * 4)
        wide = min(round(2 * (FIELD_RADIUS_PX + 8) * zoom), self.size_px[0]) // 4 * 4
        self.field_px = (wide, self.size_px[1])
        self.noise = noise
        self.random = np.random.default_rng(seed)
        self._optics = self._round_field()

    def _round_field(self) -> Picture:
        """Light left at every point: a soft, faintly coloured rim and a mild fall-off."""
        grid = Grid(self.field_px[0], self.field_px[1], self.zoom)
        r = plane(np.hypot(grid.x_mm, grid.y_mm))
        fall = 1 - 0.34 * (r / FIELD_RADIUS_PX) ** 2.2
        inner = (FIELD_RADIUS_PX - offset for offset in (0, 2, 5))
        rims = [soft_step(r, edge + 2, edge - 20) for edge in inner]
        return np.asarray(np.dstack([fall * rim for rim in rims]) * 255, np.uint8)

    def field(self, rgb: Picture, gain: float) -> Picture:
        """A picture of the round field (RGB, ``field_px``) at an exposure."""
        seen = cv2.multiply(rgb, self._optics, scale=gain / 255)
        return self._planes(np.asarray(seen, np.uint8), 0.13 if gain > 0.8 else 0.15)

    def whole(self, rgb: Picture) -> Picture:
        """A picture that fills the frame (RGB, ``size_px``), taken in low light."""
        return self._planes(rgb, 0.15)

    def _planes(self, rgb: Picture, grain: float) -> Picture:
        width, height = self.size_px
        out = np.full((height * 3 // 2, width), 128, np.uint8)
        ycc = cv2.transform(rgb, _matrix())
        luma, blue, red = cv2.split(ycc)
        h, w = luma.shape
        x, y = int(self.random.integers(200)), int(self.random.integers(200))
        noise = self.noise[y : y + h, x : x + w]
        luma = cv2.addWeighted(luma, 1.0, noise, grain, -128 * grain)
        left = (width - w) // 4 * 2
        if left:
            out[:height] = 16
        out[:height, left : left + w] = luma
        half = (w // 2, h // 2)
        for index, chroma in enumerate((blue, red)):
            small = cv2.resize(chroma, half, interpolation=cv2.INTER_AREA)
            start = height + index * (height // 4)
            target = out[start : start + height // 4].reshape(height // 2, width // 2)
            target[:, left // 2 : left // 2 + w // 2] = small
        return out
