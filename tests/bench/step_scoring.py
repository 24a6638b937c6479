"""Scores for proposed steps: the segmental measures of Lea et al. (CVPR 2017), and relaxed borders.

A labelling is one label a frame. ``edit_score`` forgives where borders lie and punishes a wrong
order and chopped steps; ``f1_at`` counts a step as found when it overlaps one of its label by an
intersection over union of at least ``k``, each reference once.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from tests.bench.shot_scoring import Score


@dataclass(frozen=True)
class Segment:
    """One run of a label: frames ``start`` up to ``stop``."""

    label: Hashable
    start: int
    stop: int


def segments(labels: Sequence[Hashable]) -> list[Segment]:
    """The runs of equal labels in order."""
    out: list[Segment] = []
    for n, label in enumerate(labels):
        if out and out[-1].label == label:
            out[-1] = Segment(label, out[-1].start, n + 1)
        else:
            out.append(Segment(label, n, n + 1))
    return out


def accuracy(reference: Sequence[Hashable], found: Sequence[Hashable]) -> float:
    """Share of frames with the right label, in per cent."""
    if len(reference) != len(found) or not reference:
        raise ValueError("both labellings need the same number of frames, at least one")
    return 100 * sum(a == b for a, b in zip(reference, found, strict=True)) / len(reference)


def edit_score(reference: Sequence[Hashable], found: Sequence[Hashable]) -> float:
    """100 (1 - Levenshtein distance of the label runs / the longer count of runs)."""
    a = [s.label for s in segments(reference)]
    b = [s.label for s in segments(found)]
    if not a and not b:
        return 100.0
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return 100 * (1 - row[-1] / max(len(a), len(b)))


def f1_at(k: float, reference: Sequence[Hashable], found: Sequence[Hashable]) -> float:
    """Segmental F1 at intersection over union ``k`` (0..1), in per cent."""
    return 100 * segment_score(k, reference, found).f1


def segment_score(k: float, reference: Sequence[Hashable], found: Sequence[Hashable]) -> Score:
    """The counts behind ``f1_at``; every found run takes its best reference run of the same label."""
    there, here = segments(reference), segments(found)
    used: set[int] = set()
    hits = 0
    for run in here:
        ious = [_iou(run, s) if s.label == run.label else 0.0 for s in there]
        best = max(range(len(there)), key=ious.__getitem__, default=-1)
        if best >= 0 and ious[best] >= k and ious[best] > 0 and best not in used:
            used.add(best)
            hits += 1
    return Score(hits, len(here) - hits, len(there) - hits)


def _iou(a: Segment, b: Segment) -> float:
    common = max(0, min(a.stop, b.stop) - max(a.start, b.start))
    return common / (max(a.stop, b.stop) - min(a.start, b.start)) if common else 0.0


def relaxed_accuracy(
    reference: Sequence[Hashable],
    found: Sequence[Hashable],
    order: Sequence[Hashable],
    slack_frames: int,
) -> float:
    """Accuracy that forgives a border up to ``slack_frames`` off, in per cent.

    In the first ``slack_frames`` of a reference run the label before it in ``order`` passes (the
    change was seen late), in the last the label after it (seen early). This is the rule of the
    M2CAI workflow challenge as it was meant; some scripts apply the second mask to the head of the
    run, so figures from different scripts do not compare.
    """
    place = {label: n for n, label in enumerate(order)}
    right = [a == b for a, b in zip(reference, found, strict=True)]
    for run in segments(reference):
        for n in range(run.start, run.stop):
            off = place.get(found[n], -9) - place[run.label]
            late = off == -1 and n < run.start + slack_frames
            early = off == 1 and n >= run.stop - slack_frames
            right[n] = right[n] or late or early
    return 100 * sum(right) / len(right)
