"""Instruments as cut-out pictures: the tip at a known place, the handle rising out of focus.

A ``Sprite`` is premultiplied RGBA in uint8; ``stamp`` lays it on a picture, turned, scaled and moved.
Shafts are round bars lit from the microscope: dark flanks, one bright band, one weak one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from sample_clips.fields import Colour, Picture, Plane, blur, clouds, mix, plane, soft_step

#: Pixels a millimetre in a sprite.
SPRITE_SCALE = 56.0


@dataclass(frozen=True)
class Sprite:
    """Premultiplied RGBA uint8 (h, w, 4) at ``SPRITE_SCALE``; the tip lies at ``tip_px`` (x, y).

    A ``soft`` one has no sharp part, so that it may be turned at half the size.
    """

    rgba: Picture
    tip_px: tuple[float, float]
    soft: bool = False


@dataclass(frozen=True)
class Bar:
    """A tapered round bar along +x from the tip: radius and sideways bend at ``s`` mm."""

    length_mm: float
    radius_mm: Callable[[Plane], Plane]
    bend_mm: Callable[[Plane], Plane]
    colour: Colour
    shine: float = 0.9
    blur_mm: float = 0.35
    rise_from_mm: float = 1.5


def bar_sprite(bar: Bar, seed: int, tip_blur_mm: float = 0.0) -> Sprite:
    """Draw the bar; its blur grows with the distance from the tip, from ``tip_blur_mm`` on."""
    scale = SPRITE_SCALE
    margin = 1.4
    width = int((bar.length_mm + margin) * scale)
    along_1d = np.linspace(0, bar.length_mm, 64, dtype=np.float32)
    reach = float(np.max(np.abs(bar.bend_mm(along_1d)) + bar.radius_mm(along_1d))) + margin
    height = int(2 * reach * scale)
    x = (np.arange(width, dtype=np.float32) - margin * scale) / scale
    s = np.broadcast_to(x, (height, width)).astype(np.float32)
    y = (np.arange(height, dtype=np.float32)[:, None] - height / 2) / scale
    radius = bar.radius_mm(np.clip(s, 0, None))
    across = plane((y - bar.bend_mm(np.clip(s, 0, None))) / np.maximum(radius, 1e-3))
    inside = soft_step(plane((np.abs(across) - 1) * radius), 0.018, -0.018)
    inside = plane(inside * soft_step(s, -0.02, 0.02))
    grain = clouds(np.random.default_rng(seed), (height, width), 5, 2)
    grain = plane(cv2.blur(grain, (1, 9)))
    level = np.sqrt(np.clip(1 - across**2, 0, 1))
    band = np.exp(-(((across + 0.28) / 0.17) ** 2)) + 0.35 * np.exp(
        -(((across - 0.55) / 0.12) ** 2)
    )
    light = 0.10 + 0.42 * level**1.4 + bar.shine * 0.62 * band + 0.03 * grain * level
    rgb = np.asarray(bar.colour, np.float32) * light[..., None]
    rgb = mix(
        plane(rgb), (1, 1, 1), plane(np.clip(0.95 * bar.shine * band - 0.45, 0, 0.8) * inside)
    )
    rgb = plane(np.clip(rgb, 0, 1) ** (1 / 1.7))
    shadow = blur(plane(np.roll(inside, int(0.16 * scale), axis=0)), 0.10 * scale) * 0.40
    alpha = plane(inside + (1 - inside) * shadow)
    flat = np.dstack([rgb * inside[..., None], alpha])
    rise = np.clip((s - bar.rise_from_mm) / bar.length_mm, 0, 1) * bar.blur_mm * scale
    rgba = _rising_blur(plane(flat), plane(rise + tip_blur_mm * scale))
    rows = np.flatnonzero(rgba[..., 3].max(axis=1) > 2)
    first, last = int(rows[0]), int(rows[-1]) + 1
    tip = (margin * scale, height / 2 - first)
    return Sprite(np.ascontiguousarray(rgba[first:last]), tip, soft=tip_blur_mm >= 0.1)


def _rising_blur(flat: Plane, sigma_px: Plane) -> Picture:
    """Blur by a different amount in every column: a mix of five evenly blurred copies."""
    steps = [0.0, 2.0, 5.0, 10.0, 20.0]
    copies = [flat] + [blur(flat, s) for s in steps[1:]]
    out = np.zeros_like(flat)
    for i, copy in enumerate(copies):
        low = steps[i - 1] if i else -1.0
        high = steps[i + 1] if i + 1 < len(steps) else 1e9
        up = np.clip((sigma_px - low) / (steps[i] - low), 0, 1)
        down = np.clip((high - sigma_px) / (high - steps[i]), 0, 1)
        out += copy * np.minimum(up, down)[..., None]
    return np.asarray(np.clip(out, 0, 1) * 255 + 0.5, np.uint8)


def _taper(points: list[tuple[float, float]]) -> Callable[[Plane], Plane]:
    """Piecewise-linear function of the distance from the tip."""
    xs, ys = zip(*points, strict=True)
    return lambda s: plane(np.interp(s, xs, ys))


STEEL: Colour = (0.62, 0.64, 0.67)
EXPLORER = Bar(
    12,
    _taper([(0, 0.05), (0.3, 0.09), (3, 0.24), (7, 0.5), (12, 0.95)]),
    lambda s: plane(0.9 * np.exp(-(((s - 1.0) / 1.5) ** 2)) - 0.58),
    STEEL,
    1.0,
    0.34,
    1.2,
)
ULTRASONIC = Bar(
    12,
    _taper([(0, 0.14), (0.12, 0.21), (2.6, 0.30), (4.0, 0.42), (6, 0.85), (7, 1.35), (12, 1.55)]),
    lambda s: plane(0.55 * np.exp(-(((s - 2.2) / 1.7) ** 2)) - 0.1),
    (0.70, 0.66, 0.55),
    0.9,
    0.36,
    1.6,
)
PLUGGER = Bar(
    12,
    _taper([(0, 0.30), (0.05, 0.36), (0.5, 0.36), (0.9, 0.24), (3.5, 0.28), (7, 0.6), (12, 1.0)]),
    lambda s: plane(0.5 * np.exp(-(((s - 1.6) / 1.4) ** 2)) - 0.2),
    STEEL,
    1.0,
    0.34,
    1.6,
)
CARRIER = Bar(
    12,
    _taper([(0, 0.40), (0.04, 0.46), (4, 0.50), (4.3, 0.62), (8, 0.8), (12, 1.0)]),
    lambda s: plane(0.00 * s),
    (0.58, 0.60, 0.64),
    1.0,
    0.34,
    1.6,
)
SYRINGE = Bar(
    12,
    _taper([(0, 0.20), (0.03, 0.24), (4.2, 0.27), (4.6, 0.62), (6, 0.9), (12, 1.1)]),
    lambda s: plane(0.35 * np.exp(-(((s - 2.4) / 1.6) ** 2))),
    (0.20, 0.21, 0.24),
    0.7,
    0.36,
    1.4,
)
SUCTION = Bar(
    13,
    _taper([(0, 1.15), (0.15, 1.35), (3, 1.45), (13, 1.9)]),
    lambda s: plane(0.02 * s**2),
    (0.70, 0.86, 0.92),
    0.55,
    0.42,
    0.2,
)
AIR = Bar(
    12,
    _taper([(0, 0.75), (0.2, 0.9), (4, 1.0), (5, 1.5), (12, 1.7)]),
    lambda s: plane(-0.015 * s**2),
    (0.60, 0.62, 0.65),
    0.9,
    0.40,
    0.2,
)
LIGHT_TIP = Bar(
    13,
    _taper([(0, 2.5), (0.4, 2.9), (13, 3.0)]),
    lambda s: plane(0 * s),
    (0.13, 0.14, 0.17),
    0.5,
    0.35,
    0.1,
)
SPATULA = Bar(
    13,
    _taper([(0, 0.15), (0.3, 0.42), (0.9, 0.52), (3.4, 0.42), (4.6, 0.24), (7, 0.4), (13, 0.62)]),
    lambda s: plane(0 * s),
    (0.72, 0.74, 0.77),
    0.6,
    0.22,
    4.0,
)


MIRROR_HANDLE = Bar(
    12,
    _taper([(0, 0.32), (3, 0.40), (8, 0.62), (12, 0.9)]),
    lambda s: plane(0.006 * s**2),
    STEEL,
    0.9,
    0.34,
    0.2,
)
#: Every instrument of the microscope view: name, shape, blur of its tip in millimetres.
IN_THE_FIELD = (
    ("explorer", EXPLORER, 0.0),
    ("ultrasonic", ULTRASONIC, 0.0),
    ("plugger", PLUGGER, 0.0),
    ("carrier", CARRIER, 0.0),
    ("syringe", SYRINGE, 0.0),
    ("mirror handle", MIRROR_HANDLE, 0.02),
    ("suction", SUCTION, 0.13),
    ("air", AIR, 0.12),
    ("light", LIGHT_TIP, 0.22),
)


def pellet_on(carrier: Sprite, seed: int) -> Sprite:
    """The carrier with a plug of grey cement standing out of its end."""
    rgba = carrier.rgba.copy()
    h, w = rgba.shape[:2]
    x = (np.arange(w, dtype=np.float32)[None, :] - carrier.tip_px[0]) / SPRITE_SCALE
    y = (np.arange(h, dtype=np.float32)[:, None] - carrier.tip_px[1]) / SPRITE_SCALE
    grain = clouds(np.random.default_rng(seed), (h, w), 7, 3)
    gap = plane(np.maximum(np.abs(y) - 0.37, np.abs(x + 0.22) - 0.36) + 0.03 * grain)
    plug = soft_step(gap, 0.03, -0.03)
    tone = np.clip(0.70 - 0.35 * np.abs(y + 0.1) + 0.05 * grain, 0, 1)
    grey = np.dstack([tone, tone, tone * 0.98, np.ones_like(tone)]) * plug[..., None] * 255
    out = rgba * (1 - plug[..., None]) + grey
    return Sprite(np.asarray(out + 0.5, np.uint8), carrier.tip_px)


def stamp(
    picture: Picture, sprite: Sprite, at_px: tuple[float, float], angle_deg: float, zoom: float
) -> None:
    """Lay the sprite on ``picture`` (h, w, 3) in place: tip at ``at_px``, handle towards ``angle_deg``.

    The angle counts clockwise from +x as seen on the picture; ``zoom`` is picture pixels a
    sprite pixel. What falls outside the picture is cut off.
    """
    c, s = np.cos(np.radians(angle_deg)) * zoom, np.sin(np.radians(angle_deg)) * zoom
    turn = np.array([[c, -s], [s, c]])
    h, w = sprite.rgba.shape[:2]
    corners = (np.array([[0, 0], [w, 0], [0, h], [w, h]]) - sprite.tip_px) @ turn.T + at_px
    x0, y0 = np.maximum(np.floor(corners.min(0)).astype(int) - 1, 0)
    x1, y1 = np.minimum(np.ceil(corners.max(0)).astype(int) + 1, picture.shape[1::-1])
    if x1 <= x0 or y1 <= y0:
        return
    shift = np.asarray(at_px) - turn @ np.asarray(sprite.tip_px) - (x0, y0)
    matrix = np.hstack([turn, shift[:, None]])
    size = (int(x1 - x0), int(y1 - y0))
    if sprite.soft:
        half = (size[0] // 2 + 1, size[1] // 2 + 1)
        laid = cv2.warpAffine(sprite.rgba, matrix * 0.5, half, flags=cv2.INTER_LINEAR)
        laid = cv2.resize(laid, (half[0] * 2, half[1] * 2), interpolation=cv2.INTER_LINEAR)
        laid = laid[: size[1], : size[0]]
    else:
        laid = cv2.warpAffine(sprite.rgba, matrix, size, flags=cv2.INTER_LINEAR)
    over(picture[y0:y1, x0:x1], np.asarray(laid, np.uint8))


def over(picture: Picture, rgba: Picture) -> None:
    """Blend premultiplied RGBA over an RGB picture of the same size, in place."""
    clear = cv2.bitwise_not(rgba[..., 3])
    under = cv2.multiply(picture, cv2.merge([clear, clear, clear]), scale=1 / 255)
    cv2.add(under, cv2.cvtColor(rgba, cv2.COLOR_RGBA2RGB), dst=under)
    picture[...] = under
