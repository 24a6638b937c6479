"""What is in a recording: its parts, scene cuts, dull stretches and holes, as text or JSON.

All times are recording time: seconds along the parts laid end to end. The pictures of all parts
run through one reader, so a jump from one part to the next is found like any other.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from pathlib import Path

from chapters.errors import RecordingError
from chapters.likeness import Grey
from chapters.media.probe import Probe, probe
from chapters.media.small import Tint
from chapters.media.survey import survey
from chapters.motion import Moves, moves_of
from chapters.proposals import Change, StepProposal, changes, propose
from chapters.scenecuts import SceneCut, find_cuts
from chapters.signals import SignalReader
from chapters.spans import Span
from chapters.stillness import StillStretch, find_still
from chapters.times import clock_text, duration_text, round_half_up

#: Called with seconds read and seconds in all.
Progress = Callable[[Fraction, Fraction], None]
#: A small picture: time in the part, luma, mean colour differences.
Small = tuple[Fraction, Grey, Tint]
#: (path, probe) -> the small pictures, in order.
Pictures = Callable[[Path, Probe], Iterable[Small]]
#: (path, probe) -> where somebody speaks, in part time.
Listen = Callable[[Path, Probe], Sequence[Span]]

#: What a quick look does not look for.
NOT_LOOKED_FOR = "Not looked for: jumps within one view, dull stretches, speech, changes, steps"

#: A weaker change than this stands in the JSON only.
LEAST_TOLD = 0.15


@dataclass(frozen=True, slots=True)
class FoundPart:
    """One file: where it starts in recording time, how long it is, how many frames it holds."""

    file: str
    start: Fraction
    length: Fraction
    frames: int
    notices: tuple[str, ...] = ()

    @property
    def end(self) -> Fraction:
        """Where the next part begins."""
        return self.start + self.length


@dataclass(frozen=True, slots=True)
class Found:
    """What ``find`` found, in recording time and in order.

    ``changes`` are the places where a step may begin and why, ``proposals`` a draft step list of
    them; with earlier cases of the procedure use ``fitsteps.fit_steps`` on the changes.
    ``speech`` is where somebody speaks, where it was listened for. ``moves`` is how much the view
    changes, see ``Moves``. A ``quick`` finding holds parts, holes and the cuts between views alone.
    """

    parts: tuple[FoundPart, ...]
    scene_cuts: tuple[SceneCut, ...]
    still: tuple[StillStretch, ...]
    holes: tuple[Span, ...]
    changes: tuple[Change, ...] = ()
    proposals: tuple[StepProposal, ...] = ()
    speech: tuple[Span, ...] = ()
    moves: Moves = field(default_factory=Moves)
    quick: bool = False

    @property
    def length(self) -> Fraction:
        """Seconds of recording in all parts."""
        return self.parts[-1].end if self.parts else Fraction(0)


def find(
    paths: Sequence[Path],
    pictures: Pictures = survey,
    progress: Progress | None = None,
    listen: Listen | None = None,
) -> Found:
    """Read every picture of the recordings, laid end to end in the order given, once.

    ``listen`` hears where somebody speaks, for the proposed steps (None: nobody listens). Memory
    does not grow with their length. Raises RecordingError for the first file that cannot serve,
    before any picture is read, and for one of which no picture can be decoded.
    """
    return _find(_probed(paths), pictures, progress, listen)


def find_quickly(paths: Sequence[Path], progress: Progress | None = None) -> Found:
    """Only cuts from one view to another, in a third of the time where the view moves.

    Groups of pictures that begin and end with one view are not decoded, so nothing within a view
    is told, and no cut whose two frames were not both seen. Raises as ``find`` does.
    """
    probes = _probed(paths)
    found = _find(probes, partial(survey, care="hard"), progress, None)
    seen = [cut for cut in found.scene_cuts if _seen(cut, found.parts, probes)]
    return Found(found.parts, tuple(seen), (), found.holes, quick=True)


def _seen(cut: SceneCut, parts: Sequence[FoundPart], probes: Sequence[tuple[Path, Probe]]) -> bool:
    """Whether an abrupt cut lies between two pictures that follow one another in the recording."""
    if cut.begins is None or cut.kind in ("fade", "dissolve"):
        return True
    index = bisect_right([part.start for part in parts], cut.at) - 1
    line, start = probes[index][1].timeline, parts[index].start
    shown = line.index_at(cut.at - start)
    return shown == 0 or cut.begins >= start + line.seconds(int(line.shown[shown - 1]))


def _probed(paths: Sequence[Path]) -> list[tuple[Path, Probe]]:
    return [(path, probe(path, path.name)) for path in paths]


def _find(
    probes: Sequence[tuple[Path, Probe]],
    pictures: Pictures,
    progress: Progress | None,
    listen: Listen | None,
) -> Found:
    whole = sum((p.length for _, p in probes), Fraction(0))
    reader = SignalReader()
    parts: list[FoundPart] = []
    holes: list[Span] = []
    speech: list[Span] = []
    start = Fraction(0)
    for path, facts in probes:
        frames, keys = 0, frozenset(facts.key_times)
        for time, luma, tint in _in_order(pictures(path, facts)):
            reader.feed(start + time, luma, tint, time in keys)
            frames += 1
            if progress is not None and frames % 50 == 0:
                progress(start + time, whole)
        if frames == 0:
            raise RecordingError(
                path.name, "no picture can be decoded", "record it again or leave it out"
            )
        parts.append(
            FoundPart(path.name, start, facts.length, facts.frame_count, tuple(facts.notices))
        )
        holes.extend(_moved(facts.gaps, start))
        if listen is not None:
            speech.extend(_moved(listen(path, facts), start))
        start += facts.length
    signals = reader.finish(start)
    cuts = find_cuts(signals)
    still = find_still(signals, cuts=cuts)
    begins = [part.start for part in parts]
    found = changes(signals.marks, cuts, still, begins, speech, holes)
    return Found(
        tuple(parts),
        cuts,
        still,
        tuple(holes),
        found,
        propose(found, start, still),
        tuple(speech),
        moves_of(signals.motions),
    )


def _moved(spans: Iterable[Span], by: Fraction) -> list[Span]:
    """From part time to recording time."""
    return [Span(span.start + by, span.end + by) for span in spans]


def _in_order(pictures: Iterable[Small]) -> Iterator[Small]:
    """Only pictures that come after the one before: a damaged file may repeat a time stamp."""
    last: Fraction | None = None
    for small in pictures:
        if last is None or small[0] > last:
            yield small
            last = small[0]


def found_json(found: Found) -> str:
    """The design's JSON: times in seconds of recording time, to the microsecond."""
    data = {
        "parts": [
            {
                "file": part.file,
                "from": _seconds(part.start),
                "to": _seconds(part.end),
                "frames": part.frames,
                "notices": list(part.notices),
            }
            for part in found.parts
        ],
        "scene_cuts": [
            {"at": _seconds(cut.at), "kind": cut.kind, "confidence": cut.confidence}
            for cut in found.scene_cuts
        ],
        "still": [
            {
                "from": _seconds(stretch.span.start),
                "to": _seconds(stretch.span.end),
                "kind": stretch.kind,
                "strength": stretch.strength,
            }
            for stretch in found.still
        ],
        "holes": [_from_to(hole) for hole in found.holes],
        "quick": found.quick,
        "speech": [_from_to(span) for span in found.speech],
        "changes": [
            {"at": _seconds(c.at), "strength": round(c.strength, 3), "reason": c.reason}
            for c in found.changes
        ],
        "steps": [
            _from_to(step.span) | {"show": step.show, "reason": step.reason, "why": step.why}
            for step in found.proposals
        ],
    }
    if found.quick:  # an empty list would say that there is none
        for name in ("still", "speech", "changes", "steps"):
            del data[name]
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"


