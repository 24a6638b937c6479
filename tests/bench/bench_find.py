"""How well cuts are found: one command makes the corpus, reads it and prints the table.

    python -m tests.bench.bench_find [--part report] [--count 60] [--folder FOLDER]

``TEACHCUT_MEDIA`` names the folders that hold the real clips (see sources.py). The limits of
chapters/scenecuts.py were tuned on ``--part tune``; the part ``report`` is made from other clips.
Beside it, on the same recordings, the ffmpeg filter scdet at the threshold that is best on them.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import tempfile
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import imageio_ffmpeg

from chapters.media.probe import probe
from chapters.media.survey import survey
from chapters.scenecuts import SceneCut, find_cuts
from chapters.signals import SignalReader, Signals
from tests.bench.corpus import build
from tests.bench.shot_scoring import (
    Score,
    Transition,
    match_boundaries,
    match_trecvid,
    split,
)

SEEDS = {"tune": 1, "report": 2}
GRADUAL = ("dissolve", "fade")
SLACK_FRAMES = 3

#: Figures of learned detectors in per cent F1, on other data (arXiv 2008.04838, table of results).
PUBLISHED = (
    ("TransNet V2", 77.9, 96.2, 93.9),
    ("TransNet", 73.5, 92.9, 94.3),
    ("Hassanien et al. 2017", 75.9, 92.6, 93.9),
    ("Tang et al. 2018, ResNet", 76.1, 89.3, 92.8),
)


NOTHING = Score(0, 0, 0)


@dataclass
class Result:
    """Counts over all recordings; hard, jump and all are at tolerance 0 unless the name says else."""

    hard: Score = NOTHING
    jump: Score = NOTHING
    abrupt: Score = NOTHING
    abrupt_2: Score = NOTHING
    gradual: Score = NOTHING
    events: Counter[str] = field(default_factory=Counter)
    alarms: Counter[str] = field(default_factory=Counter)
    flash_frames: list[int] = field(default_factory=list)
    frames: int = 0

    def add(self, entry: dict[str, Any], found: Sequence[tuple[Transition, str]]) -> None:
        """Score one recording: what was found, each with its kind."""
        self.frames += entry["frames"]
        labels = [(Transition(s["last"], s["first"]), s["kind"]) for s in entry["labels"]]
        abrupt = [(t, k) for t, k in labels if k not in GRADUAL]
        slow = [t for t, k in labels if k in GRADUAL]
        kept = [f for f in found if not _neutral(f[0], entry)]
        quick = sorted((f for f in kept if f[1] not in GRADUAL), key=lambda f: f[0])
        quick = [f for f in quick if f[1] != "unknown" or not _inside(f[0], slow)]
        matched = match_boundaries([t for t, _ in abrupt], [t for t, _ in quick], 0)
        order = sorted(abrupt)
        hits = Counter(_class(order[i][1]) for i, _ in matched.pairs)
        there = Counter(_class(k) for _, k in abrupt)
        extra = [quick[j] for j in range(len(quick)) if j not in {j for _, j in matched.pairs}]
        false = Counter("jump" if k == "stop" else "hard" for _, k in extra)
        for name in ("hard", "jump"):
            score = Score(hits[name], false[name], there[name] - hits[name])
            setattr(self, name, getattr(self, name) + score)
        self.abrupt += matched.score
        two = match_boundaries([t for t, _ in abrupt], [t for t, _ in quick], 2)
        self.abrupt_2 += two.score
        self.gradual += match_trecvid(
            split(slow)[1], split([t for t, k in kept if k in GRADUAL])[1]
        ).score
        self._alarms(entry, [t for t, _ in extra])

    def _alarms(self, entry: dict[str, Any], extra: list[Transition]) -> None:
        for event in entry["events"]:
            self.events[event["kind"]] += 1
            near = [
                t
                for t in extra
                if event["start"] - SLACK_FRAMES <= t.first <= event["end"] + SLACK_FRAMES
            ]
            self.alarms[event["kind"]] += bool(near)
            if near and event["kind"] == "flash":
                self.flash_frames.append(event["end"] - event["start"])


def _class(kind: str) -> str:
    """A label's class: ``stop`` is a jump in one view after a frozen picture."""
    return "jump" if kind in ("jump", "stop") else "hard"


def _neutral(t: Transition, entry: dict[str, Any]) -> bool:
    return any(a - 1 <= t.first <= b + 2 for a, b in entry["neutral"])


def _inside(t: Transition, slow: Sequence[Transition]) -> bool:
    return any(s.last <= t.first <= s.first for s in slow)


def read(path: Path) -> Signals:
    """The signals of a recording, read as ``teachcut find`` reads them."""
    facts = probe(path, path.name)
    reader = SignalReader()
    for time, luma, tint in survey(path, facts):
        reader.feed(time, luma, tint)
    return reader.finish(facts.length)


