"""What was found in one labelled recording after another, counted: cuts, false alarms, trust.

Two classes of abrupt cut: ``hard`` is a change of view, ``jump`` a jump in time within one view. A
false one is of the class of the kind it was reported as. Gradual cuts are matched by the TRECVID
rule (see shot_scoring), abrupt ones at tolerance 0 unless the name says else. Whatever lies in a
stretch that its label calls neutral is neither asked for nor held against the finder.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from tests.bench.shot_scoring import Score, Transition, match_boundaries, match_trecvid

GRADUAL = ("dissolve", "fade")
#: So many frames before and after an event a report still belongs to it.
SLACK_FRAMES = 3
#: Upper ends of the classes of flash length, in frames.
FLASH_CLASSES = (1, 3, 8, 30, 120, 600)
#: Lower ends of the classes of confidence.
TRUST_CLASSES = (0.5, 0.6, 0.7, 0.8, 0.9)

NOTHING = Score(0, 0, 0)


@dataclass(frozen=True)
class Reported:
    """One cut as it was reported; ``kind`` ``unknown`` may be of any class."""

    where: Transition
    kind: str
    confidence: float = 1.0


@dataclass
class Result:
    """Counts over all recordings added.

    ``events`` and ``alarms`` count what is no cut, by kind, and how many of them were reported;
    flashes once more by length, colour and area. ``trust`` counts, by class of confidence, all that
    was reported and what of it was right.
    """

    hard: Score = NOTHING
    jump: Score = NOTHING
    abrupt: Score = NOTHING
    abrupt_2: Score = NOTHING
    gradual: Score = NOTHING
    events: Counter[str] = field(default_factory=Counter)
    alarms: Counter[str] = field(default_factory=Counter)
    trust: Counter[float] = field(default_factory=Counter)
    right: Counter[float] = field(default_factory=Counter)
    frames: int = 0

    def add(self, entry: dict[str, Any], found: Sequence[Reported]) -> None:
        """Score one recording against its entry in the corpus' labels."""
        self.frames += entry["frames"]
        labels = [(Transition(s["last"], s["first"]), s["kind"]) for s in entry["labels"]]
        abrupt = sorted((t, k) for t, k in labels if k not in GRADUAL)
        slow = sorted(t for t, k in labels if k in GRADUAL)
        kept = [f for f in found if not _neutral(f.where, entry)]
        quick = [f for f in kept if f.kind not in GRADUAL or f.where.is_cut]
        quick = [f for f in quick if f.kind != "unknown" or not _inside(f.where, slow)]
        quick.sort(key=lambda f: f.where)
        melts = sorted((f for f in kept if f not in quick and f.kind in GRADUAL), key=_place)
        there, here = [t for t, _ in abrupt], [f.where for f in quick]

        matched = match_boundaries(there, here, 0)
        hit = {j for _, j in matched.pairs}
        extra = [f for j, f in enumerate(quick) if j not in hit]
        self._classes([abrupt[i][1] for i, _ in matched.pairs], [k for _, k in abrupt], extra)
        self.abrupt += matched.score
        self.abrupt_2 += match_boundaries(there, here, 2).score

        melted = match_trecvid(slow, [f.where for f in melts])
        self.gradual += melted.score
        also = {j for _, j in melted.pairs}
        extra += [f for j, f in enumerate(melts) if j not in also]
        for f in kept:
            level = max((t for t in TRUST_CLASSES if f.confidence >= t), default=0.0)
            self.trust[level] += 1
            self.right[level] += f not in extra
        self._alarms(entry, extra)

    def _classes(self, hits: list[str], there: list[str], extra: list[Reported]) -> None:
        """Hits, false and missed of hard cuts and of jumps apart."""
        hit, asked = Counter(map(_class, hits)), Counter(map(_class, there))
        false = Counter("jump" if f.kind == "stop" else "hard" for f in extra)
        self.hard += Score(hit["hard"], false["hard"], asked["hard"] - hit["hard"])
        self.jump += Score(hit["jump"], false["jump"], asked["jump"] - hit["jump"])

    def _alarms(self, entry: dict[str, Any], extra: list[Reported]) -> None:
        for event in entry["events"]:
            low, high = event["start"] - SLACK_FRAMES, event["end"] + SLACK_FRAMES
            told = any(low <= f.where.first and f.where.last <= high for f in extra)
            for name in event_names(event):
                self.events[name] += 1
                self.alarms[name] += told


def event_names(event: dict[str, Any]) -> list[str]:
    """The rows of the table an event is counted in: its kind, a flash also by what it is like."""
    kind = str(event["kind"])
    if kind != "flash":
        return [kind]
    colour, _, area = str(event["detail"]).rpartition(" ")
    length = event["end"] - event["start"]
    low = 1
    for high in FLASH_CLASSES:
        if length <= high:
            break
        low = high + 1
    span = f"{high:3}" if low == high else f"{low:3} to {high}"
    return [kind, f"  of {span} frames", f"  {colour}", f"  over {area}"]


def _place(found: Reported) -> Transition:
    return found.where


def _class(kind: str) -> str:
    """A label's class: ``stop`` is a jump in one view after a frozen picture."""
    return "jump" if kind in ("jump", "stop") else "hard"


def _neutral(t: Transition, entry: dict[str, Any]) -> bool:
    """Whether a report lies in a neutral stretch, and not on a label at its border."""
    if any(t.first == label["first"] for label in entry["labels"]):
        return False
    return any(a - 1 <= t.first <= b + 2 for a, b in entry["neutral"])


def _inside(t: Transition, slow: Sequence[Transition]) -> bool:
    return any(s.last <= t.first <= s.first for s in slow)
