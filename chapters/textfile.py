"""A small text file that a person wrote: read whole, or refused in one clear sentence."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from chapters.errors import CaseFileError, Mistake

MOST_BYTES = 1_000_000


def read_text_file(path: Path, shown_as: str) -> str:
    """The text of a UTF-8 file of at most 1 MB, a byte order mark taken off, line ends untouched.

    ``shown_as`` is the name in messages. Raises CaseFileError for what is missing, no file,
    larger, unreadable or not UTF-8. A pipe or device is refused before it is opened, for reading
    one may wait for ever.
    """
    return _decoded(_bytes_of(path, shown_as), shown_as)


def _refusal(name: str, found: str, advice: str, line: int = 1, column: int = 1) -> CaseFileError:
    return CaseFileError((Mistake(name, line, column, "", found, advice),))


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise _refusal(name, "this is a folder", "name the case file in it, such as case.yaml")
        if not stat.S_ISREG(mode):
            raise _refusal(name, "this is not a file", "name a case file, such as case.yaml")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (FileNotFoundError, NotADirectoryError):
        advice = "check the name, or draft a case file with teachcut start RECORDING"
        raise _refusal(name, "there is no such file", advice) from None
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else str(error)
        advice = "check the file's name and access rights"
        raise _refusal(name, f"the file cannot be read: {why}", advice) from None
    except ValueError as error:  # a NUL in the name
        raise _refusal(name, f"no file can have this name: {error}", "check the name") from None
    if len(data) > MOST_BYTES:
        raise _refusal(name, "the file is larger than 1 MB", "a case file is a short text")
    return data


def _decoded(data: bytes, name: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refusal(name, "the text is UTF-16", "save the file as UTF-8")
    if b"\0" in data[:4096]:
        advice = "a case file is text; teachcut start RECORDING drafts one"
        raise _refusal(name, "this is no text file", advice)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        body = error.object  # without the byte order mark
        before = body[: error.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        line = before.count(b"\n") + 1
        column = len(before.rpartition(b"\n")[2].decode("utf-8", "replace")) + 1
        found = f"byte 0x{body[error.start]:02X} is not UTF-8"
        raise _refusal(name, found, "save the file as UTF-8", line, column) from None
