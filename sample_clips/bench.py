"""The bench camera: a second view in which the cement is mixed on a glass slab."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, sin

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_clips import script, tools
from sample_clips.fields import Grid, Picture, Plane, blur, clouds, mix, plane, soft_step, to_bytes
from sample_clips.optics import Camera

#: The canvas is a little larger than the picture, so that the camera can drift.
CANVAS = Grid(1360, 790, 1.0)
#: Middle of the paste on the slab, canvas pixels from the canvas's centre.
PASTE_PX = (150.0, 90.0)


@dataclass(frozen=True)
class BenchLayers:
    """The still bench, the paste at three moments of mixing (RGB uint8 windows), the spatula."""

    still: Picture
    pastes: list[Picture]
    spatula: tools.Sprite


def _rounded(x: float, y: float, w: float, h: float, r: float) -> Plane:
    """Signed distance in pixels to a rounded box of full size (w, h); negative inside."""
    dx = np.abs(CANVAS.x_mm - x) - w / 2 + r
    dy = np.abs(CANVAS.y_mm - y) - h / 2 + r
    outside = np.hypot(np.clip(dx, 0, None), np.clip(dy, 0, None))
    return plane(outside + np.minimum(np.maximum(dx, dy), 0) - r)


def _put(ground: NDArray[np.float32], shape: Plane, lift_px: float) -> NDArray[np.float32]:
    """The ground with the shadow that a thing of this outline throws."""
    solid = soft_step(shape, 1, -1)
    shadow = blur(plane(np.roll(solid, (int(lift_px), int(lift_px * 0.6)), (0, 1))), lift_px)
    return plane(ground * (1 - 0.55 * shadow[..., None]))


def prepare_bench(tooth: Picture) -> BenchLayers:
    """Draw the bench; ``tooth`` is the canvas of the microscope view, shown small in its block."""
    random = np.random.default_rng(script.SEED + 40)
    shape = (CANVAS.height_px, CANVAS.width_px)
    weave = clouds(random, shape, 3, 2) * 0.006 + clouds(random, shape, 240, 3) * 0.012
    base = (
        np.broadcast_to(np.array((0.085, 0.115, 0.12), np.float32), (*shape, 3)) + weave[..., None]
    )
    fall = 1.25 - 0.6 * np.hypot((CANVAS.x_mm + 120) / 900, (CANVAS.y_mm + 160) / 620)
    scene = plane(base * fall[..., None])
    scene = _tray(scene, random)
    scene = _block(scene, tooth, random)
    scene = _slab(scene, random)
    pastes = [_paste(scene, moment) for moment in (0.0, 0.5, 1.0)]
    still = to_bytes(scene)
    for sprite, x, y, angle in ((tools.EXPLORER, 290, -318, 2), (tools.PLUGGER, 280, -262, -1), (tools.CARRIER, 302, -206, 0)):  # fmt: skip
        laid = tools.bar_sprite(sprite, script.SEED)
        tools.stamp(
            still, laid, (CANVAS.width_px / 2 + x - 290, CANVAS.height_px / 2 + y), angle, 1.0
        )
    still = np.asarray(cv2.GaussianBlur(still, (0, 0), 1.1), np.uint8)
    spatula = tools.bar_sprite(tools.SPATULA, script.SEED)
    return BenchLayers(still, pastes, spatula)


def _tray(scene: NDArray[np.float32], random: np.random.Generator) -> NDArray[np.float32]:
    rim = _rounded(420, -262, 960, 230, 34)
    scene = _put(scene, rim, 16)
    brushed = cv2.blur(clouds(random, rim.shape, 3, 1), (61, 1))
    steel = 0.20 + 0.05 * plane(brushed) + 0.10 * np.exp(-(((CANVAS.x_mm - 420) / 260) ** 2))
    steel = steel * (0.75 + 0.25 * soft_step(rim, -6, -18)) + 0.30 * np.exp(-(((rim + 8) / 4) ** 2))
    picture = np.dstack([steel * 0.98, steel, steel * 1.03])
    return mix(scene, plane(picture), soft_step(rim, 1, -1))


def _block(
    scene: NDArray[np.float32], tooth: Picture, random: np.random.Generator
) -> NDArray[np.float32]:
    """A plaster block whose tooth stands through a blue sheet in a dark frame."""
    plaster = _rounded(-400, 60, 500, 500, 30)
    scene = _put(scene, plaster, 26)
    stone = 0.55 + 0.03 * clouds(random, plaster.shape, 9, 3)
    scene = mix(
        scene, plane(np.dstack([stone, stone * 0.95, stone * 0.86])), soft_step(plaster, 1, -1)
    )
    frame = _rounded(-400, 60, 430, 430, 60)
    scene = _put(scene, frame, 12)
    glow = 0.05 + 0.16 * np.exp(-(((frame + 10) / 6) ** 2))
    scene = mix(scene, plane(np.dstack([glow, glow, glow * 1.1])), soft_step(frame, 1, -1))
    sheet = _rounded(-400, 60, 380, 380, 44)
    sag = np.hypot(CANVAS.x_mm + 400, CANVAS.y_mm - 60) / 200
    folds = 1 + 0.10 * np.sin(np.arctan2(CANVAS.y_mm - 60, CANVAS.x_mm + 400) * 11) * np.exp(
        -((sag - 0.5) ** 2) * 6
    )
    blue = np.array((0.03, 0.15, 0.27), np.float32) * (0.75 + 0.5 * sag * folds)[..., None]
    scene = mix(scene, plane(blue), soft_step(sheet, 1, -1))
    small = cv2.resize(tooth, (234, 195), interpolation=cv2.INTER_AREA)
    row, column = CANVAS.height_px // 2 + 60 - 97, CANVAS.width_px // 2 - 400 - 117
    grid = Grid(234, 195, 1.0)
    keep = soft_step(plane(np.hypot(grid.x_mm / 108, grid.y_mm / 92)), 1.0, 0.80)
    window = (slice(row, row + 195), slice(column, column + 234))
    linear = plane((small.astype(np.float32) / 255) ** 1.8)
    scene[window] = mix(scene[window], linear, keep)
    return scene


def _slab(scene: NDArray[np.float32], random: np.random.Generator) -> NDArray[np.float32]:
    slab = _rounded(210, 120, 560, 400, 22)
    scene = _put(scene, slab, 14)
    glass = scene * 0.72 + np.array((0.105, 0.14, 0.135), np.float32)
    gleam = np.exp(-(((CANVAS.x_mm * 0.7 + CANVAS.y_mm - 330) / 26) ** 2)) * 0.06
    gleam += np.exp(-(((CANVAS.x_mm * 0.7 + CANVAS.y_mm - 395) / 9) ** 2)) * 0.05
    rim = np.exp(-(((slab + 5) / 3.0) ** 2))
    glass = glass + (gleam + 0.22 * rim)[..., None] * np.array((0.85, 1.0, 0.97), np.float32)
    del random
    return mix(scene, plane(glass), soft_step(slab, 1, -1))


def _paste_window() -> tuple[slice, slice]:
    row = int(CANVAS.height_px / 2 + PASTE_PX[1])
    column = int(CANVAS.width_px / 2 + PASTE_PX[0])
    return slice(row - 110, row + 110), slice(column - 150, column + 150)


def _paste(scene: NDArray[np.float32], moment: float) -> Picture:
    """Powder and drop (0), streaky (0.5), one smooth heap (1) on the slab; RGB uint8 window."""
    random = np.random.default_rng(script.SEED + 41)
    ground = scene[_paste_window()]
    grid = Grid(300, 220, 1.0)
    ragged, fine = clouds(random, (220, 300), 46, 4), clouds(random, (220, 300), 5, 3)
    powder = (
        np.hypot((grid.x_mm + 46 * (1 - moment)) / 1.35, grid.y_mm + 6)
        - 42
        - 9 * ragged
        - 12 * moment
    )
    drop = np.hypot(grid.x_mm - 62 * (1 - moment), grid.y_mm - 20 * (1 - moment)) - 27 + 4 * ragged
    height = blur(plane(np.clip(-powder / 16, 0, 1.4) + 0.16 * fine * (1 - 0.8 * moment)), 1.5)
    slope = cv2.Sobel(height, cv2.CV_32F, 1, 1, ksize=3)
    tone = (
        0.36 + 0.10 * fine * (1 - moment) + 0.10 * ragged * (0.5 - abs(moment - 0.5)) - 0.22 * slope
    )
    grey = np.dstack([tone, tone, tone * 0.97])
    wet = mix(
        ground, (0.30, 0.36, 0.36), plane(0.35 * soft_step(plane(drop), 2, -3) * (1 - moment))
    )
    out = mix(wet, plane(grey), soft_step(plane(powder + 5 * fine * (1 - moment)), 4, -4))
    shine = np.exp(-(((grid.x_mm + 18) / 26) ** 2 + ((grid.y_mm + 22) / 9) ** 2)) * 0.35 * moment
    spark = np.exp(-(((grid.x_mm - 52) / 5) ** 2 + ((grid.y_mm - 10) / 4) ** 2)) * (1 - moment)
    return to_bytes(plane(out + (shine + spark)[..., None]))


class BenchCamera:
    """Draws the bench second by second."""

    def __init__(self, layers: BenchLayers, camera: Camera) -> None:
        self.layers = layers
        self.camera = camera

    def picture(self, second: float) -> Picture:
        """Planar 4:2:0 (see ``Camera``) at a script second within ``script.BENCH_VIEW``."""
        start, stop = script.BENCH_VIEW
        share = (second - start) / (stop - start)
        moment = float(np.clip((share - 0.12) / 0.7, 0, 1)) * 2
        low = min(int(moment), 1)
        scene = self.layers.still.copy()
        pastes = self.layers.pastes
        scene[_paste_window()] = cv2.addWeighted(
            pastes[low], 1 - moment + low, pastes[low + 1], moment - low, 0
        )
        self._spatula(scene, second, share)
        zoom = self.camera.zoom
        x = 40 + 14 * sin(second * 0.5) + 2 * sin(second * 6.1)
        y = 35 + 10 * cos(second * 0.4) + 2 * cos(second * 5.3)
        matrix = np.array([[zoom, 0, -x * zoom], [0, zoom, -y * zoom]])
        seen = cv2.warpAffine(scene, matrix, self.camera.size_px)
        return self.camera.whole(np.asarray(seen, np.uint8))

    def _spatula(self, scene: Picture, second: float, share: float) -> None:
        inward = min(1.0, share / 0.10, (1 - share) / 0.06)
        reach = 300 * (1 - inward)
        turn = second * 4.2
        x = CANVAS.width_px / 2 + PASTE_PX[0] + 46 * sin(turn) + reach
        y = CANVAS.height_px / 2 + PASTE_PX[1] + 22 * cos(turn * 0.9) + reach
        tools.stamp(scene, self.layers.spatula, (x, y), 34 + 7 * sin(turn * 0.8), 0.95)
