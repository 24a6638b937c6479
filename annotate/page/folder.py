"""A case's output folder -> PageData: reads the JSON and the captions, looks which pictures exist."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

from annotate.page import data
from annotate.page.cues import read_cues
from annotate.page.data import Field, PageData, Picture, Piece, Words
from annotate.words import CAUTIONS
from chapters.errors import InputError

FILM = "teaching-cut.mp4"
SMALL = "teaching-cut-small.mp4"
POSTER = "poster.jpg"
TIME_MAP = "time-map.json"
STEP_TIMES = "step-times.json"
LEDGER = "ledger.json"
#: No JSON of a case is larger; a larger file is not one of ours.
_MOST_BYTES = 64 * 1024 * 1024
_STEP_PICTURE = re.compile(r"step-(\d{1,4})\.jpg", re.ASCII)
_CAPTIONS = re.compile(r"captions(?:\.([A-Za-z]{2,8}(?:-[A-Za-z0-9]{1,8})*))?\.vtt", re.ASCII)


def read_object(path: Path) -> Field:
    """A JSON object from a file. Raises InputError when it cannot be read as one."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path.name}: is larger than 64 MB; make the case again")
        found = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError(
            f"{path.name}: is not in {path.parent.name}; make the case first"
        ) from None
    except (OSError, ValueError, RecursionError) as fault:
        raise InputError(f"{path.name}: cannot be read ({fault}); make the case again") from None
    if not isinstance(found, Mapping):
        raise InputError(f"{path.name}: is no JSON object; make the case again")
    return Field(path.name, "", found)


def page_data(folder: Path) -> PageData:
    """Everything the viewer page shows, from one folder of outputs.

    Reads ``time-map.json``, ``step-times.json``, ``ledger.json`` and ``captions*.vtt``
    (``captions.vtt`` is in the case's own language, ``captions.de.vtt`` in German); looks for
    ``step-<number>.jpg``, ``still-<number>.jpg`` (the stills of the film in their order, from 1)
    and ``poster.jpg``. Raises InputError for anything missing or malformed.
    """
    time_map = read_object(folder / TIME_MAP)
    times = read_object(folder / STEP_TIMES)
    ledger = read_object(folder / LEDGER)
    language = times.text("language") or "en"
    pieces = data.read_pieces(time_map)
    return PageData(
        case=times.needed_text("case"),
        title=times.needed_text("title"),
        subject=times.needed_text("subject"),
        publishable=times.yes("publishable"),
        notice=times.text("notice"),
        tooth=data.read_tooth(times),
        procedure=times.text("procedure"),
        presenter=times.text("presenter"),
        tags=times.texts("tags"),
        language=language,
        fps=_fps(time_map),
        length=time_map.seconds("length"),
        steps=data.read_steps(times, _step_pictures(folder)),
        pieces=pieces,
        away=data.read_away(time_map),
        hidden=data.read_hidden(ledger),
        ledger=data.read_ledger(ledger),
        cautions=times.texts("cautions") or CAUTIONS,
        words=_words(folder, language),
        words_in_picture=times.yes("captions_in_picture", False),
        pictures=_stills(folder, pieces),
        film=FILM,
        poster=POSTER if (folder / POSTER).is_file() else "",
        small=SMALL if (folder / SMALL).is_file() else "",
    )


def _fps(time_map: Field) -> Fraction:
    text = time_map.needed_text("fps")
    try:
        fps = Fraction(text)
    except (ValueError, ZeroDivisionError):
        fps = Fraction(0)
    if fps <= 0:
        raise time_map.wrong("fps", text, "a rate such as 30/1")
    return fps


def _step_pictures(folder: Path) -> dict[int, str]:
    out = {}
    for path in sorted(folder.iterdir()):
        match = _STEP_PICTURE.fullmatch(path.name)
        if match and path.is_file():
            out[int(match[1])] = path.name
    return out


def _stills(folder: Path, pieces: tuple[Piece, ...]) -> tuple[Picture, ...]:
    stills = enumerate((p for p in pieces if p.kind == "still"), start=1)
    named = [(f"still-{n}.jpg", piece.caption) for n, piece in stills]
    return tuple(Picture(name, caption) for name, caption in named if (folder / name).is_file())


def _words(folder: Path, language: str) -> tuple[Words, ...]:
    out = []
    for path in sorted(folder.iterdir()):
        match = _CAPTIONS.fullmatch(path.name)
        if match is None or not path.is_file():
            continue
        try:
            cues = read_cues(path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as fault:
            raise InputError(f"{path.name}: {fault}; make the case again") from None
        out.append(Words(match[1] or language, path.name, cues))
    return tuple(sorted(out, key=lambda w: (w.file != "captions.vtt", w.language)))
