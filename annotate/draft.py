"""A drafted case file: what was found in a recording, written out for an educator to go on with.

The draft reads without a mistake as it stands. Steps are proposed where the recording itself has
joints: new files, recorder stops, scene cuts, and the edges of long dull stretches. Every finding
stands as a remark under the step in which it falls. Nothing here opens a file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType
from typing import Final, Protocol

from chapters.errors import RecordingError
from chapters.fieldtext import FieldTextError, file_value, time_text
from chapters.scenecuts import SceneCut
from chapters.spans import Span, clamp, merge, total
from chapters.stillness import StillStretch
from chapters.times import duration_text

#: More steps than this are no list that one takes in at a glance (common practice: about ten).
MOST_STEPS = 12
#: A proposed step is at least this long, and at least this share of the recording.
SHORTEST_STEP_S = Fraction(5)
SHORTEST_SHARE = Fraction(1, 60)
#: A dull stretch from this length on is proposed as a step of its own.
LONG_DULL_S = Fraction(20)
#: A step of which this share is dull is proposed as fast.
DULL_SHARE = Fraction(4, 5)
#: Remarks under one step; the rest is counted.
MOST_REMARKS = 8
#: Files' clocks count whole seconds, so a smaller gap between two files is none.
SMALLEST_GAP_S = Fraction(2)

_CUT_WORDS: Final = MappingProxyType(
    {
        "cut": "another view",
        "swap": "the view is swapped",
        "stop": "the recorder was stopped; if you know for how long, write it under away",
    }
)
_DULL_WORDS: Final = MappingProxyType(
    {
        "still": "nothing moves",
        "repeats": "the same small movement goes on",
        "black": "the picture is black",
        "blank": "there is nothing to see",
        "blurred": "out of focus",
    }
)


class DraftPart(Protocol):
    """One file of the recording: its name as the case file will write it, and where it lies."""

    @property
    def file(self) -> str: ...
    @property
    def start(self) -> Fraction: ...
    @property
    def length(self) -> Fraction: ...
    @property
    def notices(self) -> tuple[str, ...]: ...


class Findings(Protocol):
    """What was found in the recording, in recording time (see ``find.Found``)."""

    @property
    def parts(self) -> Sequence[DraftPart]: ...
    @property
    def scene_cuts(self) -> Sequence[SceneCut]: ...
    @property
    def still(self) -> Sequence[StillStretch]: ...
    @property
    def holes(self) -> Sequence[Span]: ...


@dataclass(frozen=True, slots=True)
class Proposal:
    """A step to propose: where it lies in recording time, and whether most of it is dull."""

    span: Span
    dull: bool


def propose_steps(found: Findings) -> tuple[Proposal, ...]:
    """At most MOST_STEPS steps that cover the whole recording, cut at its strongest joints.

    A new file weighs most, then a hole in the time stamps, a scene cut by its confidence, and the
    edges of a long dull stretch. A joint too near to a stronger one, or to either end, is no step.
    """
    length = _length(found)
    shortest = max(SHORTEST_STEP_S, length * SHORTEST_SHARE)
    edges = [Fraction(0), length]
    for _, at in sorted(_joints(found)):
        if len(edges) > MOST_STEPS:
            break
        if all(abs(at - edge) >= shortest for edge in edges):
            edges.append(at)
    edges.sort()
    dull = merge(stretch.span for stretch in found.still)
    proposals = []
    for start, end in pairwise(edges):
        span = Span(start, end)
        inside = total(part for s in dull if (part := clamp(s, span)) is not None)
        proposals.append(Proposal(span, dull=inside >= DULL_SHARE * span.length > 0))
    return tuple(proposals)


def _joints(found: Findings) -> list[tuple[Fraction, Fraction]]:
    """(rank, time) of every place where a step may begin; the lowest rank is the strongest."""
    ranked = [(Fraction(0), part.start) for part in found.parts]
    ranked += [(Fraction(1), hole.end) for hole in found.holes]
    ranked += [(3 - Fraction(float(cut.confidence)), Fraction(cut.at)) for cut in found.scene_cuts]
    for stretch in found.still:
        if stretch.span.length >= LONG_DULL_S:
            rank = 3 + LONG_DULL_S / stretch.span.length
            ranked += [(rank, stretch.span.start), (rank, stretch.span.end)]
    return [(rank, _written(at)) for rank, at in ranked]


def _length(found: Findings) -> Fraction:
    last = found.parts[-1]
    return last.start + last.length


def _written(at: Fraction) -> Fraction:
    """The time as the draft writes it: whole milliseconds, rounded up.

    Rounded down it would lie on the frame before the joint.
    """
    return Fraction(-(-at * 1000 // 1), 1000)


def draft_case(
    found: Findings,
    *,
    case_id: str = "my-case",
    file: str = "case.yaml",
    clock_gaps: Sequence[Fraction] = (),
) -> str:
    """The text of a case file for the recording ``found``.

    ``file`` is the name it will have, for the commands in it. ``clock_gaps[i]`` is the time by
    which part ``i`` began after the part before it had ended, by the files' own clocks, seconds;
    it is offered as a remark, for such clocks are often wrong. Raises RecordingError for a file
    name that a case file cannot hold.
    """
    blocks = [
        _HEAD.format(file=_argument(file), case_id=case_id),
        _recordings(found, clock_gaps),
        _MIDDLE,
        *(_step(number, p, found) for number, p in enumerate(propose_steps(found), 1)),
    ]
    return "\n".join(blocks)


_HEAD: Final = """\
# Case file for teachcut: which recording, which steps, and how each is shown.
# Whatever follows a # is a remark. A field behind a # is not used; delete the "# " to use it.
# Times are h:mm:ss, m:ss or seconds, counted from the start of the first recording.
# Once the steps are right:
#
#     teachcut check {file}
#     teachcut make {file}

