"""Drawn scenes for the cut finder: small luma pictures whose truth is known, no file needed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]

ROWS, COLUMNS = 90, 160
FPS = Fraction(30)


def canvas(seed: int, rows: int = 150, columns: int = 240) -> NDArray[np.float32]:
    """A textured ground of blobs at several sizes, levels about 40..200."""
    rng = np.random.default_rng(seed)
    ground = np.zeros((rows, columns), np.float32)
    for sigma, weight in ((2.5, 1.0), (6.0, 1.5), (15.0, 2.0)):
        layer = cv2.GaussianBlur(
            rng.standard_normal((rows, columns)).astype(np.float32), (0, 0), sigma
        )
        ground += weight * layer / layer.std()
    return np.clip(120 + 22 * ground / ground.std() * 1.5, 30, 215).astype(np.float32)


def shot(
    seed: int,
    frames: int,
    pan_px: float = 0.3,
    noise: float = 1.5,
    tool_px: float = 2.0,
    start: int = 0,
) -> list[Grey]:
    """A slow pan over one canvas with a round tool moving over it and sensor noise.

    ``start`` is the frame of the movement the shot begins with: a later start is a jump in one view.
    """
    ground = canvas(seed)
    rng = np.random.default_rng(seed * 1000 + start)
    pictures: list[Grey] = []
    for n in range(start, start + frames):
        place = np.float32(
            [[1, 0, -20 - 12 * np.sin(pan_px * n / 12)], [0, 1, -20 - 8 * np.sin(pan_px * n / 17)]]
        )
        picture = cv2.warpAffine(ground, place, (COLUMNS, ROWS), flags=cv2.INTER_LINEAR)
        x, y = 80 + 60 * np.sin(tool_px * n / 60), 45 + 30 * np.sin(tool_px * n / 43 + seed)
        tool = picture.copy()
        cv2.circle(tool, (round(x), round(y)), 9, 225.0, -1)
        cv2.line(tool, (round(x), round(y)), (round(x) + 60, 110), 200.0, 4)
        picture = cv2.GaussianBlur(tool, (0, 0), 0.8) + noise * rng.standard_normal((ROWS, COLUMNS))
        pictures.append(np.clip(np.round(picture), 0, 255).astype(np.uint8))
    return pictures


def lit(picture: Grey, gain: float = 1.0, offset: float = 0.0) -> Grey:
    """The same picture under another lamp, clipped as a camera clips."""
    return np.clip(np.round(picture.astype(np.float32) * gain + offset), 0, 255).astype(np.uint8)


def flashed(
    pictures: list[Grey], first: int, length: int, level: float, strength: float = 1.0
) -> list[Grey]:
    """The pictures with frames ``first`` .. ``first + length - 1`` washed towards ``level``."""
    out = list(pictures)
    for n in range(first, min(first + length, len(out))):
        out[n] = lit(out[n], 1 - strength, strength * level)
    return out


def timed(pictures: Iterable[Grey], fps: Fraction = FPS) -> Iterator[tuple[Fraction, Grey]]:
    """The pictures at a constant rate from zero."""
    for n, picture in enumerate(pictures):
        yield n / fps, picture
