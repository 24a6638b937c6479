"""Numbers -> dull stretches: where nothing happens that a viewer must see in real time.

Kinds: ``black`` and ``blank`` (nothing to see: dark, or washed out, covered, empty), ``blurred``
(out of focus against the rest of the recording), ``still`` (nothing moves), ``repeats`` (the same
small movement goes on at the same place while the view stays as it is).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chapters.looks import BLANK_DETAIL
from chapters.marks import Marks
from chapters.motion import Motions, by_second
from chapters.scenecuts import SceneCut
from chapters.signals import Signals
from chapters.spans import Span, merge, subtract

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StillStretch:
    """``span`` in recording time; ``strength`` 0..1, how far beyond the limit it lies."""

    span: Span
    kind: str
    strength: float


@dataclass(frozen=True, slots=True)
class StillRules:
    """Shortest stretches in seconds and the limits of the signals (see ``Marks`` and ``Motions``).

    ``still_area`` share of the picture that may move and still nothing moves, ``still_spread`` in
    levels, ``still_shift`` in working pixels, ``gross_moved`` of a mark that ends a still stretch
    by itself. A blip of up to ``blip_s`` does not split a still stretch; where key pictures lie
    further apart, neither does one of up to ``key_blip_s``.
    """

    still_s: Fraction = Fraction(4)
    repeats_s: Fraction = Fraction(30)
    blank_s: Fraction = Fraction(1)
    blurred_s: Fraction = Fraction(3)
    black_level: float = 40.0
    still_area: float = 0.0008
    still_spread: float = 1.7
    still_shift: float = 1.5
    gross_moved: float = 0.15
    blip_s: Fraction = Fraction(5, 2)
    key_blip_s: Fraction = Fraction(5)
    one_view: float = 0.75
    repeats_least: float = 0.004
    repeats_most: float = 0.35
    repeats_swing: float = 3.0
    repeats_alike: float = 0.75
    blurred_share: float = 0.35
    bridge_s: Fraction = Fraction(1)


def find_still(
    signals: Signals, rules: StillRules = StillRules(), cuts: Sequence[SceneCut] = ()
) -> tuple[StillStretch, ...]:
    """Dull stretches in order of time. They do not overlap: blank goes before blurred, still, repeats.

    Between two of ``cuts`` lies one view: what is out of focus is so against its own view at its best.
    """
    marks = signals.marks
    if len(marks.times) < 2:
        return ()
    blank = marks.detail < BLANK_DETAIL
    dark = marks.level < rules.black_level
    empty = 1 - marks.detail / BLANK_DETAIL
    usual = _usual_fine(marks, blank, [float(cut.at) for cut in cuts])
    blurred = (marks.fine < rules.blurred_share * usual) & ~blank
    soft = 1 - marks.fine / np.maximum(rules.blurred_share * usual, 1e-6)
    out: list[StillStretch] = []
    for kind, flags, least, weight in (
        ("black", blank & dark, rules.blank_s, empty),
        ("blank", blank & ~dark, rules.blank_s, empty),
        ("blurred", blurred, rules.blurred_s, soft),
    ):
        for first, last in _runs(flags, marks.times, rules.bridge_s):
            span = _span(first, last, marks.times, signals.end)
            if span.length >= least:
                out.append(StillStretch(span, kind, _share(weight[first : last + 1].mean())))
    still = [s for s in _still_spans(signals, rules) if s.length >= rules.still_s]
    for span in _without(still, out):
        if span.length >= rules.still_s:
            out.append(StillStretch(span, "still", _stillness(signals.motions, span, rules)))
    for span, alike in _repeats(signals, rules):
        strength = _share((alike - rules.repeats_alike) / (1 - rules.repeats_alike))
        for rest in _without([span], out):
            if rest.length >= rules.repeats_s:
                out.append(StillStretch(rest, "repeats", strength))
    return tuple(sorted(out, key=lambda s: (s.span.start, s.span.end)))


def _without(spans: Iterable[Span], known: Iterable[StillStretch]) -> list[Span]:
    """What is left of the spans outside the stretches known."""
    holes = [stretch.span for stretch in known]
    return [rest for span in spans for rest in subtract(span, holes)]


def _share(value: float) -> float:
    return round(float(np.clip(value, 0, 1)), 3)


def _usual_fine(marks: Marks, blank: Flags, cuts: Sequence[float]) -> Floats:
    """For every mark, fine detail of its view at its best, in levels; 0 where it never has any."""
    view = np.searchsorted(sorted(cuts), [float(t) for t in marks.times], side="right")
    out = np.zeros(len(marks.times))
    for number in np.unique(view).tolist():
        seen = marks.fine[(view == number) & ~blank]
        usual = float(np.percentile(seen, 80)) if len(seen) else 0.0
        out[view == number] = usual if usual >= 0.3 else 0.0
    return out


# -- nothing moves ------------------------------------------------------------------------


def _still_spans(signals: Signals, rules: StillRules) -> list[Span]:
    """Stretches between whose pictures nothing moved, blips bridged."""
    motions = signals.motions
    rows = zip(motions.since, motions.times, _clean(motions, rules).tolist(), strict=True)
    quiet = [Span(since, time) for since, time, clean in rows if clean]
    if not quiet:
        return []
    marks = signals.marks
    gross = np.flatnonzero(marks.moved > rules.gross_moved).tolist()
    parted = [Span(marks.times[n - 1], marks.times[n]) for n in gross if n > 0]
    runs = [rest for span in merge(quiet) for rest in subtract(span, parted)]
    if runs and 0 < signals.end - runs[-1].end <= rules.bridge_s:
        runs[-1] = Span(runs[-1].start, signals.end)
    return _bridged(runs, signals, rules)


def _clean(motions: Motions, rules: StillRules) -> Flags:
    return np.asarray(
        (motions.area <= rules.still_area)
        & (motions.spread <= rules.still_spread)
        & (motions.shift <= rules.still_shift)
    )


def _bridged(runs: Sequence[Span], signals: Signals, rules: StillRules) -> list[Span]:
    """Gaps closed that are short against what lies on both sides, while the view stays.

    The shortest gap goes first, so that what a blip parted is one again before the next is judged.
    """
    motions = signals.motions
    sure = [Span(motions.since[n], motions.times[n]) for n in np.flatnonzero(motions.sure).tolist()]
    ends = [span.end for span in sure]
    starting = {span.start: span for span in runs}
    ending = {span.end: span for span in runs}
    gaps = [Span(before.end, after.start) for before, after in pairwise(runs)]
    for gap in sorted(gaps, key=lambda g: (g.length, g.start)):
        if gap.length > rules.key_blip_s:
            break
        left, right = ending[gap.start], starting[gap.end]
        near = sure[bisect_left(ends, gap.end) :][:_OVERLAPPING]
        one_row = any(span.start <= gap.start for span in near)
        most = rules.key_blip_s if one_row else rules.blip_s
        fits = gap.length <= most and 2 * gap.length <= min(left.length, right.length)
        if (fits or gap.length <= rules.bridge_s / 2) and _one_view(signals.marks, gap, rules):
            whole = Span(left.start, right.end)
            del starting[right.start], ending[left.end]
            starting[whole.start] = ending[whole.end] = whole
    return sorted(starting.values())


#: So many rows of key pictures may lie over one instant.
_OVERLAPPING = 8


def _one_view(marks: Marks, gap: Span, rules: StillRules) -> bool:
    """Whether the view is the same before and after a gap."""
    before = max(0, bisect_right(marks.times, gap.start) - 1)
    after = min(len(marks.times) - 1, bisect_left(marks.times, gap.end))
    pair = marks.outline[[before, after]].reshape(2, -1).astype(np.float64)
    norms = np.linalg.norm(pair, axis=1)
    return float(pair[0] @ pair[1]) >= rules.one_view * float(norms[0] * norms[1])


def _stillness(motions: Motions, span: Span, rules: StillRules) -> float:
    """1 where nothing at all moves and nothing is left over, 0 at the limits."""
    inside = [
        n
        for n, clean in enumerate(_clean(motions, rules))
        if clean and span.start <= motions.since[n] and motions.times[n] <= span.end
    ]
    if not inside:
        return 0.0
    area = motions.area[inside] / rules.still_area
    shift = motions.shift[inside] / rules.still_shift
    return _share(1 - float(np.maximum(area, shift).mean()))


# -- the same movement --------------------------------------------------------------------

#: A window of so many seconds is cut into quarters, and they are compared.
_WINDOW = 24
#: The view is held against that of so many seconds before.
_BACK = 5


def _repeats(signals: Signals, rules: StillRules) -> list[tuple[Span, float]]:
    """Stretches in which each quarter of a window moves as the others do, and how alike they are."""
    start, maps = by_second(signals.motions)
    if len(maps) < _WINDOW:
        return []
    alike = np.full(len(maps), np.nan)
    views = _view_alike(signals.marks, start, len(maps))
    for first in range(len(maps) - _WINDOW + 1):
        window = slice(first, first + _WINDOW)
        value = _evenness(maps[window], rules)
        stays = float(views[window][_BACK:].min()) >= rules.one_view
        if value >= rules.repeats_alike and stays:
            alike[window] = np.fmax(alike[window], value)
    out = []
    for first, last in _number_runs(~np.isnan(alike)):
        end = min(signals.end, start + last + 1)
        out.append((Span(start + first, end), float(alike[first : last + 1].mean())))
    return out


def _evenness(maps: Floats, rules: StillRules) -> float:
    """The least correlation of any two quarters of a window; 0 where the movement is not of a kind."""
    quarters = maps.reshape(4, -1, maps.shape[1]).mean(axis=1)
    amounts = quarters.mean(axis=1)
    if amounts.min() < rules.repeats_least or amounts.max() > rules.repeats_most:
        return 0.0
    if amounts.max() > rules.repeats_swing * amounts.min():
        return 0.0
    return float(np.corrcoef(quarters).min())


def _view_alike(marks: Marks, start: Fraction, seconds: int) -> Floats:
    """For every second, how alike the view is to that of ``_BACK`` seconds before, -1..1."""
    outlines = marks.outline.reshape(len(marks.times), -1).astype(np.float32)
    norms = np.linalg.norm(outlines, axis=1) + 1e-6
    times = np.array([float(t - start) for t in marks.times])
    now = np.clip(np.searchsorted(times, np.arange(seconds) + 0.5) - 1, 0, len(times) - 1)
    then = np.arange(seconds) + 0.5 - _BACK
    before = np.clip(np.searchsorted(times, then) - 1, 0, len(times) - 1)
    products = np.einsum("ij,ij->i", outlines[now], outlines[before])
    return np.asarray(products / (norms[now] * norms[before]), np.float64)


# -- runs ---------------------------------------------------------------------------------


def _number_runs(flags: Flags) -> Iterable[tuple[int, int]]:
    """First and last place of every run of true flags."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    for first, stop in edges.reshape(-1, 2).tolist():
        yield first, stop - 1


def _runs(flags: Flags, times: tuple[Fraction, ...], bridge: Fraction) -> Iterable[tuple[int, int]]:
    """First and last index of every run of true marks, gaps of up to ``bridge`` seconds closed."""
    places = np.flatnonzero(flags)
    runs: list[tuple[int, int]] = []
    for place in places.tolist():
        if runs and times[place] - times[runs[-1][1]] <= bridge:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs


def _span(first: int, last: int, times: tuple[Fraction, ...], end: Fraction) -> Span:
    """From the first mark of a run to the mark after its last, or to the end."""
    return Span(times[first], end if last == len(times) - 1 else times[last + 1])
