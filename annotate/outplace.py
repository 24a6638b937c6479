"""Whether results can go where they are wanted: a folder that can be made, and no input in it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from chapters.errors import InputError
from chapters.media.files import refuse_same_file


def check_place(folder: Path, film: str, inputs: Sequence[tuple[Path, str]]) -> None:
    """Refuse a place for results before any work is done; ``film`` is the film's file name.

    ``inputs`` are (path, name as the user wrote it). Raises InputError where no folder can be
    made there, RecordingError for an input that one of the results would overwrite or that an
    earlier result is, by whatever link.
    """
    _check_folder(folder)
    there = sorted(p for p in folder.iterdir() if p.is_file()) if folder.is_dir() else []
    for result in (folder / film, *there):
        refuse_same_file(inputs, result)


def _check_folder(folder: Path) -> None:
    """The nearest thing that is there has to be a folder in which files may be made."""
    nearest = next(p for p in (folder, *folder.absolute().parents) if os.path.lexists(p))
    if nearest.is_symlink() and not nearest.exists():
        raise InputError(f"{nearest}: is a link to nothing; choose another folder with --out")
    if not nearest.is_dir():
        raise InputError(
            f"{nearest}: is a file, and results need a folder there; choose another with --out"
        )
    if not os.access(nearest, os.W_OK | os.X_OK):
        raise InputError(f"{nearest}: may not be written to; choose another folder with --out")
