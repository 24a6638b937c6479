"""The practice tooth under rubber dam, as height, colour and gloss, and its pictures in focus.

The tooth is a height field in millimetres (0 at the cusp tips, negative into the depth) with a
colour for every point. It is lit along the viewing axis, as a microscope lights its field, and
photographed at several focus depths. ``Stage`` says how far the work has come.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_clips.fields import (
    Colour,
    Grid,
    Picture,
    Plane,
    blur,
    bump,
    clouds,
    lit,
    mix,
    normals,
    plane,
    soft_step,
    to_bytes,
    to_line,
)

#: Focus depths, millimetres below the cusp tips, from the cusps to the cavity's floor.
FOCUS_DEPTHS_MM = (-0.4, -2.2, -4.2, -6.2)
#: Where the perforation lies on the cavity's floor.
PERFORATION_MM = (0.35, -0.25)
FLOOR_MM = -6.2
DAM_MM = -4.6
#: Blur (one standard deviation, millimetres on the tooth) for each millimetre out of focus.
BLUR_PER_MM = 0.021
CUSPS = (
    (-2.9, -3.0, 1.55, 1.35, 1.0),
    (2.7, -3.0, 1.6, 1.35, 0.95),
    (-3.4, 2.9, 1.4, 1.4, 0.9),
    (0.3, 3.45, 1.45, 1.2, 0.85),
    (3.7, 2.3, 1.25, 1.35, 0.75),
)
GROOVES = (
    [(-4.3, 0.2), (-2.6, -0.2), (0, 0.1), (2.4, -0.1), (4.4, 0.2)],
    [(-0.2, -0.2), (-0.1, -2.6), (-0.3, -4.7)],
    [(-1.3, 0), (-1.6, 2.3), (-1.8, 4.7)],
    [(1.7, 0), (2.3, 2.2), (2.5, 4.6)],
    [(-4.3, 0.2), (-4.9, -1.1)],
    [(-4.3, 0.2), (-4.8, 1.4)],
    [(4.3, 0.2), (4.9, -1.0)],
    [(-2.6, -0.2), (-3.6, -1.6)],
    [(2.4, -0.1), (3.4, -1.5)],
)
ORIFICES = ((-1.45, -0.95, 0.3, 0.23), (-1.5, 0.95, 0.3, 0.23), (1.6, 0.15, 0.26, 0.5))
BOW = [
    (2.4 + 6.1 * sin(pi * share), -6.75 * cos(pi * share)) for share in (i / 16 for i in range(17))
]
MAP_LINES = ([(-1.45, -0.95), (-1.2, 0.0), (-1.5, 0.95)], [(-1.25, 0.0), (0.2, 0.2), (1.6, 0.15)])


@dataclass(frozen=True)
class Stage:
    """How far the work is. ``cement`` 0..1 fills the perforation, ``cover`` 0..1 the floor.

    ``gel`` is how much dyed gel lies about the perforation, ``debris`` how many chips, ``wet``
    how shiny the cement is, ``cured`` turns the cover from glassy to opaque.
    """

    name: str
    gel: float = 0.0
    debris: float = 0.0
    cement: float = 0.0
    wet: float = 0.0
    cover: float = 0.0
    cured: float = 0.0


@dataclass(frozen=True)
class Surface:
    """Height (h, w) in mm, colour (h, w, 3) linear 0..1 RGB, gloss (h, w) 0..1."""

    height: Plane
    colour: NDArray[np.float32]
    gloss: Plane


def outline(grid: Grid) -> Plane:
    """Signed distance (mm, roughly) to the crown's widest contour; negative inside."""
    angle = np.arctan2(grid.y_mm / 5.0, grid.x_mm / 5.7)
    radius = np.power(np.abs(grid.x_mm / 5.7) ** 2.7 + np.abs(grid.y_mm / 5.05) ** 2.7, 1 / 2.7)
    lobes = 1 + 0.022 * np.cos(4 * angle + 0.4) + 0.018 * np.cos(5 * angle) - 0.02 * np.cos(angle)
    return plane((radius / lobes - 1) * 5.3)


def opening(grid: Grid, random: np.random.Generator) -> Plane:
    """Signed distance (mm) to the rim of the access cavity; negative inside."""
    x, y = grid.x_mm - 0.05, grid.y_mm
    half = 2.35 - 0.13 * x
    radius = np.power(np.abs(x / 3.0) ** 3.0 + np.abs(y / half) ** 3.0, 1 / 3.0)
    wobble = clouds(random, x.shape, 0.7 * grid.scale, 2) * 0.035
    return plane((radius - 1) * 2.6 + wobble)


