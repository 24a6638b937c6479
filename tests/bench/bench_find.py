"""How well cuts are found: one command makes the corpus, reads it and prints the table.

    python -m tests.bench.bench_find [--part report] [--mood plain] [--count 60] [--seed N...] [--folder FOLDER] [--csv FILE]

``TEACHCUT_MEDIA`` names the folders that hold the real clips (see sources.py). The limits of
chapters/scenecuts.py were tuned on ``--part tune``; the part ``report`` is made from other clips.
One draw says little of what is rare, so several are read, each a set of recordings, and added up.
Beside it, on the same recordings, the ffmpeg filter scdet at the threshold that is best on them.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import re
import subprocess
import sys
import tempfile
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import imageio_ffmpeg

from chapters.media.probe import probe
from chapters.media.survey import survey
from chapters.media.timeline import NONE
from chapters.scenecuts import SceneCut, find_cuts
from chapters.signals import SignalReader, Signals
from tests.bench.corpus import build
from tests.bench.find_scoring import GRADUAL, TRUST_CLASSES, Reported, Result
from tests.bench.moods import MOODS
from tests.bench.shot_scoring import Score, Transition

#: Another seed draws a part anew from the same clips; how far these were seen, DEVELOPERS.md says.
SEEDS: dict[str, tuple[int, ...]] = {"tune": (1,), "report": (55, 56, 57, 58)}

#: Figures of learned detectors in per cent F1, on other data (arXiv 2008.04838, table of results).
PUBLISHED = (
    ("TransNet V2", 77.9, 96.2, 93.9),
    ("TransNet", 73.5, 92.9, 94.3),
    ("Hassanien et al. 2017", 75.9, 92.6, 93.9),
    ("Tang et al. 2018, ResNet", 76.1, 89.3, 92.8),
)


@dataclass(frozen=True)
class Measured:
    """Everything the table says."""

    part: str
    recordings: int
    found: Result
    draws: Mapping[int, Result]
    threshold: float
    yardstick: Result
    missing: tuple[str, ...]


def read(path: Path) -> tuple[Signals, list[Fraction]]:
    """The signals of a recording, read as ``teachcut find`` reads them; times of all its frames."""
    facts = probe(path, path.name)
    reader = SignalReader()
    for time, luma, tint in survey(path, facts, workers=1):
        reader.feed(time, luma, tint)
    line = facts.timeline
    times = [line.seconds(tick) for tick in sorted(line.ticks[line.ticks != NONE].tolist())]
    return reader.finish(facts.length), times


def reported(times: Sequence[Fraction], cuts: Sequence[SceneCut]) -> list[Reported]:
    """Cuts as frame numbers; a gradual one from its last old to its first new frame.

    ``times`` are those of all frames: the survey may have left some out.
    """
    out = []
    for cut in cuts:
        first = bisect_left(times, cut.at)
        last = first - 1
        if cut.kind in GRADUAL and cut.begins is not None:
            last = min(last, bisect_left(times, cut.begins))
        out.append(Reported(Transition(last, first), cut.kind, cut.confidence))
    return out


_SCORE = re.compile(r"lavfi\.scd\.score=([\d.]+)")


def scdet_scores(path: Path) -> list[float]:
    """The filter's score of every frame (ffmpeg's own documentation: "scdet")."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-nostdin", "-v", "error", "-i", str(path)]
    command += ["-vf", "scdet=t=0:s=0,metadata=print:file=-", "-f", "null", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return [float(score) for score in _SCORE.findall(done.stdout)]


def best_scdet(
    entries: list[dict[str, Any]], rows: Sequence[Sequence[float]]
) -> tuple[float, Result]:
    """The threshold with the best F1 over abrupt cuts of these very recordings, and its counts."""
    best: tuple[float, float, Result] | None = None
    for tenths in range(10, 400, 5):
        result = Result()
        for entry, row in zip(entries, rows, strict=True):
            found = [
                Reported(Transition(n - 1, n), "unknown")
                for n, s in enumerate(row)
                if n and s >= tenths / 10
            ]
            result.add(entry, found)
        if best is None or result.abrupt.f1 > best[0]:
            best = result.abrupt.f1, tenths / 10, result
    assert best is not None
    return best[1], best[2]


def look(path: Path) -> tuple[list[Reported], list[float]]:
    """What we report of one recording, and the scores of the filter."""
    cv2.setNumThreads(1)
    signals, times = read(path)
    return reported(times, find_cuts(signals)), scdet_scores(path)


def measure(part: str, folders: Mapping[int, Path], missing: Sequence[str]) -> Measured:
    """Both finders over all recordings of the draws, one process a core."""
    found, draws, rows, all_entries = Result(), {}, [], []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for seed, folder in folders.items():
            draw = draws[seed] = Result()
            entries = json.loads((folder / "labels.json").read_text(encoding="utf-8"))
            looks = pool.map(look, [folder / entry["file"] for entry in entries])
            for entry, (cuts, scores) in zip(entries, looks, strict=True):
                found.add(entry, cuts)
                draw.add(entry, cuts)
                rows.append(scores)
            all_entries += entries
    threshold, yardstick = best_scdet(all_entries, rows)
    return Measured(part, len(all_entries), found, draws, threshold, yardstick, tuple(missing))


def scores(measured: Measured) -> Iterator[tuple[str, Score]]:
    """The rows of the first table."""
    found, other = measured.found, measured.yardstick
    yield "hard cuts, tolerance 0", found.hard
    yield "jumps in one view, tolerance 0", found.jump
    yield "all abrupt, tolerance 0", found.abrupt
    yield "all abrupt, tolerance 2", found.abrupt_2
    yield "gradual, TRECVID overlap", found.gradual
    yield f"scdet t={measured.threshold}, all abrupt, tolerance 0", other.abrupt
    yield f"scdet t={measured.threshold}, all abrupt, tolerance 2", other.abrupt_2


def table(measured: Measured) -> Iterator[str]:
    """The lines of the table."""
    found = measured.found
    minutes = float(Fraction(found.frames, 30)) / 60
    yield f"part {measured.part}: {measured.recordings} recordings, {found.frames} frames, {minutes:.0f} min"
    yield from (
        f"MISSING: {name} cannot be had; the corpus is made without it" for name in measured.missing
    )
    yield ""
    yield f"{'':38}{'P':>7}{'R':>7}{'F1':>7}{'hits':>6}{'false':>6}{'missed':>7}"
    for name, score in scores(measured):
        yield (
            f"{name:38}{score.precision:7.3f}{score.recall:7.3f}{score.f1:7.3f}"
            f"{score.hits:6}{score.false:6}{score.missed:7}"
        )
    if len(measured.draws) > 1:
        yield ""
        yield from by_draw(measured)
    yield ""
    yield f"{'what is no cut':20}{'times':>6}{'reported':>9}{'by scdet':>9}"
    for kind in sorted(found.events, key=_order):
        counts = found.events[kind], found.alarms[kind], measured.yardstick.alarms[kind]
        yield f"{kind:20}{counts[0]:6}{counts[1]:9}{counts[2]:9}"
    yield ""
    yield f"{'confidence':20}{'cuts':>6}{'right':>9}{'share':>9}"
    for level in TRUST_CLASSES:
        count, right = found.trust[level], found.right[level]
        share = f"{right / count:9.2f}" if count else f"{'-':>9}"
        yield f"{level:.1f} to {level + 0.1:<13.1f}{count:6}{right:9}{share}"
    yield ""
    yield "F1 of learned detectors in per cent, on other data (arXiv 2008.04838): not comparable"
    yield f"{'':28}{'ClipShots':>10}{'BBC':>7}{'RAI':>7}"
    for name, *values in PUBLISHED:
        yield f"{name:28}{values[0]:10.1f}{values[1]:7.1f}{values[2]:7.1f}"


def by_draw(measured: Measured) -> Iterator[str]:
    """A line a draw: what swings from one to the other."""
    yield f"{'draw':9}{'hard F1':>8}{'jumps P':>9}{'R':>7}{'of':>5}{'gradual F1':>12}{'of':>5}{'flashes told':>14}"
    for seed, found in measured.draws.items():
        jump, slow = found.jump, found.gradual
        yield (
            f"seed {seed:<4}{found.hard.f1:8.3f}{jump.precision:9.3f}{jump.recall:7.3f}"
            f"{jump.hits + jump.missed:5}{slow.f1:12.3f}{slow.hits + slow.missed:5}"
            f"{found.alarms['flash']:7} of {found.events['flash']}"
        )


def _order(kind: str) -> tuple[str, str]:
    """Rows by name, those of flashes together."""
    return ("flash", kind) if kind.startswith(" ") else (kind, "")


def write_csv(path: Path, measured: Measured) -> None:
    """The same figures for a spreadsheet: table, row, column, value."""
    found = measured.found
    rows: list[tuple[str, str, str, float]] = []
    for name, score in scores(measured):
        for column in ("precision", "recall", "f1", "hits", "false", "missed"):
            rows.append(("cuts", name, column, round(getattr(score, column), 4)))
    for kind in sorted(found.events, key=_order):
        rows.append(("no cut", kind.strip(), "times", found.events[kind]))
        rows.append(("no cut", kind.strip(), "reported", found.alarms[kind]))
        rows.append(("no cut", kind.strip(), "by scdet", measured.yardstick.alarms[kind]))
    for level in TRUST_CLASSES:
        rows.append(("confidence", f"{level:.1f}", "cuts", found.trust[level]))
        rows.append(("confidence", f"{level:.1f}", "right", found.right[level]))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("table", "row", "column", "value"))
        writer.writerows(rows)


