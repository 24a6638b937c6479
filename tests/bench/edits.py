"""What happens to a microscope's picture without a cut, drawn over real frames; and transitions.

Every function changes ``frames[first:first + length]`` in place. Frames are BGR, 8-bit, one size.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Rng = np.random.Generator
Floats = NDArray[np.float32]

#: Blue of a curing light on a camera's sensor, white of a reflection, the amber of a filter (BGR).
COLOURS = {"white": (255, 255, 255), "blue": (255, 60, 25), "pale blue": (255, 190, 120)}
FLASH_FRAMES = (1, 1, 2, 3, 5, 8, 15, 30, 60, 120)
LONG_FLASH_FRAMES = (300, 600)


def clipped(picture: NDArray[np.floating]) -> Picture:
    """Round and clip to 8 bits."""
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def area(shape: tuple[int, int], name: str, rng: Rng) -> Floats:
    """Where a light falls, 0..1: the whole field, a disc, a soft glow or half of the field."""
    rows, columns = shape
    if name == "full":
        return np.ones((rows, columns, 1), np.float32)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    cy, cx = rows * rng.uniform(0.3, 0.7), columns * rng.uniform(0.3, 0.7)
    away = np.hypot(y - cy, x - cx) / rows
    if name == "disc":
        mask = 1 / (1 + np.exp((away - rng.uniform(0.3, 0.55)) * 40))
    elif name == "glow":
        mask = np.exp(-((away / rng.uniform(0.35, 0.8)) ** 2))
    else:
        mask = (x > columns * rng.uniform(0.35, 0.65)).astype(np.float32)
    return mask[:, :, None].astype(np.float32)


def flash(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """A curing light or a reflection: added light with clipping, the camera's gain drawn back or not."""
    colour = rng.choice(list(COLOURS))
    name = str(rng.choice(["full", "full", "disc", "glow", "half"]))
    mask = area(frames[first].shape[:2], name, rng)
    strength, gain = rng.uniform(0.5, 1.4), rng.uniform(0.25, 1.0)
    rise = int(rng.integers(0, 3)) if length > 4 else 0
    light = np.asarray(COLOURS[str(colour)], np.float32) * strength
    for n in range(length):
        share = min(1.0, (n + 1) / (rise + 1), (length - n) / (rise + 1))
        picture = frames[first + n].astype(np.float32) * (1 - (1 - gain) * share)
        frames[first + n] = clipped(picture + light * mask * share)
    return f"{colour} {name}"