def crown(grid: Grid, random: np.random.Generator) -> Plane:
    """Height of the uncut crown in millimetres."""
    edge = outline(grid)
    table = np.full(edge.shape, np.float32(-1.9))
    for x, y, rx, ry, high in CUSPS:
        table = np.maximum(table, -1.9 + 1.9 * high * bump(grid, x, y, rx, ry))
    table = blur(plane(table), 0.16 * grid.scale)
    wander = clouds(random, edge.shape, 1.6 * grid.scale, 3) * 0.09
    for groove in GROOVES:
        gap = to_line(grid, groove) + wander
        table -= 0.20 * np.exp(-((gap / 0.10) ** 2)) + 0.42 * np.exp(-((gap / 0.55) ** 2))
    round_off = np.clip(edge + 1.5, 0, None)
    table -= 0.62 * round_off**2
    return plane(table + clouds(random, edge.shape, 0.5 * grid.scale, 3) * 0.012)


def floor(grid: Grid, random: np.random.Generator) -> tuple[Plane, Plane]:
    """Height of the cavity's floor, and the perforation's signed distance (negative inside)."""
    dome = FLOOR_MM + 0.55 * bump(grid, 0.1, 0, 1.7, 1.4)
    for line in MAP_LINES:
        dome -= 0.2 * np.exp(-((to_line(grid, line) / 0.2) ** 2))
    for x, y, rx, ry in ORIFICES:
        dome -= 1.0 * bump(grid, x, y, rx * 1.5, ry * 1.5) + 3.4 * bump(
            grid, x, y, rx * 0.7, ry * 0.7
        )
    dome += clouds(random, dome.shape, 0.35 * grid.scale, 4) * 0.022
    px, py = PERFORATION_MM
    ragged = clouds(random, dome.shape, 0.6 * grid.scale, 3) * 0.075
    hole = np.hypot((grid.x_mm - px) / 1.1, (grid.y_mm - py) / 0.9) - 0.46 + ragged
    dome -= 1.1 * soft_step(plane(hole), 0.07, -0.16)
    return plane(dome), plane(hole)


def _dam(grid: Grid, random: np.random.Generator, edge: Plane) -> tuple[Plane, NDArray[np.float32]]:
    """Height and colour of the stretched sheet around the tooth."""
    angle = np.arctan2(grid.y_mm, grid.x_mm)
    fade = np.exp(-np.clip(edge, 0, None) / 2.2)
    folds = (
        np.sin(angle * 9 + 2.0 * np.sin(angle * 2 + 1)) * 0.10 + np.sin(angle * 23 + 1.3) * 0.035
    )
    height = DAM_MM + 0.20 * np.clip(edge, 0, None) + folds * fade
    height += 0.55 * np.exp(-(((edge - 0.32) / 0.28) ** 2))
    height += clouds(random, edge.shape, 3.2 * grid.scale, 3) * 0.14
    grain = clouds(random, edge.shape, 0.09 * grid.scale, 2)
    powder = np.clip(clouds(random, edge.shape, 1.3 * grid.scale, 5) - 0.7, 0, 2)
    colour = mix(
        np.broadcast_to(np.array((0.025, 0.125, 0.235), np.float32), (*edge.shape, 3)),
        (0.20, 0.36, 0.46),
        plane(np.clip(0.10 * powder + 0.03 * grain, 0, 1)),
    )
    return plane(height), colour


def _crown_colour(
    grid: Grid, random: np.random.Generator, height: Plane, edge: Plane
) -> NDArray[np.float32]:
    """Enamel: warm white, greyer and clearer at cusps and rim, stained in the grooves."""
    mottle = clouds(random, edge.shape, 1.8 * grid.scale, 5)
    base = np.broadcast_to(np.array((0.80, 0.71, 0.55), np.float32), (*edge.shape, 3))
    colour = mix(base, (0.88, 0.85, 0.76), plane(np.clip(0.35 + 0.3 * mottle, 0, 1)))
    clear = soft_step(edge, -1.6, -0.3) * 0.55 + soft_step(height, -0.7, -0.1) * 0.45
    colour = mix(colour, (0.62, 0.64, 0.63), plane(np.clip(clear, 0, 0.8)))
    stain = np.zeros_like(edge)
    wander = clouds(random, edge.shape, 0.8 * grid.scale, 3) * 0.05
    for groove in GROOVES:
        stain = np.maximum(stain, np.exp(-(((to_line(grid, groove) + wander) / 0.10) ** 2)))
    stain *= np.clip(0.55 + 0.35 * clouds(random, edge.shape, 1.1 * grid.scale, 3), 0, 1)
    return mix(colour, (0.24, 0.13, 0.06), plane(stain * 0.85))


