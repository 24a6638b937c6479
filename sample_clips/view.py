"""The microscope's view: the picture of the field at any second of the script.

Built from prepared layers: the scene in focus at the asked depth, moving highlights, liquid,
instruments, mirror and spray; then the camera takes it. The still part of a picture is kept
between frames: while zoom, focus and work stand still, only a sliding window is cut from it.
"""

from __future__ import annotations

from math import cos, radians, sin

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_clips import script, tools
from sample_clips.fields import Grid, Picture, plane, soft_step
from sample_clips.layers import CANVAS, WORK, Layers
from sample_clips.optics import Camera
from sample_clips.tooth import FOCUS_DEPTHS_MM, PERFORATION_MM, depth_code

#: Room around the still picture for the tremor, pixels at any size.
_PAD = 24
Matrix = NDArray[np.float64]


class Microscope:
    """Draws the field second by second. Ask in order of time: the last scene is kept."""

    def __init__(self, layers: Layers, camera: Camera) -> None:
        self.layers = layers
        self.camera = camera
        self.zoom = camera.zoom
        self.field = camera.field_px
        self.canvas = layers.stack[0]
        self.gloss = layers.gloss.copy()
        self._scene_key: object = None
        self._kept_key: object = None
        self._kept: dict[tuple[int, int], Picture] = {}
        self._kept_gloss = layers.gloss
        self._random = np.random.default_rng(script.SEED + 70)
        self._glow = self._lamp_glow()
        self._mist = _scaled(layers.mist, self.zoom)
        self._streaks = [_scaled(sheet, self.zoom) for sheet in layers.streaks]
        self._mirror_masks: dict[tuple[int, int], tuple[Picture, Picture]] = {}

    def _lamp_glow(self) -> Picture:
        """What the curing light adds near its tip: nearly white, then blue (h, w, 3)."""
        grid = Grid(self.field[0], self.field[1], self.zoom)
        r = np.hypot((grid.x_mm - 10) / 300, (grid.y_mm + 120) / 230)
        near, far = np.exp(-(r**2) * 2.2), np.exp(-(r**2) * 0.7)
        return np.asarray(np.dstack([70 * near, 105 * near + 16 * far, 90 * far]), np.uint8)

    # -- the scene ---------------------------------------------------------------------------
    def _scene(self, second: float) -> object:
        """Bring ``canvas`` and ``gloss`` to the second's focus and stage; the key of that state."""
        focus = round(script.FOCUS.at(second), 2)
        before, after, share = script.stage_at(second)
        share = round(share * 40) / 40
        wet = round(script.LIQUID.at(second), 2)
        key = (focus, before.name, after.name, share, wet)
        if key == self._scene_key:
            return key
        at = float(np.interp(-focus, [-d for d in FOCUS_DEPTHS_MM], range(len(FOCUS_DEPTHS_MM))))
        low = min(int(at), len(FOCUS_DEPTHS_MM) - 2)
        stack, stages = self.layers.stack, self.layers.stages
        work = [
            _between(stages[s.name].stack[low], stages[s.name].stack[low + 1], at - low)
            for s in (before, after)
        ]
        self.canvas = _between(stack[low], stack[low + 1], at - low).copy()
        self.canvas[WORK] = self._flooded(_between(work[0], work[1], share), wet)
        self.gloss[WORK] = _between(stages[before.name].gloss, stages[after.name].gloss, share)
        self._scene_key = key
        return key

    def _flooded(self, work: Picture, wet: float) -> Picture:
        """Water standing in the cavity: darker, a little greener."""
        if wet <= 0:
            return work
        h, w = work.shape[:2]
        grid = Grid(w, h, CANVAS.scale)
        wide = 0.55 + 0.45 * wet
        r = np.hypot((grid.x_mm - 0.05) / (2.75 * wide), grid.y_mm / (2.15 * wide))
        soft = soft_step(plane(r), 1.12, 0.86) * wet
        keep = np.dstack([255 - 255 * k * soft for k in (0.24, 0.13, 0.13)])
        return np.asarray(cv2.multiply(work, keep.astype(np.uint8), scale=1 / 255), np.uint8)

    def _matrix(self, second: float) -> Matrix:
        """Affine map from canvas pixels to field pixels, without tremor."""
        scale = script.ZOOM.at(second) * self.zoom / CANVAS.scale
        turn = radians(script.TURN.at(second))
        c, s = scale * cos(turn), scale * sin(turn)
        x = script.CENTRE_X.at(second) * CANVAS.scale + CANVAS.width_px / 2
        y = script.CENTRE_Y.at(second) * CANVAS.scale + CANVAS.height_px / 2
        return np.array(
            [[c, -s, self.field[0] / 2 - c * x + s * y], [s, c, self.field[1] / 2 - s * x - c * y]]
        )

    def _still(
        self, key: object, matrix: Matrix, shake: tuple[float, float]
    ) -> tuple[Picture, Picture]:
        """The scene and (at half size) its gloss as the field shows them, moved by the tremor.

        A moved copy is kept for every quarter of a square pixel, so that a still scene is warped
        four times, not once a frame.
        """
        key = (key, matrix.tobytes())
        w, h = self.field[0] + 2 * _PAD, self.field[1] + 2 * _PAD
        if key != self._kept_key:
            self._kept_key, self._kept = key, {}
            half = matrix * 0.5 + np.array([[0, 0, _PAD / 2], [0, 0, _PAD / 2]])
            warped = cv2.warpAffine(self.gloss, half, (w // 2, h // 2), flags=cv2.INTER_LINEAR)
            self._kept_gloss = np.asarray(warped, np.uint8)
        limit = _PAD - 2
        steps = [round(2 * min(max(s, -limit), limit)) for s in shake]
        (dx, px), (dy, py) = (divmod(s, 2) for s in steps)
        if (px, py) not in self._kept:
            moved = matrix + np.array([[0, 0, _PAD + px / 2], [0, 0, _PAD + py / 2]])
            warped = cv2.warpAffine(
                self.canvas, moved, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
            )
            self._kept[(px, py)] = np.asarray(warped, np.uint8)
        x, y = _PAD - dx, _PAD - dy
        field = self._kept[(px, py)][y : y + self.field[1], x : x + self.field[0]].copy()
        gloss = self._kept_gloss[y // 2 :, x // 2 :][: self.field[1] // 2, : self.field[0] // 2]
        return field, gloss

    def _glints(self, picture: Picture, gloss: Picture, second: float, sway: float) -> None:
        """Highlights that slide over wet and polished surfaces as light and liquid move.

        A facet shines when its slope (first two channels) is the one that mirrors the lamp; what
        lies out of focus shines as a soft spot.
        """
        nx, ny, shine, depth = (np.asarray(c, np.uint8) for c in cv2.split(gloss))
        wet = script.LIQUID.at(second)
        if wet > 0:
            nx, ny = self._rippled(nx, ny, second, 0.30 * wet)
        at = (138 + 7 * sin(second * 0.9) + sway, 114 + 6 * cos(second * 0.7) + sway)
        levels = np.arange(256, dtype=np.float32)
        facing = [cv2.LUT(n, _bell(levels, a)) for n, a in zip((nx, ny), at, strict=True)]
        spark = cv2.multiply(
            cv2.multiply(facing[0], facing[1], scale=1 / 255), shine, scale=1 / 255
        )
        off = np.abs(levels - depth_code(script.FOCUS.at(second))) / 255 * 10
        softness = np.clip((off - 0.5) / 2.0, 0, 1) * 255
        veil = cv2.multiply(spark, cv2.LUT(depth, softness.astype(np.uint8)), scale=1 / 255)
        wide = max(int(11 * self.zoom) | 1, 3)
        bokeh = cv2.blur(cv2.blur(veil, (wide, wide)), (wide, wide))
        light = cv2.addWeighted(cv2.subtract(spark, veil), 0.8, bokeh, 1.3, 0)
        full = cv2.resize(light, self.field, interpolation=cv2.INTER_LINEAR)
        cv2.add(picture, cv2.merge([full, full, full]), dst=picture)

    def _rippled(
        self, nx: Picture, ny: Picture, second: float, much: float
    ) -> tuple[Picture, Picture]:
        h, w = nx.shape
        out = []
        for n, way in ((nx, 1), (ny, -1)):
            dx, dy = int(second * 70 * way) % 150, int(second * 45) % 180
            wave = self.layers.ripple[dy : dy + h, dx : dx + w]
            out.append(np.asarray(cv2.addWeighted(n, 1, wave, much, -128 * much), np.uint8))
        return out[0], out[1]

    # -- things in front ---------------------------------------------------------------------
    def _mirror(
        self, picture: Picture, at: tuple[float, float], turn: float, second: float
    ) -> None:
        """A round mirror showing the tooth from the side, its rim and its handle."""
        scale = script.ZOOM.at(second) * self.zoom
        wide, tall = 2.35 * scale, 1.9 * scale
        neck = (at[0] - 0.9 * wide, at[1] + 0.1 * tall)
        handle = self.layers.sprites["mirror handle"]
        tools.stamp(picture, handle, neck, turn, scale / tools.SPRITE_SCALE)
        w, h = int(2 * wide) + 8, int(2 * tall) + 8
        if (w, h) not in self._mirror_masks:
            self._mirror_masks = {(w, h): _mirror_masks(w, h, wide, tall)}
        clear, rim = self._mirror_masks[(w, h)]
        m = np.array([[-0.72 * scale / 80, 0.10, 0], [0.08, 0.95 * scale / 80, 0]])
        looks_at = (780 + 25 * sin(second / 3), 600 + 12 * cos(second / 2))
        m[:, 2] = np.array([w / 2, h / 2]) - m[:, :2] @ looks_at
        seen = cv2.warpAffine(self.canvas, m, (w, h), borderMode=cv2.BORDER_REFLECT)
        seen = cv2.blur(cv2.convertScaleAbs(seen, alpha=0.84, beta=14), (3, 3))
        face = cv2.add(cv2.multiply(np.asarray(seen, np.uint8), clear, scale=1 / 255), rim[..., :3])
        rgba = np.dstack([face, rim[..., 3]])
        _paste(picture, rgba, round(at[0] - w / 2), round(at[1] - h / 2))

    def _tools(self, picture: Picture, matrix: Matrix, second: float) -> None:
        scale = script.ZOOM.at(second) * self.zoom / tools.SPRITE_SCALE
        for index, passing in enumerate(script.PASSES):
            at = passing.at(second)
            if at is None:
                continue
            t = second + 13.7 * index
            dx = passing.shake_mm * (sin(t * 9.1) + 1.6 * sin(t * 2.3 + 1))
            dy = passing.shake_mm * (cos(t * 7.7) + 1.6 * sin(t * 1.9))
            if passing.quiver_mm:
                dx += passing.quiver_mm * float(self._random.uniform(-1, 1))
                dy += passing.quiver_mm * float(self._random.uniform(-1, 1))
            tip = _place(matrix, at[0] + dx, at[1] + dy)
            turn = at[2] + script.TURN.at(second) + 1.2 * sin(t * 1.3)
            if passing.tool == "mirror":
                self._mirror(picture, tip, turn, second)
            else:
                tools.stamp(picture, self.layers.sprites[passing.tool], tip, turn, scale)

    def _water(self, picture: Picture, matrix: Matrix, second: float) -> None:
        """Mist and flying droplets around the ultrasonic tip."""
        amount = script.SPRAY.at(second)
        if amount <= 0.02:
            return
        w, h = self.field
        x, y = _place(matrix, *script.where("ultrasonic", second, PERFORATION_MM))
        span = int(300 * self.zoom), int(120 * self.zoom)
        dx, dy = int(second * 140) % span[0], int(second * 60) % span[1]
        mist = self._mist[dy : dy + h, dx : dx + w]
        sheet = self._streaks[int(self._random.integers(len(self._streaks)))]
        top, left = max(sheet.shape[0] // 2 - round(y), 0), max(sheet.shape[1] // 2 - round(x), 0)
        top, left = min(top, sheet.shape[0] - h), min(left, sheet.shape[1] - w)
        laid = sheet[top : top + h, left : left + w]
        veil = cv2.addWeighted(mist, 0.55 * amount, laid, 0.75 * amount, 0)
        cv2.add(picture, cv2.merge([veil, veil, veil]), dst=picture)

    def _blue(self, picture: Picture, second: float) -> Picture:
        """The curing light floods the field; the camera holds the blue and loses the rest."""
        pulse = 0.97 + 0.03 * sin(second * 5)
        mixing = np.array([[0.10, 0.10, 0.04, 0], [0.10, 0.34, 0.14, 0], [0.28, 0.42, 0.36, 44]])
        flooded = cv2.transform(picture, mixing * pulse)
        return np.asarray(cv2.add(flooded, self._glow), np.uint8)

    def picture(self, second: float) -> Picture:
        """Planar 4:2:0 (see ``Camera``) at a script second."""
        tremor = script.TREMOR.at(second)
        shake = (
            tremor * (1.5 * sin(second * 7.9) + 2.0 * sin(second * 1.7) + 1.2 * sin(second * 0.43)),
            tremor
            * (1.3 * cos(second * 8.7) + 2.0 * sin(second * 1.3 + 2) + 1.4 * sin(second * 0.37)),
        )
        shake = (shake[0] * self.zoom, shake[1] * self.zoom)
        matrix = self._matrix(second)
        field, gloss = self._still(self._scene(second), matrix, shake)
        calm = second if tremor > 0 else float(script.STILL[0])
        self._glints(field, gloss, calm, 2.0 * tremor * sin(calm * 3.1))
        moved = matrix + np.array([[0, 0, shake[0]], [0, 0, shake[1]]])
        self._tools(field, moved, second)
        self._water(field, moved, second)
        if script.BLUE_LIGHT[0] <= second < script.BLUE_LIGHT[1]:
            field = self._blue(field, second)
        drift = 1 + (0.025 * sin(second * 0.31) if tremor > 0 else 0.0)
        return self.camera.field(field, script.EXPOSURE.at(second) * drift)


def _scaled(picture: Picture, zoom: float) -> Picture:
    """The picture at the recording's size, never smaller than the field needs."""
    if zoom == 1:
        return picture
    return np.asarray(
        cv2.resize(picture, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA), np.uint8
    )


def _bell(levels: NDArray[np.float32], middle: float) -> Picture:
    """Look-up table of a bell around a slope, 0..255."""
    return np.asarray(255 * np.exp(-((levels - middle) ** 2) / 110), np.uint8)


def _place(matrix: Matrix, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Field pixels of a place on the tooth."""
    x = x_mm * CANVAS.scale + CANVAS.width_px / 2
    y = y_mm * CANVAS.scale + CANVAS.height_px / 2
    at = matrix @ (x, y, 1)
    return float(at[0]), float(at[1])


def _mirror_masks(w: int, h: int, wide: float, tall: float) -> tuple[Picture, Picture]:
    """What of the reflection stays (h, w, 3), and the rim with its outline as RGBA (h, w, 4)."""
    grid = Grid(w, h, 1.0)
    r = plane(np.hypot(grid.x_mm / wide, grid.y_mm / tall))
    px = 1.6 / wide
    disc = soft_step(r, 1 + px, 1 - px)
    rim = soft_step(r, 0.935, 0.955)
    steel = 120 + 110 * np.exp(-(((grid.x_mm * 0.6 - grid.y_mm) / wide) ** 2) * 3)
    sheen = np.exp(-(((grid.x_mm + grid.y_mm * 0.8 + 0.35 * wide) / (0.12 * wide)) ** 2))
    clear = disc * (1 - rim) * 255
    lit = (steel * rim + 26 * sheen * (1 - rim)) * disc
    masks = np.dstack([clear] * 3), np.dstack([lit, lit, lit, disc * 255])
    return np.asarray(masks[0], np.uint8), np.asarray(np.clip(masks[1], 0, 255), np.uint8)


def _between(a: Picture, b: Picture, share: float) -> Picture:
    """``a`` at 0, ``b`` at 1, a mix between; the very arrays at the ends."""
    if share <= 0:
        return a
    if share >= 1:
        return b
    return np.asarray(cv2.addWeighted(a, 1 - share, b, share, 0), np.uint8)


def _paste(picture: Picture, rgba: Picture, x: int, y: int) -> None:
    """Blend ``rgba`` with its upper left corner at (x, y), cut at the picture's edges."""
    h, w = rgba.shape[:2]
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + w, picture.shape[1]), min(y + h, picture.shape[0])
    if x0 < x1 and y0 < y1:
        part = np.ascontiguousarray(rgba[y0 - y : y1 - y, x0 - x : x1 - x])
        tools.over(picture[y0:y1, x0:x1], part)