def lamp(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """The lamp is turned up or down within 1 to 6 frames and stays so."""
    gain = float(rng.choice([0.35, 0.55, 0.75, 1.3, 1.7]))
    ramp = int(rng.choice([1, 1, 3, 6]))
    for n in range(length):
        now = 1 + (gain - 1) * min(1.0, (n + 1) / ramp)
        frames[first + n] = clipped(frames[first + n].astype(np.float32) * now)
    return f"gain {gain}"


def colour_filter(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """An amber filter swings in over a few frames from one side and stays."""
    tint = np.array([0.15, 0.6, 1.0], np.float32)
    ramp = int(rng.integers(2, 6))
    columns = frames[first].shape[1]
    for n in range(length):
        edge = round(columns * min(1.0, (n + 1) / ramp))
        picture = frames[first + n].astype(np.float32)
        picture[:, :edge] *= tint
        frames[first + n] = clipped(picture)
    return "amber"


def occlusion(frames: list[Picture], first: int, length: int, rng: Rng, cover: Picture) -> str:
    """An instrument or a mirror sweeps over the whole view, soft-edged, from one side; and leaves."""
    sweep = int(rng.integers(2, max(3, length // 2)))
    rows, columns = frames[first].shape[:2]
    x = np.arange(columns, dtype=np.float32)[None, :, None]
    for n in range(length):
        share = min(1.0, (n + 1) / sweep, (length - n) / sweep)
        mask = 1 / (1 + np.exp((x - share * (columns + 30) + 15) / 4))
        shift = np.array([[1, 0, share * 40], [0, 1, n]], np.float32)
        moved = cv2.warpAffine(cover, shift, (columns, rows), borderMode=cv2.BORDER_REFLECT)
        frames[first + n] = clipped(frames[first + n] * (1 - mask) + moved * mask)
    return f"over {sweep} frames"


def zoom(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """The magnification glides to another value and stays there."""
    scale = float(rng.choice([1.25, 1.6, 2.0]))
    ramp = int(rng.integers(8, 25))
    for n in range(length):
        now = 1 + (scale - 1) * min(1.0, (n + 1) / ramp)
        frames[first + n] = scaled(frames[first + n], now)
    return f"to {scale}"


def magnification(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """The turret clicks to another magnification: a few dark, sliding frames, then the new scale."""
    scale = float(rng.choice([1.25, 1.5, 1.6]))
    dark = int(rng.integers(2, 7))
    for n in range(length):
        picture = frames[first + n]
        if n < dark:
            slide = np.array([[1, 0, 0], [0, 1, (n + 1) * picture.shape[0] / dark]], np.float32)
            picture = cv2.warpAffine(picture, slide, picture.shape[1::-1], borderValue=(8, 8, 8))
            frames[first + n] = clipped(cv2.GaussianBlur(picture, (0, 0), 3))
        else:
            frames[first + n] = scaled(picture, scale)
    return f"to {scale}"


def scaled(picture: Picture, scale: float) -> Picture:
    """The middle of the picture enlarged."""
    rows, columns = picture.shape[:2]
    matrix = cv2.getRotationMatrix2D((columns / 2, rows / 2), 0, scale)
    return np.asarray(cv2.warpAffine(picture, matrix, (columns, rows)), np.uint8)


def fog(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """The mirror fogs over and clears."""
    most = rng.uniform(0.6, 0.97)
    for n in range(length):
        share = most * np.sin(np.pi * (n + 1) / (length + 1))
        soft = cv2.GaussianBlur(frames[first + n], (0, 0), 0.3 + 6 * share)
        frames[first + n] = clipped(soft * (1 - share) + 185 * share)
    return f"{most:.2f}"


def refocus(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """Out of focus and back."""
    most = rng.uniform(3, 10)
    for n in range(length):
        sigma = 0.3 + most * np.sin(np.pi * (n + 1) / (length + 1))
        frames[first + n] = clipped(cv2.GaussianBlur(frames[first + n], (0, 0), sigma))
    return f"sigma {most:.1f}"


def spray(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """Water spray: bright specks everywhere, new ones in every frame, and a haze."""
    count = int(rng.integers(40, 250))
    for n in range(length):
        layer = np.zeros(frames[first].shape[:2], np.uint8)
        rows, columns = layer.shape
        for _ in range(count):
            centre = (int(rng.integers(0, columns)), int(rng.integers(0, rows)))
            cv2.circle(layer, centre, int(rng.integers(1, 4)), int(rng.integers(120, 255)), -1)
        drops = cv2.GaussianBlur(layer, (0, 0), 1.0)[:, :, None].astype(np.float32)
        frames[first + n] = clipped(frames[first + n] * 0.9 + 15 + drops * 0.8)
    return f"{count} drops"


def blink(frames: list[Picture], first: int, length: int, rng: Rng) -> str:
    """The view is black for some frames (a shutter, a light path switched) and comes back."""
    for n in range(length):
        frames[first + n] = np.full_like(frames[first + n], int(rng.integers(0, 14)))
    return f"{length} frames"


def dissolve(out: list[Picture], into: list[Picture]) -> list[Picture]:
    """Frames in which ``out`` gives way to ``into``; both lists have the length of the transition."""
    count = len(out)
    return [
        clipped(
            out[n].astype(np.float32) * (1 - (n + 1) / (count + 1))
            + into[n].astype(np.float32) * ((n + 1) / (count + 1))
        )
        for n in range(count)
    ]


def fade(out: list[Picture], into: list[Picture], black: int) -> list[Picture]:
    """``out`` fades to black, stays black, ``into`` fades in."""
    down = [
        clipped(p.astype(np.float32) * (1 - (n + 1) / (len(out) + 1))) for n, p in enumerate(out)
    ]
    up = [clipped(p.astype(np.float32) * ((n + 1) / (len(into) + 1))) for n, p in enumerate(into)]
    return [*down, *([np.zeros_like(out[0])] * black), *up]


def hand_held(frames: list[Picture], rng: Rng, drift_px: float, tremor_px: float) -> list[Picture]:
    """Hand shake over the whole recording: slow drift and an 8 Hz tremor, seen through a crop."""
    count = len(frames)
    drift = np.cumsum(rng.normal(0, drift_px, (count, 2)), axis=0)
    drift -= np.linspace(0, 1, count)[:, None] * drift[-1]
    drift = 12 * np.tanh(drift / 12)
    phase = rng.uniform(0, 6, 2)
    tremor = tremor_px * np.sin(2 * np.pi * 8 * np.arange(count)[:, None] / 30 + phase)
    rows, columns = frames[0].shape[:2]
    out: list[Picture] = []
    for picture, (dx, dy) in zip(frames, drift + tremor, strict=True):
        matrix = cv2.getRotationMatrix2D((columns / 2, rows / 2), 0, 1.16)
        matrix[:, 2] += (dx, dy)
        out.append(np.asarray(cv2.warpAffine(picture, matrix, (columns, rows)), np.uint8))
    return out


def noisy(frames: list[Picture], rng: Rng, sigma: float) -> list[Picture]:
    """Sensor noise."""
    return [
        clipped(p + rng.standard_normal(p.shape, dtype=np.float32) * np.float32(sigma))
        for p in frames
    ]


Distractor = Callable[[list[Picture], int, int, Rng], str]

#: Name -> (function, shortest, longest) for those that need nothing but the frames; lengths in frames.
PASSING: dict[str, tuple[Distractor, int, int]] = {
    "fog": (fog, 25, 80),
    "refocus": (refocus, 10, 50),
    "spray": (spray, 15, 60),
    "blink": (blink, 1, 12),
}
#: The same for those that stay until the view is left.
LASTING: dict[str, Distractor] = {
    "lamp": lamp,
    "filter": colour_filter,
    "zoom": zoom,
    "magnification": magnification,
}