@dataclass(frozen=True)
class Bench:
    """The bare scene before any work: surface, signed distance to the hole, share of floor."""

    surface: Surface
    hole: Plane
    on_floor: Plane

    def crop(self, box: tuple[slice, slice]) -> Bench:
        """The same scene seen through a window of rows and columns."""
        s = self.surface
        return Bench(
            Surface(s.height[box], s.colour[box], s.gloss[box]), self.hole[box], self.on_floor[box]
        )


def bare_tooth(grid: Grid, seed: int) -> Bench:
    """Crown, cavity, clamp and sheet with nothing in the cavity. The same seed, the same tooth."""
    shape = (grid.height_px, grid.width_px)
    edge = outline(grid)
    uncut = crown(grid, np.random.default_rng(seed))
    sheet, sheet_colour = _dam(grid, np.random.default_rng(seed + 1), edge)
    random = np.random.default_rng(seed + 4)
    on_sheet = soft_step(edge, -0.05, 0.10)
    height = plane(np.where(edge < 0.05, np.maximum(uncut, sheet - 3), sheet))
    colour = mix(_crown_colour(grid, random, uncut, edge), sheet_colour, on_sheet)
    gloss = plane(0.75 - 0.60 * on_sheet)

    rim = opening(grid, np.random.default_rng(seed + 2))
    base, hole = floor(grid, np.random.default_rng(seed + 3))
    inward = plane(np.clip(-rim, 0, None))
    wall = uncut - 0.25 * soft_step(inward, 0.0, 0.06) - 6.6 * np.clip(inward / 1.08, 0, 1) ** 0.85
    wall += clouds(random, shape, 0.5 * grid.scale, 3) * 0.05
    cut = soft_step(rim, 0.02, -0.02)
    on_floor = soft_step(plane(base - wall), -0.12, 0.18)
    # a rounded corner between wall and floor: a soft maximum over 0.12 mm
    inner = np.maximum(wall, base) + 0.12 * np.log1p(np.exp(-np.abs(wall - base) / 0.12))
    height = plane(height + (inner - height) * (rim < 0))
    colour = mix(colour, _cavity_colour(grid, random, plane(uncut - wall), on_floor), cut)
    gloss = plane(gloss * (1 - cut) + cut * (0.38 + 0.1 * on_floor))
    surface = clamp_on(grid, random, edge, Surface(height, colour, gloss))
    return Bench(surface, hole, plane(on_floor * cut))


def _cavity_colour(
    grid: Grid, random: np.random.Generator, below_rim: Plane, on_floor: Plane
) -> NDArray[np.float32]:
    """Enamel ring, yellow dentine walls, darker floor with its map lines and canal openings."""
    shape = below_rim.shape
    streak = clouds(random, shape, 0.45 * grid.scale, 4)
    dentine = _blend((0.74, 0.53, 0.27), (0.86, 0.69, 0.42), plane(0.5 + 0.35 * streak))
    dentine = mix(dentine, (0.92, 0.88, 0.78), soft_step(below_rim, 1.7, 1.2))
    dark = _blend(
        (0.60, 0.43, 0.25), (0.45, 0.30, 0.16), plane(0.5 + 0.4 * clouds(random, shape, 65, 4))
    )
    for line in MAP_LINES:
        near = np.exp(-((to_line(grid, line) / 0.13) ** 2))
        dark = mix(dark, (0.22, 0.13, 0.065), plane(0.75 * near))
    for x, y, rx, ry in ORIFICES:
        dark = mix(dark, (0.06, 0.025, 0.012), bump(grid, x, y, rx * 0.8, ry * 0.8))
    return mix(dentine, dark, on_floor)


def _blend(a: Colour, b: Colour, amount: Plane) -> NDArray[np.float32]:
    """A picture of colour ``a`` going over to ``b`` where ``amount`` (clipped to 0..1) is 1."""
    ground = np.broadcast_to(np.array(a, np.float32), (*amount.shape, 3))
    return mix(plane(ground), b, plane(np.clip(amount, 0, 1)))


