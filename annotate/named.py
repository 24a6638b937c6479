"""Files that a case names and the letters it is written in: can each serve? Faults with their place.

The recordings are looked at where they are opened; stills and fonts are read here once, before
anything is laid out.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from annotate.narrate import script_text
from annotate.picture.fonts import FontChain, FontFile, describe
from annotate.picture.stills import read_still
from annotate.recording import RecordingErrors
from annotate.speech.plugs import check_recogniser
from chapters.case import Case, Place
from chapters.casefile import LoadedCase, mistake_at
from chapters.errors import InputError, Mistake, RecordingError


def recording_faults(loaded: LoadedCase, errors: RecordingErrors) -> list[Mistake]:
    """What is wrong with the parts, each at its place in the case file."""
    numbers = {part: number for number, part in enumerate(loaded.case.parts, 1)}
    return [
        _at(loaded, part.place, f"recordings[{numbers[part]}]", f"{e.name} {e.found}", e.advice)
        for part, e in errors.errors
    ]


def still_faults(loaded: LoadedCase) -> list[Mistake]:
    """Every still that is no picture; each is read once."""
    found = []
    for number, step in enumerate(loaded.case.steps, 1):
        for count, still in enumerate(step.stills, 1):
            fault = _fault_of_still(loaded.path_of(still.file), still.file)
            if fault:
                field = f"steps[{number}].stills[{count}]"
                found.append(_at(loaded, still.place, field, *fault))
    return found


def font_faults(loaded: LoadedCase) -> list[Mistake]:
    """Every font file of the case's own that cannot be read."""
    found = []
    for name in loaded.case.fonts:
        path = loaded.path_of(name)
        if not path.is_file():
            fault = _missing(path, name, "font")
        else:
            try:
                FontFile(path, name).covers(" ")
                continue
            except InputError as error:
                fault = _halves(str(error))
        found.append(mistake_at(loaded, "fonts", *fault))
    return found


def recogniser_faults(loaded: LoadedCase) -> list[Mistake]:
    """What is wrong with the folder of the recogniser; nothing is loaded."""
    name = loaded.case.recogniser
    if not name:
        return []
    try:
        check_recogniser(loaded.path_of(name), name, loaded.case.language)
    except RecordingError as error:
        found = f"{error.name} {error.found}"
        return [mistake_at(loaded, "recogniser", found, error.advice)]
    return []


def lexicon_faults(loaded: LoadedCase) -> list[Mistake]:
    """A lexicon that is not there; what stands in it is told where it is read."""
    name = loaded.case.lexicon
    if not name or loaded.path_of(name).is_file():
        return []
    return [mistake_at(loaded, "lexicon", *_missing(loaded.path_of(name), name, "text"))]


def letter_faults(loaded: LoadedCase, chain: FontChain) -> list[Mistake]:
    """Every character on the film that no font has, named, at the text it stands in."""
    found = []
    for field, place, text in (*_drawn(loaded.case), *_captioned(loaded)):
        gaps = chain.missing(" ".join(text.split()))
        if gaps:
            what = f"no font here has {', '.join(describe(ch) for ch in gaps)}"
            advice = "run pip install 'teachcut[fonts]', or name a font that has it under fonts:"
            place = loaded.places.get(field, place)
            found.append(_at(loaded, place, field, what, advice))
    return found


def _drawn(case: Case) -> Iterator[tuple[str, Place, str]]:
    """Every text of the case that is drawn on the film: its field, its place, the text."""
    nowhere = Place(1, 1)
    yield "title", nowhere, case.title
    yield "procedure", nowhere, case.procedure
    yield "presenter", nowhere, case.presenter
    for number, part in enumerate(case.parts, 1):
        yield f"recordings[{number}].reason", part.place, part.away_reason
    for number, away in enumerate(case.away, 1):
        yield f"away[{number}].reason", away.place, away.reason
    for number, step in enumerate(case.steps, 1):
        yield f"steps[{number}].title", step.place, step.title
        for count, still in enumerate(step.stills, 1):
            yield f"steps[{number}].stills[{count}].caption", still.place, still.caption


def _captioned(loaded: LoadedCase) -> Iterator[tuple[str, Place, str]]:
    """Every text that may become a caption drawn into the picture; none where none are drawn."""
    case, nowhere = loaded.case, Place(1, 1)
    if not case.captions_in_picture:
        return
    for number, step in enumerate(case.steps, 1):
        yield f"steps[{number}].note", step.place, step.note
    for take in case.narration:
        yield f"narration.{take.step}.script", take.place, _script(loaded, take.script)
    if case.talk is not None:
        yield "talk.script", case.talk.place, _script(loaded, case.talk.script)
    for number, label in enumerate(case.sound_labels, 1):
        yield f"sound_labels[{number}].label", label.place, label.text
    yield "terms", nowhere, " ".join(right for _, right in case.terms)


def _script(loaded: LoadedCase, script: str) -> str:
    """A script's words; "" where its file cannot be read, which is told where it is listened to."""
    try:
        return script_text(script, loaded.path_of)
    except InputError:
        return ""


def _fault_of_still(path: Path, name: str) -> tuple[str, str] | None:
    if not path.is_file():
        return _missing(path, name, "picture")
    try:
        read_still(path, name)
    except InputError as error:
        return _halves(str(error))
    return None


def _missing(path: Path, name: str, what: str) -> tuple[str, str]:
    if path.is_dir():
        return f"{name} is a folder", f"name the {what} inside it"
    if path.exists():
        return f"{name} is a pipe or a device, not a file", f"name a {what} file"
    return f"{name} is not there", "check the name and the folder"


def _halves(sentence: str) -> tuple[str, str]:
    """``name: what is wrong; what to do`` as what was found and the advice."""
    name, _, rest = sentence.partition(": ")
    found, _, advice = rest.partition("; ")
    return f"{name} {found.removeprefix('the picture ')}", advice


def _at(loaded: LoadedCase, place: Place, field: str, found: str, advice: str) -> Mistake:
    return Mistake(loaded.shown_as, place.line, place.column, field, found, advice)
