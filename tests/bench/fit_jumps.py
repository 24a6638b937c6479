"""What each measure of a step is worth: fits ``chapters/jumpweights.py`` on labelled recordings.

    python -m tests.bench.fit_jumps FOLDER... [--write]

Each folder holds recordings and ``labels.json`` as corpus.py writes them, of clips of the part
*tune*. Folders that share clips are one group, named before the first ``-`` of the folder's name
(``wood-1``, ``wood-2``): each group is judged by weights fitted on the others, and what is printed
is that. ``--write`` fits on all and writes the module.

The evidence is that of a logistic regression with squares, so that a measure may speak for a jump up
to some point and no further: maximum likelihood with a quadratic penalty, by Newton's method (Hastie,
Tibshirani and Friedman, "The Elements of Statistical Learning", 2nd edition, 4.4.1; named from
memory). A jump weighs as much as five other steps, a step at a flash as much as fifteen, one at a
lamp, a filter or the like as much as six: those told as cuts are the worse mistakes.
"""

from __future__ import annotations

import argparse
import json
import os
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from chapters import jumpweights
from chapters.cutrules import TUNED
from chapters.jumps import may_jump
from chapters.jumpsigns import signs
from chapters.jumpweights import Weight
from chapters.signals import Signals
from tests.bench.bench_find import read
from tests.bench.find_scoring import GRADUAL, SLACK_FRAMES

#: Measures that are taken as they are; of all others their logarithms.
PLAIN = ("back", "burst_held", "burst_share", "stir_held", "stir_redrawn", "stir_share")
#: The weight of a jump, and of another step at an event; that of any other step is 1.
JUMP_WEIGHT = 5.0
EVENT_WEIGHTS = {
    "flash": 15.0,
    **dict.fromkeys(("lamp", "filter", "refocus", "fog", "zoom", "magnification", "spray"), 6.0),
}
#: Strength of the penalty, for measures of mean 0 and deviation 1.
PENALTY = 10.0
#: Measures are kept within what so many of a hundred jumps have, on either side.
WITHIN = (2.0, 98.0)

Table = NDArray[np.float64]


@dataclass(frozen=True)
class Step:
    """One step of one recording: what was measured, whether it is a jump, what happened there."""

    jump: bool
    events: frozenset[str]
    measured: Mapping[str, float]

    @property
    def weight(self) -> float:
        """How much the fit minds it."""
        if self.jump:
            return JUMP_WEIGHT
        return max((EVENT_WEIGHTS.get(kind, 1.0) for kind in self.events), default=1.0)


def steps(entry: Mapping[str, Any], times: Sequence[Fraction], signals: Signals) -> Iterator[Step]:
    """The steps that can be told from jumps: none at another cut, none in a neutral stretch."""
    jumps = {s["first"] for s in entry["labels"] if s["kind"] in ("jump", "stop")}
    others = {s["first"] for s in entry["labels"]} - jumps
    slow = [(s["last"], s["first"]) for s in entry["labels"] if s["kind"] in GRADUAL]
    for look in signals.looks:
        if not may_jump(look, signals, TUNED):
            continue
        frame = bisect_left(times, look.at)
        if frame not in jumps:
            beside = any(abs(frame - n) <= 1 for n in (*jumps, *others))
            if beside or any(a <= frame <= b for a, b in slow):
                continue
            if any(a - 1 <= frame <= b + 2 for a, b in entry["neutral"]):
                continue
        events = frozenset(
            str(e["kind"])
            for e in entry["events"]
            if e["start"] - SLACK_FRAMES <= frame <= e["end"] + SLACK_FRAMES
        )
        yield Step(frame in jumps, events, signs(look, signals))


@dataclass(frozen=True)
class Scale:
    """How a table of measures is made ready for the fit; ``columns`` of each measure, then families."""

    names: tuple[str, ...]
    limits: tuple[tuple[float, float, float], ...]
    mean: Table
    deviation: Table


def _formed(name: str, values: Table) -> Table:
    return values if name in PLAIN else np.log(np.maximum(values, 1e-3) + 0.01)


def _families(names: Sequence[str]) -> list[str]:
    """The first measure of each family: what is unknown is unknown for all of them."""
    firsts: dict[str, str] = {}
    for name in names:
        firsts.setdefault(name.split("_")[0], name)
    return list(firsts.values())


def _columns(
    table: Table, names: Sequence[str], limits: Sequence[tuple[float, float, float]]
) -> Table:
    """Each measure within its limits and its square; then, a family each, whether it is unknown."""
    out = []
    for values, name, (least, most, usual) in zip(table.T, names, limits, strict=True):
        seen = np.clip(_formed(name, values), least, most)
        seen = np.where(np.isnan(values), usual, seen)
        out += [seen, seen**2]
    out += [np.isnan(table[:, names.index(name)]).astype(float) for name in _families(names)]
    return np.array(out).T