def main() -> None:
    """Make what is not there yet, then print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_find")
    parser.add_argument("--part", choices=sorted(SEEDS), default="report")
    parser.add_argument("--mood", choices=MOODS, default="plain", help="what they are rich in")
    parser.add_argument("--count", type=int, default=60, help="recordings in the corpus")
    parser.add_argument(
        "--seed", type=int, nargs="+", help="draw anew (default: the reported draws)"
    )
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "cut-corpus")
    parser.add_argument("--csv", type=Path, help="write the figures there too")
    args = parser.parse_args()
    folders: dict[int, Path] = {}
    missing: list[str] = []
    for seed in args.seed or SEEDS[args.part]:
        rich = "" if args.mood == "plain" else f"{args.mood}-"
        folder = folders[seed] = args.folder / f"{args.part}-{rich}{args.count}-{seed}"
        if not (folder / "labels.json").is_file():
            print(f"making {args.count} recordings in {folder}", file=sys.stderr)
            missing = build(args.part, folder, args.folder, args.count, seed, args.mood)
    part = args.part if args.mood == "plain" else f"{args.part}, {args.mood}"
    measured = measure(part, folders, missing)
    for line in table(measured):
        print(line)
    if args.csv:
        write_csv(args.csv, measured)


if __name__ == "__main__":
    main()
