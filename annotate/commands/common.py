"""What every command shares: a text made for people or as JSON, and where it goes."""

from __future__ import annotations

import argparse
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from annotate.batch import broken
from chapters.errors import DiskFull
from chapters.media.files import is_disk_full

#: A command's work: parsed arguments in, exit code out.
Run = Callable[[argparse.Namespace], int]


@dataclass(frozen=True)
class Command:
    """One command: its name, one line of help, an example, its arguments and its work."""

    name: str
    help: str
    example: str
    arguments: Callable[[argparse.ArgumentParser], None]
    run: Run


def say(text: str) -> None:
    """A result, on standard output."""
    sys.stdout.write(text if text.endswith("\n") else text + "\n")
    sys.stdout.flush()


def columns(stream: TextIO | None = None) -> int | None:
    """How wide the terminal on a stream (standard output) is; None where it is a file or a pipe."""
    stream = sys.stdout if stream is None else stream
    return shutil.get_terminal_size().columns if stream.isatty() else None


def note(text: str) -> None:
    """A remark beside the result, on standard error; on a terminal broken between words."""
    width = columns(sys.stderr)
    lines = [part for line in text.splitlines() for part in broken(line, width)]
    sys.stderr.write("\n".join(lines) + "\n")
    sys.stderr.flush()


def as_argument(path: Path) -> str:
    """A path as one argument of a command line, on any system."""
    return f'"{path}"' if " " in str(path) else str(path)


def os_sentence(error: OSError, place: str = "a file") -> str:
    """What the system refused, where, and what to do; ``place`` where the error names none."""
    where = str(error.filename or place)
    if is_disk_full(error):
        return str(DiskFull(where))
    return f"{where}: {error.strerror or error}; check the place and its permissions"


def fault_sentence(error: Exception) -> str:
    """What to say when the program itself is at fault."""
    kind = type(error).__name__
    return f"teachcut stopped on a fault of its own ({kind}: {error}); please report it"


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option that prints values instead of a table."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")


def add_out(parser: argparse.ArgumentParser) -> None:
    """The option that chooses where results go."""
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FOLDER",
        help="folder for the results (default: out beside the case file)",
    )
