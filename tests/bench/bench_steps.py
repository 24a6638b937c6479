"""Proposed steps by the segmental measures: edit score and F1 at an overlap of 10, 25 and 50 %.

    python -m tests.bench.bench_steps [--demo FOLDER]

Made recordings (see ``steps_corpus``) of a part to tune on and of a part to report, which are made
from other clips; and the demo recording in FOLDER (``teachcut demo FOLDER``), where it is named.
Each second carries the number of its step. Proposed steps without names are given the numbers of
true steps, each number once, so that the overlaps add up to the most (Hungarian method); one that is
left over is a step that is not there. Beside the proposals stand what cuts alone give, and as many
equal lengths as there are steps. For the steps of earlier cases: five cases whose lengths vary by
30 % about the usual ones, as this recording's do, the borders by what changes here and, beside it,
by the usual lengths alone.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import linear_sum_assignment  # type: ignore[import-untyped]

from annotate.find import Found, find
from chapters.fitsteps import EarlierStep, fit_steps
from chapters.media.probe import probe
from chapters.proposals import Change, StepProposal, changes, propose
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from chapters.spans import Span
from chapters.stillness import StillStretch, find_still
from tests.bench import steps_corpus
from tests.bench.sources import CLIPS, locate, pictures
from tests.bench.step_scoring import edit_score, f1_at

SEEDS = {"tune": 1, "report": 2}
#: Where the steps of the demo begin by its script, seconds: see sample_clips/case.yaml.
DEMO_STARTS = (0, 34, 64, 110, 126, 144, 178, 208, 232)
DEMO_LENGTH_S = 245
#: Fifteen frames of a clip make no step.
_SHORTEST_CLIP = 40

Row = tuple[float, float, float, float, float]


def numbered(truth: Sequence[int], spans: Sequence[Span]) -> list[str]:
    """Labels of proposed spans, second by second, for steps that have no names of their own."""
    places = [range(_second(s.start), min(_second(s.end), len(truth))) for s in spans]
    known = sorted(set(truth))
    overlap = np.array([[sum(truth[s] == k for s in place) for k in known] for place in places])
    names = {
        at: str(known[number])
        for at, number in zip(*linear_sum_assignment(overlap, maximize=True), strict=True)
        if overlap[at, number]
    }
    out = ["" for _ in truth]
    for at, place in enumerate(places):
        for s in place:
            out[s] = names.get(at, f"extra {at}")
    return out


def _second(at: Fraction) -> int:
    return round(at)


def score(truth: Sequence[int], spans: Sequence[Span]) -> Row:
    """Edit score, F1@10, @25, @50 of unnamed spans, and how many there are for each true step."""
    return _row([str(t) for t in truth], numbered(truth, spans), len(spans) / len(set(truth)))


def _row(truth: Sequence[str], guess: Sequence[str], share: float) -> Row:
    f1 = [f1_at(k, truth, guess) for k in (0.10, 0.25, 0.50)]
    return (edit_score(truth, guess), f1[0], f1[1], f1[2], share)


class Case:
    """One recording: its true labels, and what was found in it."""

    def __init__(
        self, truth: Sequence[int], length: Fraction, found: Sequence[Change], cuts: Sequence[Fraction],
        still: Sequence[StillStretch],
    ) -> None:  # fmt: skip
        self.truth, self.length, self.found = list(truth), length, tuple(found)
        self.cuts, self.still = tuple(cuts), tuple(still)

    def proposed(self) -> Row:
        """The draft's steps."""
        return score(self.truth, [s.span for s in propose(self.found, self.length, self.still)])

    def by_cuts(self) -> Row:
        """A step at every scene cut."""
        return score(self.truth, _between([*self.cuts], self.length))

    def equal(self) -> Row:
        """As many steps as there are, all of one length."""
        count = len(set(self.truth))
        return score(
            self.truth, _between([self.length * n / count for n in range(1, count)], self.length)
        )

    def fitted(self, rng: np.random.Generator, found: Sequence[Change]) -> Row:
        """Steps of five earlier cases laid over the recording."""
        lengths = [self.truth.count(n) for n in range(len(set(self.truth)))]
        usual = np.array(lengths) * np.exp(rng.normal(0, 0.3, len(lengths)))
        taught = usual * np.exp(rng.normal(0, 0.3, (5, len(lengths))))
        earlier = [
            EarlierStep(str(n), tuple(Fraction(round(float(x) * 10), 10) for x in taught[:, n]))
            for n in range(len(lengths))
        ]
        steps = fit_steps(found, self.length, earlier, self.still)
        return _row([str(t) for t in self.truth], _named(steps, len(self.truth)), 1.0)


