"""The narration of a case listened to: every take checked, measured and cut to what is laid.

Each take stands alone: a lost or bad one is named and recorded again by itself. One talk spoken
over a whole cut becomes takes by being split at its pauses (``sound.takes.split_talk``).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from annotate.progress import Report
from annotate.sound.faults import Fault
from annotate.sound.quality import TakeReport
from annotate.sound.takecheck import check_file
from annotate.sound.takes import (
    SpokenTake,
    StepPlace,
    pace_wpm,
    split_talk,
    take_sound,
)
from chapters.case import Case, Late, Talk
from chapters.errors import InputError, TeachcutError
from chapters.spans import Span
from chapters.textfile import read_text_file
from chapters.timefile import time_map_from_values
from chapters.times import short_clock_text

#: A script that ends so is a text file of that name, not the words themselves.
SCRIPT_SUFFIX = ".txt"


@dataclass(frozen=True)
class Heard:
    """One sound file as it was heard: its report and, for a step's take, the script meant for it."""

    file: str
    path: Path
    report: TakeReport
    script: str = ""

    @property
    def voice_s(self) -> float:
        """Seconds of voice."""
        return sum(end - start for start, end in self.report.voice_s)


@dataclass(frozen=True)
class Narration:
    """All takes of a case. ``files`` are (path, name as written) of every file it rests on.

    ``by_step`` gives each step's own take; ``talk`` is the one narration over the whole cut.
    """

    takes: tuple[SpokenTake, ...] = ()
    heard: tuple[Heard, ...] = ()
    pace: Fraction = Fraction(150)
    notices: tuple[str, ...] = ()
    files: tuple[tuple[Path, str], ...] = ()
    by_step: Mapping[str, Heard] = field(default_factory=dict)
    talk: Heard | None = None

    def heard_over(self, step: str) -> Heard | None:
        """What is heard over a step: its own take, else its piece of the talk."""
        return self.by_step.get(step, self.talk)

    @property
    def paths(self) -> dict[str, Path]:
        """Where each sound file is, by its name in the case file."""
        return {h.file: h.path for h in self.heard}


def listen(case: Case, find_file: Callable[[str], Path], report: Report) -> Narration:
    """Hear every take and the talk of a case; ``find_file`` gives a named file's path.

    Raises InputError with a sentence for each file that cannot be used.
    """
    wanted = [(t.file, t.script) for t in case.narration]
    wanted += [(case.talk.file, case.talk.script)] if case.talk is not None else []
    if not wanted:
        return Narration()
    heard: list[Heard] = []
    faults: list[str] = []
    for number, (file, script) in enumerate(wanted):
        report("listening to the narration", number, len(wanted))
        try:
            heard.append(hear(find_file(file), file, script_text(script, find_file)))
        except TeachcutError as error:
            faults.append(str(error))
    if faults:
        raise InputError("\n".join(faults))
    pace = pace_wpm([(len(h.script.split()), h.voice_s) for h in heard if h.script])
    takes = [
        SpokenTake(t.step, t.file, _sound(h), len(h.script.split()), t.late)
        for t, h in zip(case.narration, heard, strict=False)
    ]
    notices = [line for h in heard for line in told(h)]
    files = [(h.path, h.file) for h in heard]
    files += [(find_file(s), s) for _, s in wanted if is_file_name(s)]
    if case.talk is not None:
        pieces, remarks = _talk_pieces(case.talk, heard[-1], find_file)
        spoken = {take.step for take in takes}
        takes += [piece for piece in pieces if piece.step not in spoken]
        notices += remarks
        files.append((find_file(case.talk.cut), case.talk.cut))
    own = {t.step: h for t, h in zip(case.narration, heard, strict=False)}
    talk = heard[-1] if case.talk is not None else None
    return Narration(
        tuple(takes), tuple(heard), pace, tuple(notices), tuple(files), by_step=own, talk=talk
    )


def hear(path: Path, shown_as: str, script: str = "") -> Heard:
    """Read one sound file through and report on it. Raises RecordingError."""
    return Heard(shown_as, path, check_file(path, shown_as), script)


def _sound(heard: Heard) -> Span:
    length = Fraction(round(heard.report.length_s * 48000), 48000)
    return take_sound(heard.report.voice_s, length)


def told(heard: Heard, faults: Sequence[Fault] | None = None) -> list[str]:
    """A sentence for each finding (default: those of the take check), with the file and the place."""
    return [
        f"{heard.file} at {short_clock_text(Fraction(f.start_s))}: {f.sentence}"
        for f in (heard.report.faults if faults is None else faults)
    ]


def is_file_name(script: str) -> bool:
    """Whether a script is named by a file instead of written out."""
    return script.endswith(SCRIPT_SUFFIX) and "\n" not in script and len(script.split()) == 1


def script_text(script: str, find_file: Callable[[str], Path]) -> str:
    """The words of a script. Raises CaseFileError where its file cannot be read as text.

    Lines at the top of a file that begin with ``# `` are remarks.
    """
    if not is_file_name(script):
        return script
    lines = read_text_file(find_file(script), script).splitlines(keepends=True)
    while lines and lines[0].startswith("# "):
        del lines[0]
    return "".join(lines)


def _talk_pieces(
    talk: Talk, heard: Heard, find_file: Callable[[str], Path]
) -> tuple[tuple[SpokenTake, ...], tuple[str, ...]]:
    places = _kept_places(find_file(talk.cut), talk.cut)
    length = Fraction(round(heard.report.length_s * 48000), 48000)
    late: Late = talk.late
    split = split_talk(talk.file, heard.report.voice_s, places, length, late)
    return split.pieces, split.notices


def _kept_places(path: Path, shown_as: str) -> Sequence[StepPlace]:
    """Where the steps lay in the cut that was spoken over. Raises InputError."""
    try:
        film = time_map_from_values(json.loads(path.read_text("utf-8")))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{shown_as}: is no time-map.json of a finished cut ({type(error).__name__}); "
            "copy the one beside the cut that was spoken over"
        ) from None
    found: dict[str, StepPlace] = {}
    for piece in film.pieces:
        if piece.step is not None and piece.step not in found:
            cut = film.step_cut(piece.step)
            assert cut is not None
            found[piece.step] = StepPlace(piece.step, cut)
    if not found:
        raise InputError(f"{shown_as}: the cut that was spoken over shows no step")
    return tuple(found.values())
