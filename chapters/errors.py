"""One tree of errors that carry data; the sentence is made from the data.

    TeachcutError                 anything a user can be told in one sentence   exit 1
    ├── InputError                what the user gave is wrong                   exit 2
    │   ├── CaseFileError         one or more mistakes, each with its place
    │   └── RecordingError        a recording that cannot be used, and why
    └── WorkError                 the input was fine, the work failed           exit 1
        ├── DiskFull
        └── EncoderError

Nothing here opens, prints or reads a clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

Severity = Literal["mistake", "warning"]


@dataclass(frozen=True, slots=True)
class Mistake:
    """One fault in a text file, with its place (line and column count from 1)."""

    file: str
    line: int
    column: int
    field: str
    found: str
    advice: str
    severity: Severity = "mistake"

    def __str__(self) -> str:
        field = f" {self.field}:" if self.field else ""
        advice = f"; {self.advice}" if self.advice else ""
        return f"{self.file}:{self.line}:{self.column}:{field} {self.found}{advice}"


class TeachcutError(Exception):
    """Root of everything teachcut raises on purpose."""

    exit_code: ClassVar[int] = 1


class InputError(TeachcutError):
    """What the user gave is wrong; nothing has been written."""

    exit_code: ClassVar[int] = 2


class CaseFileError(InputError):
    """Every mistake of one case file, in the order of their places."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        self.mistakes = tuple(sorted(mistakes, key=lambda m: (m.file, m.line, m.column)))
        super().__init__("\n".join(str(m) for m in self.mistakes))


class RecordingError(InputError):
    """A file that cannot serve as a recording.

    ``name`` is the file's name as the user wrote it, ``found`` what is wrong with it,
    ``advice`` what the user can do.
    """

    def __init__(self, name: str, found: str, advice: str = "") -> None:
        self.name = name
        self.found = found
        self.advice = advice
        super().__init__(f"{name}: {found}" + (f"; {advice}" if advice else ""))


class WorkError(TeachcutError):
    """The input was right and the work failed all the same."""


class DiskFull(WorkError):
    """No space left where ``place`` is written."""

    def __init__(self, place: str) -> None:
        self.place = place
        super().__init__(
            f"{place}: no space left on the disk; free some space and run the same command again"
        )


class EncoderError(WorkError):
    """The encoder refused or failed; ``detail`` is its own word for it."""

    def __init__(self, place: str, detail: str) -> None:
        self.place = place
        self.detail = detail
        super().__init__(f"{place}: the encoder failed: {detail}")
