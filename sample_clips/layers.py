"""Everything the microscope view is built from, drawn once: focus stacks, gloss, instruments, noise."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import cos, pi, sin

import cv2
import numpy as np

from sample_clips import script, tools
from sample_clips.fields import Grid, Picture, Plane, clouds, plane, soft_step
from sample_clips.tooth import (
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


@dataclass(frozen=True)
class StageLayers:
    """The work's window at one stage: focus stack (RGB uint8) and gloss (h, w, 4) uint8."""

    stack: list[Picture]
    gloss: Picture


@dataclass(frozen=True)
class Layers:
    """``stack`` and ``gloss`` are the whole canvas; everything else lies over or inside it."""

    stack: list[Picture]
    gloss: Picture
    stages: dict[str, StageLayers]
    sprites: dict[str, tools.Sprite]
    mist: Picture
    streaks: list[Picture]
    noise: Picture
    ripple: Picture


def prepare() -> Layers:
    """Draw all layers, on two threads; a few seconds of work."""
    seed = script.SEED
    bench = bare_tooth(CANVAS, seed)
    window = bench.crop(WORK)
    with ThreadPoolExecutor(max_workers=2) as workers:
        whole = workers.submit(_whole, bench)
        sprites = workers.submit(_sprites, seed)
        works = {stage.name: workers.submit(_stage, stage, window) for _, _, stage in script.STAGES}
        stack, gloss = whole.result()
        rim = _rim(WORK_GRID)
        around = StageLayers([picture[WORK] for picture in stack], gloss[WORK])
        return Layers(
            stack=stack,
            gloss=gloss,
            stages={name: _set_in(job.result(), around, rim) for name, job in works.items()},
            sprites=sprites.result(),
            mist=_mist(np.random.default_rng(seed + 10)),
            streaks=[_streaks(np.random.default_rng(seed + 20 + i)) for i in range(12)],
            noise=_noise(np.random.default_rng(seed + 11)),
            ripple=_ripple(np.random.default_rng(seed + 12)),
        )


def _whole(bench: Bench) -> tuple[list[Picture], Picture]:
    stack = focus_stack(CANVAS, bench.surface, shade(CANVAS, bench.surface))
    return stack, gloss_map(CANVAS, bench.surface, np.random.default_rng(script.SEED + 9))


def _stage(stage: Stage, window: Bench) -> StageLayers:
    surface = worked(WORK_GRID, script.SEED, stage, window)
    stack = focus_stack(WORK_GRID, surface, shade(WORK_GRID, surface))
    gloss = gloss_map(WORK_GRID, surface, np.random.default_rng(script.SEED + 8))
    return StageLayers(stack, gloss)


def _rim(grid: Grid) -> Plane:
    """1 inside the work's window, going down to 0 at its edges, where the canvas takes over."""
    x = np.abs(grid.x_mm) - grid.width_px / grid.scale / 2
    y = np.abs(grid.y_mm) - grid.height_px / grid.scale / 2
    return soft_step(plane(np.maximum(x, y)), -0.02, -0.75)


def _set_in(work: StageLayers, around: StageLayers, rim: Plane) -> StageLayers:
    """The work's window without a seam: shading near its edges knew nothing of what lies outside."""
    share = rim[..., None]

    def joined(inner: Picture, outer: Picture) -> Picture:
        return np.asarray(inner * share + outer * (1 - share) + 0.5, np.uint8)

    stack = [joined(a, b) for a, b in zip(work.stack, around.stack, strict=True)]
    return StageLayers(stack, joined(work.gloss, around.gloss))


def _sprites(seed: int) -> dict[str, tools.Sprite]:
    out = {name: tools.bar_sprite(bar, seed, blur_mm) for name, bar, blur_mm in tools.IN_THE_FIELD}
    out["loaded carrier"] = tools.pellet_on(out["carrier"], seed)
    return out


def _mist(random: np.random.Generator) -> Picture:
    """Drifting fog, one channel."""
    drift = clouds(random, (900, 1300), 170, 5)
    return np.asarray(np.clip(48 + 34 * drift, 0, 200), np.uint8)


def _streaks(random: np.random.Generator) -> Picture:
    """Droplets in flight: short soft lines away from the middle, one channel, 1800 by 1480."""
    sheet = np.zeros((1480, 1800), np.uint8)
    for _ in range(110):
        angle, reach = random.uniform(0, 2 * pi), random.uniform(30, 520)
        length = random.uniform(4, 26) * (0.4 + reach / 400)
        x, y = 900 + reach * cos(angle), 740 + 0.8 * reach * sin(angle)
        end = (round(x + length * cos(angle)), round(y + length * sin(angle)))
        thick = 1 + int(random.random() > 0.75)
        level = int(random.uniform(50, 210))
        cv2.line(sheet, (round(x), round(y)), end, level, thick, cv2.LINE_AA)
    return np.asarray(cv2.GaussianBlur(sheet, (0, 0), 1.0), np.uint8)


def _noise(random: np.random.Generator) -> Picture:
    """Sensor noise around 128, one channel, a little wider than a pixel as a camera leaves it."""
    grain = random.standard_normal((1000, 1500), dtype=np.float32)
    mixed = cv2.GaussianBlur(grain, (0, 0), 0.6)
    return np.asarray(np.clip(mixed / mixed.std() * 20 + 128, 0, 255), np.uint8)


def _ripple(random: np.random.Generator) -> Picture:
    """Waves on standing water around 128, one channel."""
    return np.asarray(np.clip(clouds(random, (700, 700), 16, 3) * 36 + 128, 0, 255), np.uint8)
