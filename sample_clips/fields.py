"""Small array tools that every drawn thing shares: noise, distances, soft steps, shading.

Arrays are float32 of shape (h, w) unless said otherwise; lengths are millimetres on the tooth,
turned into pixels once by ``Grid``. Nothing here opens a file or keeps state.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]
Picture = NDArray[np.uint8]
Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Grid:
    """A window of the tooth's occlusal plane: centre (0, 0), ``scale`` pixels a millimetre."""

    width_px: int
    height_px: int
    scale: float

    @cached_property
    def x_mm(self) -> Plane:
        """Millimetres to the right of the centre, shape (h, w)."""
        row = (np.arange(self.width_px, dtype=np.float32) - self.width_px / 2) / self.scale
        return np.broadcast_to(row, (self.height_px, self.width_px)).astype(np.float32)

    @cached_property
    def y_mm(self) -> Plane:
        """Millimetres below the centre, shape (h, w)."""
        column = (np.arange(self.height_px, dtype=np.float32) - self.height_px / 2) / self.scale
        return np.broadcast_to(column[:, None], (self.height_px, self.width_px)).astype(np.float32)


def plane(values: object) -> Plane:
    """Any array as float32 (numpy and OpenCV widen types as they please)."""
    return np.asarray(values, dtype=np.float32)


def soft_step(value: Plane, low: float, high: float) -> Plane:
    """0 below ``low``, 1 above ``high``, 3u^2 - 2u^3 between; ``low`` may lie above ``high``."""
    u = np.clip((value - low) / (high - low), 0, 1)
    return plane(u * u * (3 - 2 * u))


def blur(value: Plane, sigma_px: float) -> Plane:
    """Gaussian blur; a wide one runs on a smaller copy, which looks the same and costs little."""
    shrink = 1
    while sigma_px / shrink > 4 and min(value.shape[:2]) // shrink > 64:
        shrink *= 2
    if shrink == 1:
        return plane(cv2.GaussianBlur(value, (0, 0), max(sigma_px, 0.05)))
    h, w = value.shape[:2]
    small = cv2.resize(value, (w // shrink, h // shrink), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / shrink)
    return plane(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR))


def clouds(
    random: np.random.Generator, shape: tuple[int, int], cell_px: float, octaves: int = 4
) -> Plane:
    """Smooth noise around 0 with standard deviation 1; the largest features are ``cell_px`` wide."""
    h, w = shape
    out = np.zeros(shape, np.float32)
    for octave in range(octaves):
        cell = max(cell_px / 2**octave, 1.0)
        lattice = random.standard_normal((int(h / cell) + 3, int(w / cell) + 3), dtype=np.float32)
        wide = cv2.resize(lattice, (w, h), interpolation=cv2.INTER_CUBIC)
        out += plane(wide) * np.float32(0.55**octave)
    return plane(out / max(float(out.std()), 1e-6))


def to_line(grid: Grid, points: list[tuple[float, float]]) -> Plane:
    """Distance in millimetres from every pixel to a polyline of (x, y); measured at half the size."""
    small = Grid(grid.width_px // 2, grid.height_px // 2, grid.scale / 2)
    best = np.full((small.height_px, small.width_px), np.float32(1e12))
    for (ax, ay), (bx, by) in pairwise(points):
        dx, dy = np.float32(bx - ax), np.float32(by - ay)
        along = ((small.x_mm - ax) * dx + (small.y_mm - ay) * dy) / (dx * dx + dy * dy)
        along = np.clip(along, 0, 1)
        gap = (small.x_mm - ax - along * dx) ** 2 + (small.y_mm - ay - along * dy) ** 2
        best = np.minimum(best, gap)
    full = cv2.resize(
        np.sqrt(best), (grid.width_px, grid.height_px), interpolation=cv2.INTER_LINEAR
    )
    return plane(full)


def bump(grid: Grid, x: float, y: float, rx: float, ry: float) -> Plane:
    """A Gaussian hill of height 1 with radii (one standard deviation) in millimetres."""
    return plane(np.exp(-(((grid.x_mm - x) / rx) ** 2 + ((grid.y_mm - y) / ry) ** 2) / 2))


def normals(height_mm: Plane, scale: float) -> NDArray[np.float32]:
    """Unit normals (h, w, 3) as x, y, z of a height field in millimetres."""
    dx = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, scale=scale / 8)
    dy = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, scale=scale / 8)
    out = np.dstack([-plane(dx), -plane(dy), np.ones_like(height_mm)])
    return plane(out / np.linalg.norm(out, axis=2, keepdims=True))


def lit(normal: NDArray[np.float32], light: Colour) -> Plane:
    """Cosine of the angle between surface and light, 0 where the surface faces away."""
    direction = np.array(light, np.float32)
    direction /= np.linalg.norm(direction)
    return plane(np.clip(normal @ direction, 0, 1))


def mix(a: NDArray[np.float32], b: NDArray[np.float32] | Colour, amount: Plane) -> Plane:
    """``a`` where ``amount`` is 0, ``b`` where it is 1; colours broadcast over the picture."""
    other = np.asarray(b, np.float32)
    return plane(a + (other - a) * amount[..., None])


def to_bytes(value: NDArray[np.float32]) -> Picture:
    """Linear 0..1 to 8-bit with a film-like shoulder, so that highlights do not clip hard."""
    bright = np.clip(value, 0, None)
    curved = np.where(bright < 0.75, bright, 1 - 0.25 * np.exp(-(bright - 0.75) / 0.25))
    return np.asarray(np.clip(curved, 0, 1) ** (1 / 1.8) * 255 + 0.5, np.uint8)
