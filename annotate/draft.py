"""A drafted case file: what was found in a recording, written out for an educator to go on with.

The draft reads without a mistake as it stands. Each proposed step says why it begins there, and
why it is not shown as recorded where it is not. Every finding stands as a remark under the step in
which it falls. Nothing here opens a file.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from types import MappingProxyType
from typing import Final, Protocol

from chapters.errors import RecordingError
from chapters.fieldtext import FieldTextError, file_value, time_text
from chapters.proposals import DULL_WORDS, StepProposal
from chapters.scenecuts import SceneCut
from chapters.spans import Span
from chapters.stillness import StillStretch
from chapters.times import duration_text

#: Remarks under one step; the rest is counted.
MOST_REMARKS = 8
#: More unsure scene cuts than this in one step are told together.
MOST_UNSURE = 2
#: Files' clocks count whole seconds, so a smaller gap between two files is none.
SMALLEST_GAP_S = Fraction(2)

_CUT_WORDS: Final = MappingProxyType(
    {
        "cut": "another view",
        "swap": "the view is swapped",
        "stop": "the recorder was stopped; if you know for how long, write it under away",
    }
)
#: What a step's own line has said already is not said again below it: borders this close are one.
_ONE_PLACE_S = Fraction(1)
#: A cut from this confidence on is told without a doubt.
_SURE = 0.75


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
    @property
    def proposals(self) -> Sequence[StepProposal]: ...


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
    procedure: str = "",
) -> str:
    """The text of a case file for the recording ``found``.

    ``procedure`` is that of the earlier cases whose steps were laid over it. ``file`` is the name it will have, for the commands in it. ``clock_gaps[i]`` is the time by
    which part ``i`` began after the part before it had ended, by the files' own clocks, seconds;
    it is offered as a remark, for such clocks are often wrong. Raises RecordingError for a file
    name that a case file cannot hold.
    """
    blocks = [
        _HEAD.format(file=_argument(file), case_id=case_id, procedure=_procedure(procedure)),
        _recordings(found, clock_gaps),
        _MIDDLE,
        *(_step(number, p, found) for number, p in enumerate(found.proposals, 1)),
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
{procedure}
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


def _procedure(name: str) -> str:
    name = _remark(name)
    return f"procedure: {_quoted(name)}" if name else "# procedure: Perforation repair"


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


def _step(number: int, proposal: StepProposal, found: Findings) -> str:
    start = _written(proposal.span.start)
    title = _remark(proposal.title) or f"Step {number}"
    lasts = _remark(f"{_long(proposal.span.length)}; {proposal.reason}")
    lines = [f"  - id: {proposal.id or f'step-{number}'}", f"    title: {_quoted(title)}"]
    if proposal.phase:
        lines.append(f"    phase: {_quoted(_remark(proposal.phase))}")
    lines += [
        f"    from: {time_text(start)}  # {lasts}",
        f"    show: {proposal.show}" + (f"  # {_remark(proposal.why)}" if proposal.why else ""),
    ]
    if proposal.expect:
        lines.append(f"    expect: {proposal.expect}")
    elif number == 1:
        lines.append("    # expect: 1:30..3:00")
    if number == 1:
        lines.append('    # note: "What to look at in this step."')
    remarks = _remarks(proposal.span, found)
    lines += [f"    # {text}" for text in remarks[:MOST_REMARKS]]
    if len(remarks) > MOST_REMARKS:
        lines.append(f"    # and {len(remarks) - MOST_REMARKS} more; teachcut find lists them all")
    return "\n".join([*lines, ""])


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'" if '"' in text or "\\" in text else f'"{text}"'


def _remarks(step: Span, found: Findings) -> list[str]:
    """What was found within the step, in order of time; not what its own lines say."""
    timed: list[tuple[Fraction, str]] = []
    for part in found.parts[1:]:
        timed.append((part.start, f"{_remark(part.file)} begins"))
    for hole in found.holes:
        timed.append((hole.start, f"no pictures until {time_text(_written(hole.end))}"))
    unsure = [c.at for c in found.scene_cuts if c.confidence < _SURE and step.holds(c.at)]
    many = len(unsure) > MOST_UNSURE
    if many:
        last = time_text(_tenth(unsure[-1]))
        told = f"{len(unsure)} places until {last} that may be scene cuts; teachcut find lists them"
        timed.append((unsure[0], told))
    for cut in found.scene_cuts:
        if many and cut.at in unsure:
            continue
        what = _CUT_WORDS.get(cut.kind, _remark(cut.kind))
        if cut.at != step.start or cut.kind == "stop" or cut.confidence < _SURE:
            timed.append((cut.at, f"{_sure(cut.confidence)}scene cut, {what}"))
    for stretch in found.still:
        what = DULL_WORDS.get(stretch.kind, _remark(stretch.kind))
        if not _is_all_of(stretch.span, step):
            until = time_text(_tenth(stretch.span.end))
            timed.append((_tenth(stretch.span.start), f"{what} until {until}"))
    placed = sorted((_written(at), text) for at, text in timed)
    return [f"{time_text(at)}  {text}" for at, text in placed if step.holds(at)]


def _is_all_of(span: Span, step: Span) -> bool:
    return abs(span.start - step.start) < _ONE_PLACE_S and abs(span.end - step.end) < _ONE_PLACE_S


def _tenth(at: Fraction) -> Fraction:
    """What was not found by the frame is written in tenths of a second."""
    return Fraction(round(at * 10), 10)


def _sure(confidence: float) -> str:
    if confidence >= _SURE:
        return ""
    return "likely a " if confidence >= 0.4 else "perhaps a "


def _remark(text: str) -> str:
    """Text that stays on its line: a remark must not run on into the file."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