def transitions(signals: Signals, cuts: Sequence[SceneCut]) -> list[tuple[Transition, str]]:
    """Cuts as frame numbers; a gradual one from its last old to its first new frame."""
    out = []
    for cut in cuts:
        first = bisect_left(signals.times, cut.at)
        last = first - 1
        if cut.kind in GRADUAL and cut.begins is not None:
            last = min(last, bisect_left(signals.times, cut.begins))
        out.append((Transition(last, first), cut.kind))
    return out


_SCORE = re.compile(r"lavfi\.scd\.score=([\d.]+)")


def scdet_scores(path: Path) -> list[float]:
    """The filter's score of every frame (ffmpeg's own documentation: "scdet")."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-nostdin", "-v", "error", "-i", str(path)]
    command += ["-vf", "scdet=t=0:s=0,metadata=print:file=-", "-f", "null", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return [float(score) for score in _SCORE.findall(done.stdout)]


def best_scdet(entries: list[dict[str, Any]], folder: Path) -> tuple[float, Result]:
    """The threshold with the best F1 over abrupt cuts of these very recordings, and its counts."""
    scores = [scdet_scores(folder / e["file"]) for e in entries]
    best: tuple[float, float, Result] | None = None
    for tenths in range(10, 400, 5):
        result = Result()
        for entry, row in zip(entries, scores, strict=True):
            found = [
                (Transition(n - 1, n), "unknown")
                for n, s in enumerate(row)
                if n and s >= tenths / 10
            ]
            result.add(entry, found)
        if best is None or result.abrupt.f1 > best[0]:
            best = result.abrupt.f1, tenths / 10, result
    assert best is not None
    return best[1], best[2]


def ours(entries: list[dict[str, Any]], folder: Path) -> Result:
    """Our finder over all recordings."""
    result = Result()
    for entry in entries:
        signals = read(folder / entry["file"])
        result.add(entry, transitions(signals, find_cuts(signals)))
    return result


def table(part: str, entries: list[dict[str, Any]], folder: Path) -> Iterator[str]:
    """The lines of the table."""
    found = ours(entries, folder)
    threshold, yardstick = best_scdet(entries, folder)
    seconds = Fraction(found.frames, 30)
    yield f"part {part}: {len(entries)} recordings, {found.frames} frames, {float(seconds) / 60:.0f} min"
    yield ""
    yield f"{'':38}{'P':>7}{'R':>7}{'F1':>7}{'hits':>6}{'false':>6}{'missed':>7}"
    rows = [
        ("hard cuts, tolerance 0", found.hard),
        ("jumps in one view, tolerance 0", found.jump),
        ("all abrupt, tolerance 0", found.abrupt),
        ("all abrupt, tolerance 2", found.abrupt_2),
        ("gradual, TRECVID overlap", found.gradual),
        (f"scdet t={threshold}: all abrupt, tolerance 0", yardstick.abrupt),
        (f"scdet t={threshold}: all abrupt, tolerance 2", yardstick.abrupt_2),
    ]
    for name, score in rows:
        yield (
            f"{name:38}{score.precision:7.3f}{score.recall:7.3f}{score.f1:7.3f}"
            f"{score.hits:6}{score.false:6}{score.missed:7}"
        )
    yield ""
    yield f"{'what is no cut':20}{'times':>6}{'reported':>9}{'by scdet':>9}"
    for kind in sorted(found.events):
        yield f"{kind:20}{found.events[kind]:6}{found.alarms[kind]:9}{yardstick.alarms[kind]:9}"
    if found.flash_frames:
        yield f"flashes reported, frames long: {sorted(found.flash_frames)}"
    yield ""
    yield "F1 of learned detectors in per cent, on other data (arXiv 2008.04838): not comparable"
    yield f"{'':28}{'ClipShots':>10}{'BBC':>7}{'RAI':>7}"
    for name, *values in PUBLISHED:
        yield f"{name:28}{values[0]:10.1f}{values[1]:7.1f}{values[2]:7.1f}"


def main() -> None:
    """Make what is not there yet, then print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_find")
    parser.add_argument("--part", choices=sorted(SEEDS), default="report")
    parser.add_argument("--count", type=int, default=60, help="recordings in the corpus")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "cut-corpus")
    args = parser.parse_args()
    folder = args.folder / f"{args.part}-{args.count}"
    if not (folder / "labels.json").is_file():
        missing = build(args.part, folder, args.folder, args.count, SEEDS[args.part])
        for name in missing:
            print(f"MISSING: {name} cannot be had; the corpus is made without it")
    entries = json.loads((folder / "labels.json").read_text(encoding="utf-8"))
    for line in table(args.part, entries, folder):
        print(line)


if __name__ == "__main__":
    main()