def clamp_on(grid: Grid, random: np.random.Generator, edge: Plane, was: Surface) -> Surface:
    """The steel clamp: two jaws above and below the crown, each with its hole, and the bow."""
    side = np.abs(grid.x_mm + 0.3)
    jaw = np.maximum(np.maximum(-edge - 0.02, edge - 1.75 + 0.055 * side**2), side - 3.3)
    jaw = np.maximum(jaw, 3.4 - np.abs(grid.y_mm))
    holes = np.hypot(side, (np.abs(grid.y_mm) - 6.15) * 1.0) - 0.36
    jaw = plane(np.maximum(jaw, -holes))
    bow_gap = to_line(grid, BOW)
    bow = plane(bow_gap - 0.62)
    brushed = clouds(random, (grid.height_px, grid.width_px), 4, 2)
    brushed = plane(cv2.blur(brushed, (41, 1)))
    height, colour, gloss = was.height, was.colour, was.gloss
    for shape, level, thick in ((jaw, -3.3, 0.5), (bow, 2.6, 0.6)):
        solid = soft_step(shape, 0.02, -0.02)
        bevel = thick * soft_step(shape, 0.0, -0.28)
        top = level + bevel - 0.06 * np.abs(grid.y_mm - 6 * np.sign(grid.y_mm)) ** 2
        metal = _blend((0.30, 0.31, 0.33), (0.62, 0.63, 0.65), plane(0.5 + 0.9 * brushed))
        height = plane(height + (top - height) * solid)
        colour = mix(colour, metal, solid)
        gloss = plane(gloss * (1 - solid) + 0.16 * solid)
    return Surface(height, colour, gloss)


def worked(grid: Grid, seed: int, stage: Stage, bench: Bench) -> Surface:
    """Gel, chips, cement and cover laid on the bare cavity."""
    was = bench.surface
    random = np.random.default_rng(seed + 5)
    ragged = clouds(random, bench.hole.shape, 0.8 * grid.scale, 4)
    chips = clouds(random, bench.hole.shape, 0.12 * grid.scale, 2)
    inside_hole = plane(soft_step(bench.hole, 0.06, -0.08) * bench.on_floor)
    colour = mix(was.colour, (0.50, 0.045, 0.035), inside_hole)
    surface = Surface(was.height, colour, plane(np.maximum(was.gloss, inside_hole)))
    if stage.gel > 0:
        surface = _gel(surface, stage, bench, ragged)
    if stage.debris > 0:
        where = soft_step(chips, 2.05 - 0.35 * stage.debris, 2.25) * soft_step(ragged, -0.3, 0.6)
        where = plane(where * bench.on_floor)
        colour = mix(surface.colour, (0.92, 0.80, 0.56), where)
        surface = Surface(plane(surface.height + 0.10 * where), colour, surface.gloss)
    if stage.cement > 0:
        surface = _cement(surface, stage, bench, ragged, chips)
    if stage.cover > 0:
        surface = _cover(grid, surface, stage, bench, ragged)
    return surface


def _gel(was: Surface, stage: Stage, bench: Bench, ragged: Plane) -> Surface:
    reach = 1.15 * stage.gel
    pool = soft_step(plane(bench.hole + 0.20 * ragged), reach, reach * 0.55) * bench.on_floor
    colour = mix(was.colour, (0.43, 0.022, 0.022), plane(pool * 0.93))
    return Surface(plane(was.height + 0.10 * pool), colour, plane(np.maximum(was.gloss, pool)))


def _cement(was: Surface, stage: Stage, bench: Bench, ragged: Plane, grain: Plane) -> Surface:
    reach = -0.38 + 0.95 * stage.cement
    lump = soft_step(plane(bench.hole + 0.09 * ragged), reach + 0.10, reach - 0.16)
    lump = plane(lump * np.clip(bench.on_floor * 1.6, 0, 1))
    grey = _blend((0.45, 0.455, 0.44), (0.66, 0.66, 0.64), plane(0.5 + 0.3 * grain))
    mound = FLOOR_MM + 0.62 + 0.33 * stage.cement
    mound = mound - 0.28 * np.clip(bench.hole + 0.4, 0, None) ** 2
    mound = mound + 0.03 * grain * (1.2 - stage.wet) + 0.05 * ragged * (1 - stage.cement)
    return Surface(
        plane(was.height + (np.maximum(mound, was.height) - was.height) * lump),
        mix(was.colour, grey, lump),
        plane(was.gloss * (1 - lump) + lump * (0.10 + 0.75 * stage.wet)),
    )


