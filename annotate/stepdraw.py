"""Draw the step-time plot with matplotlib, its texts with the film's own fonts.

The figure's coordinates are the pixels of ``stepplot``; no state outside the figure is touched.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from PIL import Image

from annotate.picture.colours import AWAY, EXPECTED, FAST, INK, NOT_SHOWN, PAPER, REAL, RGB, U8
from annotate.picture.fonts import FontChain
from annotate.picture.forms import stripes_for
from annotate.stepparts import WIDTH_PX, Bar, Bracket, Label, Plot
from annotate.stepplot import plan_plot
from chapters.steptimes import Ledger, StepTime

_PALE_FAST: RGB = (0xFB, 0xEC, 0xCB)
_RULE: RGB = (0xDD, 0xDC, 0xD6)
_DPI = 100


def _c(colour: RGB) -> tuple[float, float, float]:
    return colour[0] / 255, colour[1] / 255, colour[2] / 255


def _hatch(axes: Axes, bar: Bar, unit: float) -> None:
    """Slanted orange stripes, denser with speed, on a pale ground with a thin outline."""
    box = Rectangle((bar.left, bar.top), bar.width, bar.height, fc=_c(_PALE_FAST), ec="none")
    axes.add_patch(box)
    pitch = 3 * bar.height / max(stripes_for(bar.speed), 4)
    slant, thick = 0.6 * bar.height, 0.5 * pitch
    stripes = []
    x = bar.left - slant - pitch
    while x < bar.left + bar.width:
        foot, top = bar.top + bar.height, bar.top
        stripes.append([(x, foot), (x + thick, foot), (x + slant + thick, top), (x + slant, top)])
        x += pitch
    drawn = PolyCollection(stripes, facecolors=[_c(FAST)], linewidths=0)
    axes.add_collection(drawn, autolim=False)
    drawn.set_clip_path(box)
    edge = Rectangle(
        (bar.left, bar.top), bar.width, bar.height, fc="none", ec=_c(FAST), lw=1.2 * unit
    )
    axes.add_patch(edge)


def _bar(axes: Axes, bar: Bar, unit: float) -> None:
    box = (bar.left, bar.top), bar.width, bar.height
    if bar.form == "real":
        axes.add_patch(Rectangle(*box, fc=_c(REAL), ec="none"))
    elif bar.form == "fast":
        _hatch(axes, bar, unit)
    elif bar.form == "not_shown":
        dots = (0, (1.2, 1.6))
        axes.add_patch(Rectangle(*box, fc="none", ec=_c(NOT_SHOWN), lw=2.2 * unit, ls=dots))
    else:
        post = min(5.0, max(0.28 * bar.width, 1.0))
        for x in (bar.left, bar.left + bar.width - post):
            axes.add_patch(
                Rectangle((x, bar.top - 4), post, bar.height + 8, fc=_c(AWAY), ec="none")
            )


def _bracket(axes: Axes, bracket: Bracket, unit: float) -> None:
    top, low = bracket.top, bracket.top + 8
    points = [(bracket.left, top), (bracket.left, low), (bracket.right, low)]
    if not bracket.open_end:
        points.append((bracket.right, top))
    lines = LineCollection([points], colors=[_c(EXPECTED)], linewidths=3 * unit)
    lines.set_capstyle("projecting")
    axes.add_collection(lines, autolim=False)
    if bracket.open_end:
        tip = [(bracket.right, low - 6), (bracket.right + 9, low), (bracket.right, low + 6)]
        arrow = PolyCollection([tip], facecolors=[_c(EXPECTED)], linewidths=0)
        axes.add_collection(arrow, autolim=False)


def _text(figure: Figure, chain: FontChain, label: Label, height: int, scale: int) -> None:
    """The label as coverage in its colour, laid pixel on pixel."""
    drawn = chain.draw(label.text, label.size_px * scale, label.weight)
    if not drawn.mask.size:
        return
    wide = drawn.advance_px
    shift = {"left": 0.0, "right": wide, "middle": wide / 2}[label.anchor]
    pen = label.x * scale - shift
    left, top = round(pen) + drawn.left_px, round(label.baseline * scale) + drawn.top_px
    rows, columns = drawn.mask.shape
    if label.plate:
        pad = 4 * scale
        plate = np.empty((rows + 2 * pad, columns + 2 * pad, 4), np.uint8)
        plate[:] = (*PAPER, 255)
        _lay(figure, plate, left - pad, top - pad, height)
    rgba = np.empty((rows, columns, 4), np.uint8)
    rgba[..., :3] = label.colour
    rgba[..., 3] = drawn.mask
    _lay(figure, rgba, left, top, height)


def _lay(figure: Figure, rgba: U8, left: int, top: int, height: int) -> None:
    figure.figimage(rgba, left, height - top - rgba.shape[0], origin="upper", zorder=5)


def draw_plot(plot: Plot, chain: FontChain, scale: int = 2) -> U8:
    """The plot as RGB uint8 (h, w, 3), ``scale`` pixels for each pixel of the layout."""
    width, height = WIDTH_PX * scale, round(plot.height) * scale
    figure = Figure(figsize=(width / _DPI, height / _DPI), dpi=_DPI, facecolor=_c(PAPER))
    canvas: Any = FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, WIDTH_PX)
    axes.set_ylim(round(plot.height), 0)
    unit = scale * 72 / _DPI
    for left, top, wide, high in plot.plates:
        axes.add_patch(Rectangle((left, top), wide, high, fc=_c(INK), ec="none"))
    for left, right in plot.bands:
        axes.add_patch(
            Rectangle(
                (left, plot.time_top), right - left, plot.time_bottom - plot.time_top,
                fc=_c(AWAY), ec="none", alpha=0.07,
            )
        )  # fmt: skip
    rules = [[(x, plot.time_top + 20), (x, plot.time_bottom + 6)] for x in plot.ticks]
    lanes = [[(40, y), (WIDTH_PX - 40, y)] for y in (*plot.lanes, plot.time_bottom)]
    axes.add_collection(
        LineCollection(rules, colors=[_c(_RULE)], linewidths=unit, zorder=0.5), autolim=False
    )
    axes.add_collection(
        LineCollection(lanes, colors=[_c(_RULE)], linewidths=unit, zorder=0.5), autolim=False
    )
    for bar in plot.bars:
        _bar(axes, bar, unit)
    for bracket in plot.brackets:
        _bracket(axes, bracket, unit)
    for label in plot.labels:
        _text(figure, chain, label, height, scale)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].copy()


def step_times_png(
    path: Path,
    rows: Sequence[StepTime],
    ledger: Ledger,
    *,
    title: str,
    notice: str = "",
    chain: FontChain | None = None,
) -> None:
    """Write the plot to ``path``, 2560 pixels wide: sharp on a slide, read at half its size.

    Raises InputError for a character that no font of the chain has, OSError from the disk.
    """
    chain = chain or FontChain()
    picture = draw_plot(plan_plot(rows, ledger, chain, title=title, notice=notice), chain)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG", optimize=True)
    path.write_bytes(out.getvalue())
