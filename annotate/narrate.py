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
from chapters.case import Case, Late, Place, Talk
from chapters.casefile import LoadedCase
from chapters.errors import CaseFileError, InputError, Mistake, RecordingError
from chapters.spans import Span
from chapters.textfile import read_text_file
from chapters.timefile import time_map_from_values
from chapters.times import short_clock_text

#: A script that ends so is a text file of that name, not the words themselves.
SCRIPT_SUFFIX = ".txt"
_NO_MAP = "is no time-map.json of a finished cut"


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


@dataclass(frozen=True)
class _Wanted:
    """One sound file that the case names: its field, place, file and script."""

    field: str
    place: Place
    file: str
    script: str


def _wanted(case: Case) -> list[_Wanted]:
    found = [_Wanted(f"narration.{t.step}", t.place, t.file, t.script) for t in case.narration]
    if case.talk is not None:
        found.append(_Wanted("talk", case.talk.place, case.talk.file, case.talk.script))
    return found


def narration_faults(loaded: LoadedCase) -> list[Mistake]:
    """What is wrong with the files of the narration, as far as that shows without listening."""
    out: list[Mistake] = []
    for one in _wanted(loaded.case):
        if not loaded.path_of(one.file).exists():
            found, advice = f"{one.file} is not there", "check the name and the folder"
            out.append(_mistake(loaded, one.place, one.field, found, advice))
        out += _script_faults(one, loaded)
    if loaded.case.talk is not None:
        out += _cut_faults(loaded.case.talk, loaded)
    return out


def listen(case: Case, loaded: LoadedCase, report: Report) -> Narration:
    """Hear every take and the talk of a case; ``loaded`` says where its files and fields are.

    The case has no ``narration_faults``. Raises CaseFileError with a mistake for each file that is
    no sound.
    """
    wanted = _wanted(case)
    if not wanted:
        return Narration()
    find_file = loaded.path_of
    heard: list[Heard] = []
    faults: list[Mistake] = []
    for number, one in enumerate(wanted):
        report("listening to the narration", number, len(wanted))
        try:
            heard.append(hear(find_file(one.file), one.file, script_text(one.script, find_file)))
        except RecordingError as error:
            found = f"{error.name} {error.found}"
            faults.append(_mistake(loaded, one.place, one.field, found, error.advice))
    if faults:
        raise CaseFileError(tuple(faults))
    pace = pace_wpm([(len(h.script.split()), h.voice_s) for h in heard if h.script])
    takes = [
        SpokenTake(t.step, t.file, _sound(h), len(h.script.split()), t.late)
        for t, h in zip(case.narration, heard, strict=False)
    ]
    notices = [line for h in heard for line in told(h)]
    files = [(h.path, h.file) for h in heard]
    files += [(find_file(w.script), w.script) for w in wanted if is_file_name(w.script)]
    if case.talk is not None:
        pieces, remarks = _talk_pieces(case.talk, heard[-1], find_file)
        spoken = {take.step for take in takes}
        takes += [piece for piece in pieces if piece.step not in spoken]
        notices += remarks
        files.append((find_file(case.talk.cut), case.talk.cut))
    own = {t.step: h for t, h in zip(case.narration, heard, strict=False)}
    over_all = heard[-1] if case.talk is not None else None
    return Narration(
        tuple(takes), tuple(heard), pace, tuple(notices), tuple(files), by_step=own, talk=over_all
    )


def _mistake(loaded: LoadedCase, place: Place, field: str, found: str, advice: str) -> Mistake:
    return Mistake(loaded.shown_as, place.line, place.column, field, found, advice)


def _script_faults(one: _Wanted, loaded: LoadedCase) -> list[Mistake]:
    """What is wrong with a script's file."""
    field = f"{one.field}.script"
    place = loaded.places.get(field, one.place)
    if is_file_name(one.script) and not loaded.path_of(one.script).is_file():
        found, advice = (
            f"{one.script} is not there",
            "check the name, or write the words themselves",
        )
        return [_mistake(loaded, place, field, found, advice)]
    try:
        script = script_text(one.script, loaded.path_of)
    except CaseFileError as error:
        advice = "save it as plain text in UTF-8, at most 1 MB"
        found = "; ".join(f"{one.script}: {m.found}" for m in error.mistakes)
        return [_mistake(loaded, place, field, found, advice)]
    if one.script and not script.strip():
        advice = "write what is said, or leave script: out"
        return [_mistake(loaded, place, field, f"{one.script} holds no words", advice)]
    return []


def _cut_faults(talk: Talk, loaded: LoadedCase) -> list[Mistake]:
    """What is wrong with the time map of the cut that a talk was spoken over."""
    try:
        _kept_places(loaded.path_of(talk.cut), talk.cut)
    except InputError as error:
        found, _, advice = str(error).partition("; ")
        place = loaded.places.get("talk.cut", talk.place)
        return [_mistake(loaded, place, "talk.cut", found, advice)]
    return []


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
            f"{shown_as} {'is not there' if isinstance(error, FileNotFoundError) else _NO_MAP}; "
            "copy the time-map.json beside the cut that was spoken over"
        ) from None
    found: dict[str, StepPlace] = {}
    for piece in film.pieces:
        if piece.step is not None and piece.step not in found:
            cut = film.step_cut(piece.step)
            assert cut is not None
            found[piece.step] = StepPlace(piece.step, cut)
    if not found:
        raise InputError(f"{shown_as} is of a cut that shows no step; name another")
    return tuple(found.values())
