"""The microscope's camera: one picture of the field for any second of the script.

A picture is built from prepared layers: the scene in focus at the asked depth, moving
highlights, liquid, instruments, mirror, spray, then the optics (round field, exposure, sensor noise).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, radians, sin

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_clips import script, tools
from sample_clips.fields import Grid, Picture, Plane, blur, clouds, plane, soft_step
from sample_clips.tooth import (
    FOCUS_DEPTHS_MM,
    Bench,
    Stage,
    bare_tooth,
    focus_stack,
    gloss_map,
    shade,
    worked,
)

CANVAS = Grid(1440, 1200, 80.0)
#: Window of rows and columns in which the work changes the scene.
WORK = (slice(600 - 250, 600 + 250), slice(720 - 290, 720 + 290))
WORK_GRID = Grid(580, 500, 80.0)
#: The view at full size: the round field stands in the middle of a 16:9 picture.
FULL_SIZE_PX = (1280, 720)
FIELD_RADIUS_PX = 452.0


@dataclass(frozen=True)
class Layers:
    """Everything prepared once: focus stacks (RGB uint8), gloss (h, w, 3), instruments, noise."""

    stack: list[Picture]
    gloss: Picture
    stages: dict[str, tuple[list[Picture], Picture]]
    sprites: dict[str, tools.Sprite]
    mist: Picture
    streaks: list[Picture]
    noise: Picture
    ripple: Plane


def prepare(seconds: tuple[float, float]) -> Layers:
    """Build the layers that the script needs between two seconds; a few seconds of work."""
    seed = script.SEED
    bench = bare_tooth(CANVAS, seed)
    shaded = shade(CANVAS, bench.surface)
    random = np.random.default_rng(seed + 9)
    names = {}
    for second in (seconds[0], *(s[0] for s in script.STAGES if seconds[0] <= s[0] < seconds[1])):
        for stage in script.stage_at(second)[:2]:
            names[stage.name] = stage
    window = bench.crop(WORK)
    return Layers(
        stack=focus_stack(CANVAS, bench.surface, shaded),
        gloss=gloss_map(CANVAS, bench.surface, random),
        stages={name: _stage_layers(stage, window) for name, stage in names.items()},
        sprites=_sprites(seed),
        mist=_mist(np.random.default_rng(seed + 10)),
        streaks=[_streaks(np.random.default_rng(seed + 20 + i)) for i in range(7)],
        noise=_noise(np.random.default_rng(seed + 11)),
        ripple=clouds(np.random.default_rng(seed + 12), (640, 640), 30, 3),
    )


def _stage_layers(stage: Stage, window: Bench) -> tuple[list[Picture], Picture]:
    surface = worked(WORK_GRID, script.SEED, stage, window)
    stack = focus_stack(WORK_GRID, surface, shade(WORK_GRID, surface))
    return stack, gloss_map(WORK_GRID, surface, np.random.default_rng(script.SEED + 8))


def _sprites(seed: int) -> dict[str, tools.Sprite]:
    bars = {
        "explorer": tools.EXPLORER,
        "ultrasonic": tools.ULTRASONIC,
        "plugger": tools.PLUGGER,
        "carrier": tools.CARRIER,
        "syringe": tools.SYRINGE,
    }
    out = {name: tools.bar_sprite(bar, seed) for name, bar in bars.items()}
    out["loaded carrier"] = tools.pellet_on(out["carrier"], seed)
    out["suction"] = tools.bar_sprite(tools.SUCTION, seed, 0.13)
    out["air"] = tools.bar_sprite(tools.AIR, seed, 0.12)
    out["light"] = tools.bar_sprite(tools.LIGHT_TIP, seed, 0.22)
    return out


def _mist(random: np.random.Generator) -> Picture:
    drift = clouds(random, (900, 1300), 170, 5)
    return np.asarray(np.clip(60 + 42 * drift, 0, 200), np.uint8)


def _streaks(random: np.random.Generator) -> Picture:
    """Droplets in flight: short soft lines away from the middle, single channel uint8."""
    sheet = np.zeros((760, 1000), np.uint8)
    for _ in range(95):
        angle, reach = random.uniform(0, 2 * pi), random.uniform(30, 470)
        length = random.uniform(4, 26) * (0.4 + reach / 400)
        x, y = 500 + reach * cos(angle), 380 + 0.8 * reach * sin(angle)
        end = (x + length * cos(angle), y + length * sin(angle))
        level = int(random.uniform(50, 210))
        cv2.line(
            sheet, (round(x), round(y)), (round(end[0]), round(end[1])), level, 1 + int(random.random() > 0.75), cv2.LINE_AA
        )  # fmt: skip
    return np.asarray(cv2.GaussianBlur(sheet, (0, 0), 1.0), np.uint8)


def _noise(random: np.random.Generator) -> Picture:
    """Sensor noise around 128 (h, w, 3), a little wider than a pixel as a camera leaves it."""
    grey = random.standard_normal((1000, 1300, 1), dtype=np.float32)
    own = random.standard_normal((1000, 1300, 3), dtype=np.float32)
    mixed = cv2.GaussianBlur(grey + 0.5 * own, (0, 0), 0.6)
    return np.asarray(np.clip(mixed / mixed.std() * 16 + 128, 0, 255), np.uint8)


class Microscope:
    """Draws the field second by second; keeps the last canvas, so ask in order of time."""

    def __init__(self, layers: Layers, height_px: int, seed: int) -> None:
        self.layers = layers
        self.zoom = height_px / FULL_SIZE_PX[1]
        self.size = (round(FULL_SIZE_PX[0] * self.zoom), height_px)
        width = min(round(2 * (FIELD_RADIUS_PX + 8) * self.zoom), self.size[0]) // 4 * 4
        self.field = (width, height_px)
        self.left = (self.size[0] - width) // 2
        self.random = np.random.default_rng(seed)
        self.canvas = layers.stack[0]
        self.gloss = layers.gloss.copy()
        self._key: object = None
        self._gloss_key: object = None
        self.optics = self._optics()

    def _optics(self) -> NDArray[np.uint8]:
        """Round field with a soft, faintly coloured rim and a mild fall-off of light."""
        grid = Grid(self.field[0], self.field[1], self.zoom)
        r = np.hypot(grid.x_mm, grid.y_mm)
        fall = 1 - 0.34 * (r / FIELD_RADIUS_PX) ** 2.2
        rims = [
            soft_step(plane(r), FIELD_RADIUS_PX + d + 2, FIELD_RADIUS_PX + d - 20) for d in (0, -2, -5)
        ]
        return np.asarray(np.dstack([fall * rim for rim in rims]) * 255, np.uint8)

    # -- the scene ---------------------------------------------------------------------------
    def _scene(self, second: float) -> None:
        """Bring ``canvas`` and ``gloss`` to the second's focus and stage."""
        focus = round(script.FOCUS.at(second), 2)
        before, after, share = script.stage_at(second)
        share = round(share, 2)
        key = (focus, before.name, after.name, share)
        if key == self._key:
            return
        self._key = key
        depths = FOCUS_DEPTHS_MM
        at = float(np.interp(-focus, [-d for d in depths], range(len(depths))))
        low = min(int(at), len(depths) - 2)
        part = at - low
        stages = self.layers.stages
        whole = _between(self.layers.stack[low], self.layers.stack[low + 1], part)
        work = [_between(stages[s.name][0][low], stages[s.name][0][low + 1], part) for s in (before, after)]
        if whole is self.layers.stack[low] or whole is self.layers.stack[low + 1]:
            whole = whole.copy()
        whole[WORK] = _between(work[0], work[1], share)
        self.canvas = whole
        gloss_key = (before.name, after.name, share)
        if gloss_key != self._gloss_key:
            self._gloss_key = gloss_key
            self.gloss[WORK] = _between(stages[before.name][1], stages[after.name][1], share)

    def _matrix(self, second: float, shake: tuple[float, float]) -> NDArray[np.float64]:
        """Affine map from canvas pixels to field pixels."""
        scale = script.ZOOM.at(second) * self.zoom / CANVAS.scale
        turn = radians(script.TURN.at(second))
        c, s = scale * cos(turn), scale * sin(turn)
        x = script.CENTRE_X.at(second) * CANVAS.scale + CANVAS.width_px / 2 + shake[0]
        y = script.CENTRE_Y.at(second) * CANVAS.scale + CANVAS.height_px / 2 + shake[1]
        return np.array(
            [[c, -s, self.field[0] / 2 - c * x + s * y], [s, c, self.field[1] / 2 - s * x - c * y]]
        )

    def _glints(self, picture: Picture, matrix: NDArray[np.float64], second: float, sway: float) -> None:
        """Highlights that slide over wet and polished surfaces as light and liquid move."""
        half = (self.field[0] // 2, self.field[1] // 2)
        packed = cv2.warpAffine(self.gloss, matrix * 0.5, half, flags=cv2.INTER_LINEAR)
        nx = packed[..., 0].astype(np.float32) - (128 + 10 + 7 * sin(second * 0.9) + sway)
        ny = packed[..., 1].astype(np.float32) - (128 - 14 + 6 * cos(second * 0.7) + sway)
        gloss = packed[..., 2].astype(np.float32)
        wet = script.LIQUID.at(second)
        if wet > 0:
            shape = nx.shape
            dx, dy = int(second * 90) % 120, int(second * 57) % 160
            wave = cv2.resize(self.layers.ripple, None, fx=1.0, fy=1.0)[dy:, dx:]
            wave = cv2.resize(wave[:480, :480], (shape[1], shape[0]))
            nx += wave * 9 * wet
            ny -= np.roll(wave, 31, axis=1) * 9 * wet
        glint = np.exp((nx * nx + ny * ny) * np.float32(-1 / 110.0)) * gloss
        light = np.clip(glint * 0.75, 0, 255).astype(np.uint8)
        full = cv2.resize(light, self.field, interpolation=cv2.INTER_LINEAR)
        cv2.add(picture, cv2.merge([full, full, full]), dst=picture)

    # -- things in front ---------------------------------------------------------------------
    def _place(self, matrix: NDArray[np.float64], x_mm: float, y_mm: float) -> tuple[float, float]:
        at = matrix @ (
            x_mm * CANVAS.scale + CANVAS.width_px / 2, y_mm * CANVAS.scale + CANVAS.height_px / 2, 1
        )  # fmt: skip
        return float(at[0]), float(at[1])

    def _mirror(
        self, picture: Picture, matrix: NDArray[np.float64], at: tuple[float, float, float], second: float
    ) -> None:
        """A round mirror showing the tooth from the side, its rim and its handle."""
        scale = script.ZOOM.at(second) * self.zoom
        x, y = self._place(matrix, at[0], at[1])
        wide, tall = 2.35 * scale, 1.9 * scale
        tools.stamp(
            picture, self.layers.sprites["air"], (x - 0.9 * wide, y + 0.1 * tall), at[2], scale / tools.SPRITE_SCALE * 0.8
        )  # fmt: skip
        w, h = int(2 * wide) + 8, int(2 * tall) + 8
        m = np.array([[-0.72 * scale / 80, 0.10, 0], [0.08, 0.95 * scale / 80, 0]])
        m[:, 2] = (w / 2, h / 2) - m[:, :2] @ (720 + 60 + 25 * sin(second / 3), 600 + 12 * cos(second / 2))
        seen = cv2.warpAffine(self.canvas, m, (w, h), borderMode=cv2.BORDER_REFLECT)
        seen = cv2.GaussianBlur(cv2.convertScaleAbs(seen, alpha=0.86, beta=14), (0, 0), 1.2 * self.zoom)
        grid = Grid(w, h, 1.0)
        r = np.hypot(grid.x_mm / wide, grid.y_mm / tall)
        px = 1.6 / wide
        disc = soft_step(plane(r), 1 + px, 1 - px)
        rim = soft_step(plane(r), 0.935, 0.955)
        steel = 120 + 110 * np.exp(-(((grid.x_mm * 0.6 - grid.y_mm) / wide) ** 2) * 3)
        face = seen * (1 - rim[..., None]) + (steel * rim)[..., None]
        sheen = np.exp(-(((grid.x_mm + grid.y_mm * 0.8 + 0.35 * wide + 10 * sin(second)) / (0.12 * wide)) ** 2))
        face = face + (sheen * (1 - rim) * 26)[..., None]
        rgba = np.dstack([np.clip(face, 0, 255) * disc[..., None], disc * 255]).astype(np.uint8)
        _paste(picture, rgba, round(x - w / 2), round(y - h / 2))

    def _tools(self, picture: Picture, matrix: NDArray[np.float64], second: float) -> None:
        scale = script.ZOOM.at(second) * self.zoom / tools.SPRITE_SCALE
        for index, passing in enumerate(script.PASSES):
            at = passing.at(second)
            if at is None:
                continue
            if passing.tool == "mirror":
                self._mirror(picture, matrix, at, second)
                continue
            t = second + 13.7 * index
            dx = passing.shake_mm * (sin(t * 9.1) + 1.6 * sin(t * 2.3 + 1))
            dy = passing.shake_mm * (cos(t * 7.7) + 1.6 * sin(t * 1.9))
            if passing.quiver_mm:
                dx, dy = (d + passing.quiver_mm * float(self.random.uniform(-1, 1)) for d in (dx, dy))
            x, y = self._place(matrix, at[0] + dx, at[1] + dy)
            turn = at[2] + script.TURN.at(second) + 1.2 * sin(t * 1.3)
            tools.stamp(picture, self.layers.sprites[passing.tool], (x, y), turn, scale)

    def _water(self, picture: Picture, matrix: NDArray[np.float64], second: float) -> None:
        """Mist and flying droplets around the ultrasonic tip."""
        amount = script.SPRAY.at(second)
        if amount <= 0.02:
            return
        w, h = self.field
        x, y = self._place(matrix, *script_place(second))
        dx, dy = int(second * 140) % 300, int(second * 60) % 120
        mist = cv2.resize(self.layers.mist[dy : dy + 720, dx : dx + 920], (w, h))
        drops = self.layers.streaks[int(self.random.integers(len(self.layers.streaks)))]
        if self.random.random() < 0.5:
            drops = drops[:, ::-1]
        m = np.array([[self.zoom, 0, x - 500 * self.zoom], [0, self.zoom, y - 380 * self.zoom]])
        drops = cv2.warpAffine(np.ascontiguousarray(drops), m, (w, h))
        veil = cv2.addWeighted(mist, 0.55 * amount, drops, 0.75 * amount, 0)
        cv2.add(picture, cv2.merge([veil, veil, veil]), dst=picture)

    def _liquid(self, picture: Picture, matrix: NDArray[np.float64], second: float) -> None:
        """Water standing in the cavity: darker, a little greener, softer."""
        amount = script.LIQUID.at(second)
        if amount <= 0.02:
            return
        scale = script.ZOOM.at(second) * self.zoom
        x, y = self._place(matrix, 0.05, 0.0)
        box = np.zeros((self.field[1] // 4, self.field[0] // 4), np.uint8)
        axes = (int(2.55 * scale / 4 * (0.6 + 0.4 * amount)), int(2.0 * scale / 4 * (0.6 + 0.4 * amount)))
        cv2.ellipse(box, (int(x / 4), int(y / 4)), axes, 0, 0, 360, 255, -1)
        soft = cv2.resize(cv2.GaussianBlur(box, (0, 0), 7 * self.zoom), self.field)
        keep = [255 - (soft * (k * amount)).astype(np.uint8) for k in (0.26, 0.14, 0.12)]
        cv2.multiply(picture, cv2.merge(keep), dst=picture, scale=1 / 255)

    # -- the camera --------------------------------------------------------------------------
    def _blue(self, picture: Picture, second: float) -> Picture:
        """The curing light floods the field; the camera holds the blue and loses the rest."""
        pulse = 0.97 + 0.03 * sin(second * 5)
        mixing = np.array([[0.10, 0.06, 0.03, 4], [0.06, 0.22, 0.10, 16], [0.30, 0.55, 0.42, 62]])
        return np.asarray(cv2.transform(picture, mixing * pulse), np.uint8)

    def picture(self, second: float) -> Picture:
        """RGB uint8 (h, w, 3) at a script second."""
        self._scene(second)
        tremor = script.TREMOR.at(second)
        shake = (
            tremor * (1.5 * sin(second * 7.9) + 2.0 * sin(second * 1.7) + 1.2 * sin(second * 0.43)),
            tremor * (1.3 * cos(second * 8.7) + 2.0 * sin(second * 1.3 + 2) + 1.4 * sin(second * 0.37)),
        )
        matrix = self._matrix(second, shake)
        field = np.asarray(cv2.warpAffine(self.canvas, matrix, self.field, flags=cv2.INTER_LINEAR), np.uint8)
        quiet = second if tremor > 0 else script.STILL[0]
        self._liquid(field, matrix, second)
        self._glints(field, matrix, quiet, 2.0 * tremor * sin(quiet * 3.1))
        self._tools(field, matrix, second)
        self._water(field, matrix, second)
        if script.BLUE_LIGHT[0] <= second < script.BLUE_LIGHT[1]:
            field = self._blue(field, second)
        return self._camera(field, second, tremor)

    def _camera(self, field: Picture, second: float, tremor: float) -> Picture:
        drift = 1 + (0.025 * sin(second * 0.31) if tremor > 0 else 0.0)
        gain = script.EXPOSURE.at(second) * drift
        seen = cv2.multiply(field, self.optics, scale=gain / 255)
        x, y = int(self.random.integers(300)), int(self.random.integers(200))
        grain = self.layers.noise[y : y + self.field[1], x : x + self.field[0]]
        strength = 0.16 if gain > 0.8 else 0.24
        seen = cv2.addWeighted(seen, 1.0, grain, strength, -128 * strength)
        out = np.zeros((self.size[1], self.size[0], 3), np.uint8)
        out[:, self.left : self.left + self.field[0]] = seen
        return out


def script_place(second: float) -> tuple[float, float]:
    """Where the ultrasonic tip is, or the perforation while it is away."""
    for passing in script.PASSES:
        if passing.tool == "ultrasonic":
            at = passing.at(second)
            if at is not None:
                return at[0], at[1]
    return 0.35, -0.25


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
    x0, y0, x1, y1 = max(x, 0), max(y, 0), min(x + w, picture.shape[1]), min(y + h, picture.shape[0])
    if x0 < x1 and y0 < y1:
        part = np.ascontiguousarray(rgba[y0 - y : y1 - y, x0 - x : x1 - x])
        tools.over(picture[y0:y1, x0:x1], part)


__all__ = ["CANVAS", "FULL_SIZE_PX", "Layers", "Microscope", "blur", "prepare"]
