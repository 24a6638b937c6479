"""A drawn radiograph of the practice tooth in its block: grey, grainy, the hole dark in the floor."""

from __future__ import annotations

import cv2
import numpy as np

from sample_clips.fields import Grid, Picture, Plane, blur, clouds, plane, soft_step, to_line

SIZE_PX = (800, 600)


def _limb(grid: Grid, points: list[tuple[float, float]], wide: float, narrow: float) -> Plane:
    """Thickness of a tapering root along a polyline, 0..1."""
    top, bottom = points[0][1], points[-1][1]
    share = np.clip((grid.y_mm - top) / (bottom - top), 0, 1)
    radius = wide + (narrow - wide) * share
    gap = to_line(grid, points)
    return plane(np.sqrt(np.clip(1 - (gap / radius) ** 2, 0, 1)))


def radiograph(seed: int) -> Picture:
    """Grey uint8 (h, w); enamel and clamp light, canals, cavity and the perforation dark."""
    grid = Grid(*SIZE_PX, 26.0)
    random = np.random.default_rng(seed + 80)
    shape = (grid.height_px, grid.width_px)
    x, y = grid.x_mm, grid.y_mm
    block = 0.30 + 0.02 * clouds(random, shape, 60, 4) + 0.035 * clouds(random, shape, 9, 3)
    block *= soft_step(y, -2.2, -0.6) * 0.85 + 0.15
    mesial = _limb(grid, [(-1.9, -0.6), (-2.6, 3.0), (-2.9, 6.0), (-2.3, 8.6)], 1.75, 0.75)
    distal = _limb(grid, [(2.0, -0.6), (2.5, 3.0), (2.9, 6.0), (3.0, 8.2)], 1.85, 0.75)
    roots = np.maximum(mesial, distal)
    half = 4.6 + 0.45 * np.sin(np.clip((y + 6.6) / 6.4, 0, 1) * np.pi)
    top = -6.4 + 0.5 * np.cos(x * 1.35) - 0.25 * np.cos(x * 2.6 + 0.4)
    crown = np.sqrt(np.clip(1 - (x / half) ** 4, 0, 1))
    crown = crown * soft_step(plane(y - top), -0.05, 0.25) * soft_step(y, 0.9, -0.2)
    body = np.maximum(crown, roots)
    ring = np.hypot(x / 0.92, y - 3.2) - 1.75
    body = body * (1 - 0.9 * soft_step(plane(ring), 0.25, -0.25) * soft_step(y, 0.5, 1.8))
    value = block * (1 - 0.5 * body) + 0.46 * body
    shell = soft_step(plane(half - np.abs(x)), 1.25, 0.35) + soft_step(plane(y - top), 1.5, 0.5)
    value = value + 0.26 * np.clip(shell, 0, 1) * crown * soft_step(y, -0.8, -2.2)
    value = _cavities(grid, value, soft_step(plane(y - top), -0.05, 0.25))
    bow = np.minimum(np.abs(np.hypot(x - 4.3, (y + 4.0) * 1.25) - 2.9) - 0.30, 9)
    metal = soft_step(plane(bow), 0.05, -0.05) * soft_step(plane(x), 3.2, 4.2)
    jaws = soft_step(plane(np.maximum(np.abs(y + 1.75) - 0.26, np.abs(x) - 4.75)), 0.06, -0.06)
    value = np.maximum(value, 0.97 * np.maximum(metal, jaws * 0.80))
    value = blur(plane(value), 1.5) * (0.92 + 0.10 * clouds(random, shape, 400, 2) * 0.4)
    grain = cv2.GaussianBlur(random.standard_normal(shape, dtype=np.float32), (0, 0), 0.9)
    value = value + 0.045 * plane(grain)
    corner = np.maximum(np.abs(x) - 14.6, np.abs(y) - 10.8)
    value = value * soft_step(plane(np.hypot(np.clip(corner + 1.2, 0, None), 0)), 1.25, 1.05)
    return np.asarray(np.clip(value * 1.12, 0, 1) ** 0.85 * 244 + 4, np.uint8)


def _cavities(grid: Grid, value: Plane, below_cusps: Plane) -> Plane:
    """Canals, access cavity and the perforation let the rays through."""
    x, y = grid.x_mm, grid.y_mm
    lines = (
        ([(-1.6, -1.2), (-2.3, 2.8), (-2.6, 5.8), (-2.2, 8.0)], 0.17),
        ([(-1.2, -1.2), (-1.9, 3.0), (-2.3, 6.0), (-2.2, 8.0)], 0.13),
        ([(1.6, -1.2), (2.3, 3.0), (2.75, 6.0), (2.95, 7.8)], 0.24),
    )
    for points, wide in lines:
        value = plane(value * (1 - 0.42 * np.exp(-((to_line(grid, points) / wide) ** 2))))
    box = np.maximum(
        np.abs(x) - (2.1 - 0.10 * (y + 4)), np.maximum(-8 - y, y + 1.0 - 0.25 * np.cos(x))
    )
    value = plane(value * (1 - 0.66 * soft_step(plane(box), 0.16, -0.16) * below_cusps))
    hole = np.hypot((x - 0.35) / 0.34, np.clip(np.abs(y - 0.1) - 1.25, 0, None) / 0.3)
    return plane(value * (1 - 0.78 * soft_step(plane(hole), 1.35, 0.75)))