def _from_to(span: Span) -> dict[str, float | str]:
    return {"from": _seconds(span.start), "to": _seconds(span.end)}


def found_text(found: Found) -> str:
    """The same as a table to read."""
    lines: list[str] = []
    count = len(found.parts)
    lines.append(f"{count} part{'s' * (count != 1)}, {duration_text(found.length)} in all")
    width = max((len(part.file) for part in found.parts), default=0)
    for number, part in enumerate(found.parts, 1):
        lines.append(
            f"  {number}  {part.file:<{width}}  {_clock(part.start)} to {_clock(part.end)}"
            f"  {part.frames} frames"
        )
        lines.extend(f"     {notice}" for notice in part.notices)
    lines.extend(_section("Scene cuts", [_cut_line(cut) for cut in found.scene_cuts]))
    if not found.quick:
        lines.extend(_section("Dull stretches", [_still_line(s) for s in found.still]))
    holes = [f"{_clock(h.start)} to {_clock(h.end)}  no pictures" for h in found.holes]
    if holes:
        lines.extend(_section("Holes in the time stamps", holes))
    if found.quick:
        return "\n".join([*lines, "", NOT_LOOKED_FOR]) + "\n"
    if found.speech:
        spoken = [f"{_short(s.start)} to {_short(s.end)}  somebody speaks" for s in found.speech]
        lines.extend(_section("Speech", spoken))
    told = [change for change in found.changes if change.strength >= LEAST_TOLD]
    lines.extend(_section("Changes", [_change_line(change) for change in told]))
    steps = [_step_line(n, step) for n, step in enumerate(found.proposals, 1)]
    lines.extend(_section("Proposed steps; teachcut start drafts a case file of them", steps))
    return "\n".join(lines) + "\n"


def _section(title: str, rows: Sequence[str]) -> list[str]:
    return ["", title, *(f"  {row}" for row in rows or ["none"])]


def _cut_line(cut: SceneCut) -> str:
    return f"{_clock(cut.at)}  {cut.kind:<8} confidence {cut.confidence:.2f}"


def _still_line(stretch: StillStretch) -> str:
    span = stretch.span
    return (
        f"{_short(span.start)} to {_short(span.end)}  {duration_text(span.length):>6}"
        f"  {stretch.kind:<8} strength {stretch.strength:.2f}"
    )


def _change_line(change: Change) -> str:
    return f"{_short(change.at)}  strength {change.strength:.2f}  {change.reason}"


def _step_line(number: int, step: StepProposal) -> str:
    lasts = duration_text(step.span.length)
    why = f" ({step.why})" if step.why not in step.reason else ""
    return f"{number:>2}  {_short(step.span.start)}  {lasts:>6}  {step.show:<4}  {step.reason}{why}"


def _short(seconds: Fraction) -> str:
    """What is not known to the frame, in tenths of a second."""
    tenths = round_half_up(seconds * 10)
    return f"{clock_text(Fraction(tenths // 10))}.{tenths % 10}"


def _clock(seconds: Fraction) -> str:
    ms = round_half_up(seconds * 1000)
    return f"{clock_text(Fraction(ms // 1000))}.{ms % 1000:03d}"


def _seconds(seconds: Fraction) -> float:
    return round_half_up(seconds * 1_000_000) / 1_000_000
