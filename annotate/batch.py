"""Many cases: one after another, each in its own process, so that no case can stop the others.

A recording that crashes a decoder takes down its own process and is named in the table. Only a
full disk ends the batch, because every further case would fail the same way.
"""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from chapters.errors import InputError

Status = Literal["made", "up to date", "failed", "not tried"]
CASE_SUFFIXES = (".yaml", ".yml")


@dataclass(frozen=True)
class Outcome:
    """What became of one case. ``exit_code`` is 0, 1 or 2; ``why`` is empty where it went well."""

    case: str
    status: Status
    folder: str = ""
    film: str = ""
    clinical: str = ""
    why: str = ""
    warnings: tuple[str, ...] = ()
    exit_code: int = 0
    disk_full: bool = False


def case_files(places: Sequence[Path]) -> tuple[Path, ...]:
    """The case files that the places name: files as they are, of a folder every case file in it.

    A folder's own ``*.yaml`` and those of its direct sub-folders count, hidden ones and ``out``
    folders do not. Raises InputError naming every place that is not there or holds no case.
    """
    found: list[Path] = []
    faults: list[str] = []
    for place in places:
        if place.is_file():
            found.append(place)
        elif place.is_dir():
            inside = [p for pattern in ("*", "*/*") for p in sorted(place.glob(pattern))]
            cases = [p for p in inside if p.suffix.lower() in CASE_SUFFIXES and _counts(p, place)]
            if not cases:
                faults.append(f"{place}: holds no case file; write one with teachcut start")
            found.extend(cases)
        elif place.exists():
            faults.append(f"{place}: is a pipe or a device, not a file; name a case file")
        else:
            faults.append(f"{place}: is not there; check the name and the folder")
    if faults:
        raise InputError("\n".join(faults))
    return tuple(dict.fromkeys(found))


def _counts(path: Path, place: Path) -> bool:
    parts = path.relative_to(place).parts
    return path.is_file() and not any(p.startswith(".") or p == "out" for p in parts)


def run_one(command: Sequence[str]) -> Outcome:
    """Run one case in its own process; ``command`` prints its outcome as JSON on standard output."""
    case = command[-1]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, check=False)
    try:
        values = json.loads(done.stdout.decode("utf-8"))[0]
        values["warnings"] = tuple(values.get("warnings", ()))
        return Outcome(**values)
    except (ValueError, LookupError, TypeError):
        why = f"its process ended without an answer (code {done.returncode}); the recording may be damaged"
        return Outcome(case, "failed", why=why, exit_code=1)


def make_many(
    cases: Sequence[Path],
    arguments: Sequence[str],
    tell: Callable[[int, int, Path], None],
    run: Callable[[Sequence[str]], Outcome] = run_one,
) -> tuple[Outcome, ...]:
    """Make every case in turn. ``arguments`` are handed to each; ``tell(i, n, case)`` is said before."""
    out: list[Outcome] = []
    for i, case in enumerate(cases, 1):
        if out and out[-1].disk_full:
            out.append(Outcome(str(case), "not tried", why="the disk is full", exit_code=1))
            continue
        tell(i, len(cases), case)
        command = [sys.executable, "-m", "annotate", "make", "--json", *arguments, "--", str(case)]
        out.append(run(command))
        if out[-1].status == "not tried":
            break
        out[-1] = Outcome(**(asdict(out[-1]) | {"case": str(case)}))
    return tuple(out)


def exit_code(outcomes: Sequence[Outcome]) -> int:
    """0 when all went well; 1 when any work failed, else 2 when only input was wrong."""
    codes = {o.exit_code for o in outcomes}
    return 1 if 1 in codes else max(codes, default=0)


def outcomes_text(outcomes: Sequence[Outcome], width: int | None = None) -> str:
    """The closing table: made, up to date, failed and why.

    ``width``: columns of the terminal; longer lines are broken between words. None breaks none.
    """
    names = shown_names([o.case for o in outcomes])
    wide = max(len(name) for name in names)
    if width is not None and wide > width // 3:
        wide = 8
    lines = []
    for name, o in zip(names, outcomes, strict=True):
        facts = f"{o.film} film of {o.clinical} clinical time" if o.film else ""
        lines.append(f"{name:<{wide}}  {o.status:<10}  {facts}".rstrip())
        told = [*o.why.splitlines(), *(f"note: {line}" for line in o.warnings)]
        lines += [part for line in told for part in broken(line, width, " " * (wide + 2))]
    counted = {s: sum(o.status == s for o in outcomes) for s in ("made", "up to date", "failed")}
    counted |= {"not tried": n} if (n := sum(o.status == "not tried" for o in outcomes)) else {}
    lines.append(", ".join(f"{n} {s}" for s, n in counted.items()))
    return "\n".join(lines)


def shown_names(cases: Sequence[str]) -> list[str]:
    """The cases by file name; where two share one, all as they were given."""
    names = [Path(case).name for case in cases]
    return names if len(set(names)) == len(names) else list(cases)


def broken(line: str, width: int | None, indent: str = "") -> list[str]:
    """A line behind ``indent``, broken between words where it is longer than ``width`` columns."""
    if width is None or len(indent) + len(line) <= width:
        return [indent + line]
    return textwrap.wrap(
        line,
        max(width, 40),
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def outcomes_json(outcomes: Sequence[Outcome]) -> str:
    """The same as JSON."""
    return json.dumps([asdict(o) for o in outcomes], ensure_ascii=False, indent=1)
