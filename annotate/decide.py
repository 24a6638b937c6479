"""From a loaded case file to a decided plan: opens the recording, checks the case against it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from importlib.metadata import version
from pathlib import Path

from annotate.cache import KEPT, SegmentCache
from annotate.captions.profiles import PROFILES, Profile
from annotate.find import Found, find
from annotate.keptfinds import find_once
from annotate.named import (
    font_faults,
    letter_faults,
    lexicon_faults,
    recogniser_faults,
    recording_faults,
    still_faults,
)
from annotate.narrate import Narration, listen, narration_faults
from annotate.picture.fonts import FontChain
from annotate.plan import Plan, make_plan
from annotate.progress import Report
from annotate.recording import Recording, RecordingErrors, open_recording
from annotate.sound.takes import TakesTooLong, TooLong
from annotate.speech.plugs import model_files
from annotate.version import VERSION
from chapters.casechecks import check_against, fit_to_recording
from chapters.casefile import LoadedCase, mistake_at
from chapters.errors import CaseFileError, Mistake
from chapters.media.encode import EncoderSettings
from chapters.media.files import sha256_of
from chapters.scenecuts import SceneCut
from chapters.speedplan import UnreachableLength
from chapters.times import RecordingTime

#: What progress says while the recording is looked through.
LOOKING = "looking at the pictures"
#: Libraries whose version is part of the fingerprint: another version may draw another pixel.
LIBRARIES = ("av", "moviepy", "numpy", "opencv-python", "pillow", "matplotlib")


@dataclass(frozen=True)
class Decided:
    """A plan with the files it rests on. ``inputs`` are (path, name as written), parts first."""

    loaded: LoadedCase
    recording: Recording
    plan: Plan
    narration: Narration
    inputs: tuple[tuple[Path, str], ...]
    warnings: tuple[str, ...]

    @property
    def folder(self) -> Path:
        """The folder that holds the case file."""
        return self.loaded.folder

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the film: even, the recording's own unless the case says a height."""
        width, height = self.recording.display_size_px
        wished = self.plan.case.height_px
        if wished is not None:
            width, height = round(width * wished / height), wished
        return max(16, width // 2 * 2), max(16, height // 2 * 2)

    @property
    def profile(self) -> Profile:
        """The readability profile of the captions."""
        return PROFILES[self.plan.case.captions].for_picture(*self.size_px)

    @cached_property
    def fonts(self) -> FontChain:
        """The fonts of the film and of the plot, the case's own among them."""
        case = self.plan.case
        return FontChain([self.loaded.path_of(f) for f in case.fonts], case.language)

    @cached_property
    def hashes(self) -> tuple[str, ...]:
        """SHA-256 of every input, in the order of ``inputs``."""
        return tuple(sha256_of(path) for path, _ in self.inputs)

    def hash_of(self, shown_as: str) -> str:
        """SHA-256 of the input that the case file calls ``shown_as``."""
        names = [name for _, name in self.inputs]
        return self.hashes[names.index(shown_as)]

    @property
    def font_hashes(self) -> tuple[str, ...]:
        """SHA-256 of the case's own fonts."""
        return tuple(self.hash_of(name) for name in self.plan.case.fonts)

    @property
    def library_versions(self) -> dict[str, str]:
        """Versions of the libraries that decide what a pixel is."""
        return {name: version(name) for name in LIBRARIES}

    def fingerprint(self, settings: EncoderSettings, wishes: Sequence[object] = ()) -> str:
        """One hash of everything the results depend on: inputs, case, settings, versions."""
        values = {
            "teachcut": VERSION,
            "libraries": self.library_versions,
            "case": hashlib.sha256(self.loaded.path.read_bytes()).hexdigest(),
            "inputs": list(self.hashes),
            "settings": {k: str(v) for k, v in asdict(settings).items()},
            "wishes": [str(wish) for wish in wishes],
        }
        return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()


def decide(loaded: LoadedCase, report: Report) -> Decided:
    """Open the recording, lay out the film. Raises InputError with everything there is to mend."""
    report("reading the recording", 0, 0)
    recording, remarks = _opened(loaded)
    line = recording.line
    case = fit_to_recording(loaded.case, line.length)
    narration = listen(case, loaded, report)
    cuts: tuple[SceneCut, ...] = ()
    if case.snap > 0:
        cuts = cuts_on_line(find_in(recording, loaded.folder, report), recording)
    try:
        spoken = (narration.takes, narration.pace)
        plan = make_plan(case, line, recording.typical_gap_s, cuts, *spoken)
    except UnreachableLength as error:
        raise CaseFileError(
            (mistake_at(loaded, "length", str(error), "write another length"),)
        ) from None
    except TakesTooLong as error:
        raise CaseFileError(tuple(_too_long(loaded, take) for take in error.takes)) from None
    warnings = tuple(str(m) for m in (*loaded.warnings, *remarks))
    warnings += recording.notices(plan.steps, sound=case.room_sound) + plan.notices
    warnings += narration.notices
    fonts = [(loaded.path_of(f), f) for f in case.fonts]
    stills = [(loaded.path_of(s.file), s.file) for step in case.steps for s in step.stills]
    parts = list(zip(recording.paths, (p.file for p in case.parts), strict=True))
    inputs = (*parts, *stills, *fonts, *narration.files, *_words_rest_on(loaded))
    return Decided(loaded, recording, plan, narration, inputs, warnings)


def _too_long(loaded: LoadedCase, take: TooLong) -> Mistake:
    """A take that does not fit, at its place in the case file."""
    places = {own.step: own.place for own in loaded.case.narration}
    talk = loaded.case.talk
    own = take.step in places
    place = places[take.step] if own or talk is None else talk.place
    found, _, advice = str(take).partition("; ")
    field = f"narration.{take.step}" if own else "talk"
    return Mistake(loaded.shown_as, place.line, place.column, field, found, advice)


def _words_rest_on(loaded: LoadedCase) -> list[tuple[Path, str]]:
    """The lexicon and the recogniser's files, where the case has narration."""
    case = loaded.case
    if not case.narration and case.talk is None:
        return []
    lexicon = loaded.path_of(case.lexicon) if case.lexicon else None
    found = [(lexicon, case.lexicon)] if lexicon is not None and lexicon.is_file() else []
    models = model_files(loaded.path_of(case.recogniser)) if case.recogniser else ()
    return [*found, *((path, f"{case.recogniser}/{path.name}") for path in models)]


def _opened(loaded: LoadedCase) -> tuple[Recording, tuple[Mistake, ...]]:
    """The recording, and warnings; or every fault of the case's files and words at once."""
    case = loaded.case
    fonts = font_faults(loaded)
    faults = [*still_faults(loaded), *fonts, *recogniser_faults(loaded)]
    faults += [*lexicon_faults(loaded), *narration_faults(loaded)]
    if not fonts:
        own = [loaded.path_of(f) for f in case.fonts]
        faults += letter_faults(loaded, FontChain(own, case.language))
    if case.captions not in PROFILES:
        found, known = f'"{case.captions}" is not known', ", ".join(PROFILES)
        faults.append(mistake_at(loaded, "captions", found, f"write one of {known}"))
    try:
        recording = open_recording(case, loaded.path_of)
    except RecordingErrors as errors:
        raise CaseFileError((*faults, *recording_faults(loaded, errors))) from None
    lengths = [p.length for p in recording.probes]
    told = check_against(case, recording.line.length, loaded.shown_as, lengths)
    faults += [m for m in told if m.severity == "mistake"]
    if faults:
        raise CaseFileError(tuple(faults))
    return recording, tuple(told)


def find_in(
    recording: Recording, folder: Path, report: Report, hashes: Sequence[str] = ()
) -> Found:
    """What is in an opened recording; looked for once, then kept below the case's ``folder``.

    ``hashes`` are the SHA-256 of the parts, where they are known already.
    """
    names = [span.file for span in recording.line.parts]

    def look() -> Found:
        return find(
            recording.paths,
            progress=lambda done, whole: report(LOOKING, float(done), float(whole)),
        )

    report(LOOKING, 0, 0)
    known = hashes or [sha256_of(path) for path in recording.paths]
    return find_once(SegmentCache(folder / "out" / KEPT), known, names, look)


def cuts_on_line(found: Found, recording: Recording) -> tuple[SceneCut, ...]:
    """Scene cuts moved from the bare parts onto the line, where repeated starts are dropped."""
    out: list[SceneCut] = []
    for bare, span in zip(found.parts, recording.line.parts, strict=True):
        for cut in found.scene_cuts:
            own = cut.at - bare.start
            if bare.start <= cut.at < bare.end and own >= span.trim:
                at = RecordingTime(own - span.trim + span.offset)
                out.append(SceneCut(at, cut.kind, cut.confidence))
    return tuple(out)