def _cover(grid: Grid, was: Surface, stage: Stage, bench: Bench, ragged: Plane) -> Surface:
    level = FLOOR_MM + 0.25 + 1.0 * stage.cover
    deep = soft_step(plane(bench.surface.height + 0.12 * ragged), level + 0.35, level - 0.05)
    reach = soft_step(bench.hole, 0.5 + 2.4 * stage.cover, -0.2 + 2.2 * stage.cover)
    film = plane(deep * reach * soft_step(plane(bench.on_floor + deep), 0.3, 0.9))
    tone = 0.68 + 0.03 * stage.cured, 0.64 + 0.06 * stage.cured, 0.52 + 0.14 * stage.cured
    flat = level - 0.10 * (1 - bump(grid, 0, 0, 1.6, 1.3)[: deep.shape[0], : deep.shape[1]])
    flat = flat + 0.035 * ragged
    return Surface(
        plane(was.height + (np.maximum(flat, was.height) - was.height) * film),
        mix(was.colour, tone, plane(film * (0.72 + 0.22 * stage.cured))),
        plane(was.gloss * (1 - film) + film * (0.55 - 0.25 * stage.cured)),
    )


def shade(grid: Grid, surface: Surface) -> NDArray[np.float32]:
    """Light falling along the viewing axis, with hollows darker and light seeping in enamel."""
    height = surface.height
    normal = normals(height, grid.scale)
    key = 0.86 * lit(normal, (0.10, -0.16, 1.0)) ** 1.3 + 0.14 * lit(normal, (-0.75, -0.45, 0.5))
    hollow = np.zeros_like(height)
    for reach_mm, weight in ((0.25, 0.26), (0.8, 0.16), (2.0, 0.07)):
        hollow += weight * np.clip(blur(height, reach_mm * grid.scale) - height, 0, 1.6)
    light = key * np.exp(-1.15 * hollow)
    light *= np.exp(0.045 * np.clip(height + 1.5, -7.0, 0) + 0.9 * np.clip(height + 6.9, -3.0, 0))
    seep = [0.30, 0.17, 0.08]
    layers = [blur(plane(light), r * grid.scale) for r in seep]
    soft = np.dstack([0.42 * light + 0.58 * layer for layer in layers])
    return plane(surface.colour * soft * 1.28)


def focus_stack(grid: Grid, surface: Surface, shaded: NDArray[np.float32]) -> list[Picture]:
    """The shaded scene photographed at each of ``FOCUS_DEPTHS_MM``; RGB uint8 (h, w, 3).

    Depth is cut into slices; each slice is blurred by its distance from the focus and laid over
    the deeper ones, so that a blurred rim spreads over the sharp floor and not the reverse.
    """
    lows = (-30.0, -7.0, -6.5, -5.6, -4.8, -4.0, -3.0, -2.0, -1.0, 1.5)
    middles = (-7.4, -6.75, -6.1, -5.2, -4.4, -3.5, -2.5, -1.5, -0.4, 2.8)
    # each slice holds everything from its depth up, so that no gap shows between two slices
    slices = [soft_step(surface.height, low - 0.2, low + 0.2) for low in lows]
    out = []
    for focus in FOCUS_DEPTHS_MM:
        total = np.zeros_like(shaded)
        for lowest, middle, part in zip(lows, middles, slices, strict=True):
            cut = shaded if lowest < -20 else plane(shaded * part[..., None])
            sigma = abs(middle - focus) * BLUR_PER_MM * grid.scale
            soft = cut if sigma < 0.4 else blur(cut, sigma)
            alpha = part if sigma < 0.4 else blur(part, sigma)
            total = soft if lowest < -20 else total * (1 - alpha[..., None]) + soft
        out.append(to_bytes(plane(total)))
    return out


def depth_code(height_mm: float) -> float:
    """A height as the gloss map keeps it: 0..255 for -8..2 mm."""
    return float(np.clip((height_mm + 8) * 25.5, 0, 255))


def gloss_map(grid: Grid, surface: Surface, random: np.random.Generator) -> Picture:
    """What the moving highlights need: (h, w, 4) uint8 as slope x, slope y, gloss, depth code."""
    ripple = clouds(random, surface.height.shape, 0.28 * grid.scale, 3) * 0.007
    normal = normals(plane(blur(surface.height, 1.5) + ripple), grid.scale)
    depth = np.clip((surface.height + 8) * 25.5, 0, 255)
    slopes = [normal[..., i] * 127 + 128 for i in (0, 1)]
    packed = np.dstack([*slopes, surface.gloss * 255, depth])
    return np.asarray(np.clip(cv2.GaussianBlur(packed, (0, 0), 0.8), 0, 255), np.uint8)