def scale(table: Table, jump: NDArray[np.bool_], names: tuple[str, ...]) -> Scale:
    """Limits of the measures by the jumps, and mean and deviation of the columns."""
    limits = []
    for values, name in zip(table.T, names, strict=True):
        formed = _formed(name, values)
        least, most = np.nanpercentile(formed[jump], WITHIN)
        limits.append(
            (float(least), float(most), float(np.nanmedian(np.clip(formed, least, most))))
        )
    columns = _columns(table, names, limits)
    return Scale(names, tuple(limits), columns.mean(0), np.maximum(columns.std(0), 1e-9))


def regress(
    columns: Table, jump: NDArray[np.bool_], weight: Table, penalty: float = PENALTY
) -> Table:
    """Constant and coefficients of the weighted logistic regression with a quadratic penalty."""
    ones = np.hstack([np.ones((len(columns), 1)), columns])
    against = np.full(ones.shape[1], penalty)
    against[0] = 0.0
    found = np.zeros(ones.shape[1])
    for _ in range(50):
        odds = np.clip(ones @ found, -30, 30)
        likely = 1 / (1 + np.exp(-odds))
        slope = ones.T @ (weight * (jump - likely)) - against * found
        curve = (ones * (weight * likely * (1 - likely))[:, None]).T @ ones + np.diag(against)
        change = np.linalg.solve(curve, slope)
        found = found + change
        if float(np.abs(change).max()) < 1e-6:
            break
    return found


def fit(found: Sequence[Step]) -> tuple[float, dict[str, Weight]]:
    """The constant and the weight of every measure."""
    names = tuple(found[0].measured)
    table = np.array([list(step.measured.values()) for step in found], float)
    jump = np.array([step.jump for step in found])
    weight = np.array([step.weight for step in found])
    made = scale(table, jump, names)
    columns = (_columns(table, names, made.limits) - made.mean) / made.deviation
    constant, *rest = regress(columns, jump, weight)
    raw = np.array(rest) / made.deviation
    constant -= float(raw @ made.mean)
    families = _families(names)
    out = {}
    for n, (name, (least, most, usual)) in enumerate(zip(names, made.limits, strict=True)):
        linear, square = float(raw[2 * n]), float(raw[2 * n + 1])
        unknown = linear * usual + square * usual**2
        if name in families:
            unknown += float(raw[2 * len(names) + families.index(name)])
        out[name] = Weight(name not in PLAIN, least, most, linear, square, unknown)
    return float(constant), out


def module(constant: float, weights: Mapping[str, Weight]) -> str:
    """The text of ``chapters/jumpweights.py`` with these weights."""
    old = Path(jumpweights.__file__).read_text(encoding="utf-8")
    head = old[: old.index("#: The evidence of nothing")]
    rows = [
        f'    "{name}": Weight({w.log}, {w.least:.4g}, {w.most:.4g}, '
        f"{w.weight:.4g}, {w.square:.4g}, {w.unknown:.4g}),"
        for name, w in weights.items()
    ]
    return (
        f"{head}#: The evidence of nothing measured.\nCONSTANT = {constant:.4g}\n\n"
        "#: What each measure of a step is worth.\n"
        "WEIGHTS: Mapping[str, Weight] = {\n" + "\n".join(rows) + "\n}\n"
    )


def judged(groups: Mapping[str, Sequence[Step]]) -> list[tuple[float, Step]]:
    """The evidence of every step by weights fitted on the other groups."""
    out = []
    for name, mine in groups.items():
        constant, weights = fit(
            [s for other, all_ in groups.items() if other != name for s in all_]
        )
        for step in mine:
            worth = sum(w.worth(step.measured[key]) for key, w in weights.items())
            out.append((constant + worth, step))
    return out


def _read(job: tuple[Path, dict[str, Any]]) -> list[Step]:
    cv2.setNumThreads(1)
    folder, entry = job
    signals, times = read(folder / entry["file"])
    return list(steps(entry, times, signals))


def main() -> None:
    """Read the folders, judge each group by the others, and write if asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.fit_jumps")
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--write", action="store_true", help="write chapters/jumpweights.py")
    args = parser.parse_args()
    groups: dict[str, list[Step]] = defaultdict(list)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for folder in args.folders:
            entries = json.loads((folder / "labels.json").read_text(encoding="utf-8"))
            for found in pool.map(_read, [(folder, entry) for entry in entries]):
                groups[folder.name.partition("-")[0]] += found
    show(judged(groups))
    if args.write:
        text = module(*fit([step for found in groups.values() for step in found]))
        Path(jumpweights.__file__).write_text(text, encoding="utf-8", newline="\n")


def show(seen: Sequence[tuple[float, Step]]) -> None:
    """Jumps told, other steps told and flashes among them, at some limits of the evidence."""
    asked = sum(step.jump for _, step in seen)
    print(f"{'limit':>6}{'jumps':>8}{'of':>6}{'false':>7}{'at flashes':>12}")
    for limit in (-0.2, 0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.5):
        told = [step for worth, step in seen if worth > limit]
        false = [step for step in told if not step.jump]
        lit = sum("flash" in step.events for step in false)
        print(f"{limit:6.1f}{len(told) - len(false):8}{asked:6}{len(false):7}{lit:12}")


if __name__ == "__main__":
    main()