case: {case_id}  # short name, used for folders and links: small letters, digits and -
title: "Title of the case"

# patient, or simulated (a practice tooth, a model, a simulator). A patient's film is marked
# NOT FOR PUBLICATION until a consent record is named: its number in your files, never a name.
subject: patient
# consent: {{reference: C-0017, covers: teaching in study clubs}}

# tooth: {{fdi: 36}}  # ISO 3950; the same tooth is {{universal: 19}}
# procedure: Perforation repair
# presenter: Who teaches from this case
# tags: [perforation, bench]
# language: en  # of the titles and notes
"""

_MIDDLE: Final = """\
# Time that passed in the room while nothing was recorded, such as a check radiograph.
# The clock on the film moves on by it and says why.
# away:
#   - {at: 12:40, lasted: 1:00, reason: check radiograph}

# How long the film should be, cards included. Steps with show: fast take the speed that fits.
# length: 6:00

# The steps, in the order of the recording. Each runs until the next one begins. For a step:
#   title   stands on the film and in the chapter list
#   from    where it starts;  to: where it ends, if the rest up to the next step is to be left out
#   show    real          as recorded
#           4x            four times as fast, or any other figure
#           fast          8x, or what the wished length asks for; fast up to 12x sets the limit
#           skip          left out; the clock still counts it
#   expect  how long the step usually takes; the report sets it against how long it took
#   note    what to look at, in a sentence or two; it becomes the captions
#   stills  pictures to lay in, such as [{file: radiograph.png, at: 12:40, caption: Check radiograph}]
# The steps below are only proposals. Move, merge and name them.
steps:"""


def _argument(file: str) -> str:
    """A file name as one argument of a command line, on any system."""
    name = _remark(file)
    return f'"{name}"' if " " in name else name


def _recordings(found: Findings, clock_gaps: Sequence[Fraction]) -> str:
    lines = ["recordings:"]
    for i, part in enumerate(found.parts):
        lines.append(f"  - file: {_quoted_file(part.file)}  # {_long(part.length)}")
        gap = clock_gaps[i] if 0 < i < len(clock_gaps) else Fraction(0)
        if gap >= SMALLEST_GAP_S:
            seconds = duration_text(gap)
            lines.append(
                f"    # away_before: {seconds}  # between the two files, by their own clocks"
            )
        lines += [f"    # {_remark(notice)}" for notice in part.notices]
    return "\n".join([*lines, ""])


def _quoted_file(name: str) -> str:
    try:
        file = file_value(name)
    except FieldTextError as error:
        found, advice = error.args
        raise RecordingError(name, found, advice) from None
    return "'" + file.replace("'", "''") + "'"


def _long(seconds: Fraction) -> str:
    return f"{duration_text(seconds)} long" if seconds >= 1 else "less than a second long"


def _step(number: int, proposal: Proposal, found: Findings) -> str:
    lines = [
        f"  - id: step-{number}",
        f'    title: "Step {number}"',
        f"    from: {time_text(proposal.span.start)}",
        f"    show: {'fast' if proposal.dull else 'real'}",
    ]
    if number == 1:
        lines += ["    # expect: 1:30..3:00", '    # note: "What to look at in this step."']
    remarks = _remarks(proposal.span, found)
    lines += [f"    # {text}" for text in remarks[:MOST_REMARKS]]
    if len(remarks) > MOST_REMARKS:
        lines.append(f"    # and {len(remarks) - MOST_REMARKS} more; teachcut find lists them all")
    return "\n".join([*lines, ""])


def _remarks(step: Span, found: Findings) -> list[str]:
    """What was found within the step, in order of time."""
    timed: list[tuple[Fraction, str]] = []
    for part in found.parts[1:]:
        timed.append((part.start, f"{_remark(part.file)} begins"))
    for hole in found.holes:
        timed.append((hole.start, f"no pictures until {time_text(_written(hole.end))}"))
    for cut in found.scene_cuts:
        what = _CUT_WORDS.get(cut.kind, _remark(cut.kind))
        timed.append((cut.at, f"{_sure(cut.confidence)}scene cut, {what}"))
    for stretch in found.still:
        what = _DULL_WORDS.get(stretch.kind, _remark(stretch.kind))
        timed.append((stretch.span.start, f"{what} until {time_text(_written(stretch.span.end))}"))
    placed = sorted((_written(at), text) for at, text in timed)
    return [f"{time_text(at)}  {text}" for at, text in placed if step.holds(at)]


def _sure(confidence: float) -> str:
    if confidence >= 0.75:
        return ""
    return "likely a " if confidence >= 0.4 else "perhaps a "


def _remark(text: str) -> str:
    """Text that stays on its line: a remark must not run on into the file."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