def _named(steps: Sequence[StepProposal], seconds: int) -> list[str]:
    starts = [float(step.span.start) for step in steps]
    return [steps[int(np.searchsorted(starts, s, "right")) - 1].title for s in range(seconds)]


def _between(borders: Sequence[Fraction], length: Fraction) -> list[Span]:
    places = [Fraction(0), *sorted({b for b in borders if 0 < b < length}), length]
    return [Span(a, b) for a, b in pairwise(places)]


def made_cases(part: str, count: int, cache: Path) -> tuple[list[Case], list[str]]:
    """The part's recordings, looked through; and the clips that could not be had."""
    clips, missing = [], []
    for clip in (c for c in CLIPS if c.part == part):
        path = locate(clip, cache)
        if path is None:
            missing.append(clip.label)
            continue
        frames = pictures(path, clip.first, clip.stop, steps_corpus.SIZE_PX)[:: _stride(path)]
        if len(frames) >= _SHORTEST_CLIP:
            clips.append(frames)
    rng = np.random.default_rng(SEEDS[part])
    return [_made(rng, clips) for _ in range(count)], missing


def _stride(path: Path) -> int:
    """Every how manyth picture of a clip to take for ten a second."""
    return max(1, round(float(probe(path, path.name).average_fps) / steps_corpus.FPS))


def _made(rng: np.random.Generator, clips: Sequence[Sequence[steps_corpus.Picture]]) -> Case:
    plan = steps_corpus.plan(rng, len(clips))
    reader = SignalReader()
    for at, luma, tint in steps_corpus.draw(plan, clips, rng):
        reader.feed(at, luma, tint)
    signals = reader.finish(plan.length)
    cuts = find_cuts(signals)
    still = find_still(signals, cuts=cuts)
    found = changes(signals.marks, cuts, still)
    return Case(steps_corpus.labels(plan), plan.length, found, [c.at for c in cuts], still)


def demo_case(folder: Path) -> Case:
    """The demo recording, as ``find`` finds it."""
    found: Found = find([folder / "scope-001.mp4", folder / "scope-002.mp4"])
    truth = [int(np.searchsorted(DEMO_STARTS, s, "right")) - 1 for s in range(DEMO_LENGTH_S)]
    cuts = [Fraction(c.at) for c in found.scene_cuts] + [p.start for p in found.parts[1:]]
    return Case(truth, found.length, found.changes, cuts, found.still)


def table(name: str, cases: Sequence[Case]) -> list[str]:
    """The figures of some recordings, as the mean over them."""
    rng = np.random.default_rng(5)
    ways: dict[str, Callable[[Case], Row]] = {
        "proposed steps": Case.proposed,
        "cuts alone": Case.by_cuts,
        "equal lengths (count known)": Case.equal,
        "earlier cases, with changes": lambda case: case.fitted(rng, case.found),
        "earlier cases, lengths alone": lambda case: case.fitted(rng, ()),
    }
    lines = [f"{name} ({len(cases)} recording{'s' * (len(cases) != 1)})"]
    lines.append(f"  {'':<30}{'edit':>7}{'F1@10':>7}{'F1@25':>7}{'F1@50':>7}{'steps/true':>12}")
    for way, ask in ways.items():
        mean = np.array([ask(case) for case in cases]).mean(axis=0)
        figures = "".join(f"{value:>7.1f}" for value in mean[:4])
        lines.append(f"  {way:<30}{figures}{mean[4]:>12.2f}")
    return lines


def main() -> None:
    """Make the recordings, look through them, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_steps")
    parser.add_argument("--part", choices=[*sorted(SEEDS), "both", "none"], default="both")
    parser.add_argument("--count", type=int, default=12, help="made recordings of each part")
    parser.add_argument("--demo", type=Path, help="folder of the demo recording")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "cut-corpus")
    args = parser.parse_args()
    parts = {"both": sorted(SEEDS, reverse=True), "none": []}.get(args.part, [args.part])
    for part in parts:
        cases, missing = made_cases(part, args.count, args.cache)
        for label in missing:
            print(f"LEFT OUT, cannot be had: {label}", file=sys.stderr)
        print("\n".join(table(f"made recordings, {part}", cases)), flush=True)
    if args.demo:
        print("\n".join(table("the demo recording", [demo_case(args.demo)])))


if __name__ == "__main__":
    main()
