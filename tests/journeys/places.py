"""A folder with a working case that a test then spoils, and what must be true of the refusal."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from annotate.cli import main

CASE = """\
case: bench
title: A practice tooth
subject: simulated
recordings: [good.mp4]
steps:
  - {id: one, title: First, from: 0.2, to: 1.5}
  - {id: two, title: Second, from: 2, show: fast}
"""


@dataclass(frozen=True)
class Place:
    """A folder with a case that works: a recording of ten seconds and a picture beside it."""

    folder: Path
    capsys: pytest.CaptureFixture[str]

    @property
    def case(self) -> Path:
        """The case file."""
        return self.folder / "case.yaml"

    def write(self, text: str) -> None:
        """Write the case file."""
        self.case.write_text(text, encoding="utf-8", newline="\n")

    def with_line(self, line: str) -> None:
        """The working case with one more line before its steps, which is line 5."""
        self.write(CASE.replace("steps:", f"{line}\nsteps:"))

    def with_recording(self, written: str) -> None:
        """The working case over another recording, which stands at 4:14."""
        self.write(CASE.replace("good.mp4", json.dumps(written)))

    def with_step(self, more: str) -> None:
        """The working case with more fields in its first step, from 6:45 on."""
        self.write(CASE.replace("to: 1.5", f"to: 1.5, {more}"))

    def made(self, *more: str) -> tuple[int, dict[str, Any], str]:
        """Make the case: exit code, outcome, everything on standard error."""
        self.capsys.readouterr()
        code = main(["make", "--json", str(self.case), *more])
        said = self.capsys.readouterr()
        return code, json.loads(said.out)[0], said.err

    def refused(self, *more: str) -> str:
        """Make the case, which must be refused with nothing written; the sentences that were said."""
        before = contents(self.folder)
        code, outcome, beside = self.made(*more)
        why: str = outcome["why"]
        assert code == 2, why
        assert "fault of its own" not in beside + why
        assert "Traceback" not in beside + why
        assert all(len(line) < 500 for line in why.splitlines())
        assert contents(self.folder) == before
        return why

    def refused_at(self, place: str, *words: str) -> None:
        """Refused with one sentence at ``line:column: field`` that holds the words."""
        why = self.refused()
        assert why.startswith(f"{self.case}:{place}: "), why
        assert len(why.splitlines()) == 1, why
        for word in words:
            assert word in why


def contents(folder: Path) -> dict[str, bytes]:
    """Every name below a folder, with the bytes of what is a file."""
    found = {}
    for path in sorted(folder.rglob("*")):
        plain = path.is_file() and not path.is_symlink()
        found[str(path.relative_to(folder))] = path.read_bytes() if plain else b""
    return found
