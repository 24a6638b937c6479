"""Earlier cases of a procedure: their steps in order and how long each lasted, for a new draft."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from annotate.batch import case_files
from annotate.recording import open_recording
from chapters.case import Case, Step
from chapters.casefile import LoadedCase, load_case
from chapters.errors import InputError, TeachcutError
from chapters.fieldtext import time_text
from chapters.fitsteps import EarlierStep


@dataclass(frozen=True)
class Earlier:
    """The steps to lay over a recording, of how many cases, and why some cases do not serve."""

    steps: tuple[EarlierStep, ...]
    cases: int
    procedure: str
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Known:
    case: Case
    lasted: dict[str, Fraction]


def read_earlier(places: Sequence[Path], procedure: str = "") -> Earlier:
    """Earlier cases from case files and folders of them.

    Their recordings' lengths are read where they lie; a case that cannot be read, or has one step
    only, is left out with its reason. With ``procedure`` only cases of that procedure serve (its
    name in any case). Raises InputError where none serves, and where they are of several
    procedures and none was named.
    """
    known: list[_Known] = []
    left_out: list[str] = []
    for path in case_files(places):
        try:
            loaded = load_case(path)
            if procedure and _name(loaded.case) != _folded(procedure):
                continue
            known.append(_known(loaded))
        except TeachcutError as error:
            left_out.append(f"{path}: is left out: {str(error).splitlines()[0]}")
    if not known:
        where = ", ".join(str(place) for place in places)
        what = f" of the procedure {procedure}" if procedure else ""
        told = "".join(f"\n{line}" for line in left_out)
        raise InputError(f"{where}: holds no case{what} that could serve as a pattern{told}")
    names = sorted({_name(k.case) for k in known})
    if len(names) > 1:
        listed = ", ".join(name or "(none named)" for name in names)
        raise InputError(
            f"the earlier cases are of several procedures: {listed}; choose one with --procedure"
        )
    return Earlier(_steps(known), len(known), known[-1].case.procedure, tuple(left_out))


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()


def _name(case: Case) -> str:
    return _folded(case.procedure)


def _known(loaded: LoadedCase) -> _Known:
    """A case's steps with the time from each start to the next, the last to the recording's end."""
    case = loaded.case
    if len(case.steps) < 2:
        raise InputError("it has one step only")
    line = open_recording(case, loaded.path_of).line
    starts = [*(Fraction(step.start) for step in case.steps), line.length]
    lasted = {
        step.id: after - start
        for step, (start, after) in zip(case.steps, pairwise(starts), strict=True)
        if after > start
    }
    if len(lasted) < len(case.steps):
        raise InputError("its steps do not fit its recording")
    return _Known(case, lasted)


def _steps(known: Sequence[_Known]) -> tuple[EarlierStep, ...]:
    """The order of steps that most cases have, with what each lasted in every case that has it."""
    orders = Counter(tuple(step.id for step in k.case.steps) for k in known)
    most = max(orders.values())
    pattern = [k for k in known if orders[tuple(step.id for step in k.case.steps)] == most][-1]
    return tuple(_step(step, known) for step in pattern.case.steps)


def _step(step: Step, known: Sequence[_Known]) -> EarlierStep:
    lasted = tuple(k.lasted[step.id] for k in known if step.id in k.lasted)
    expect = step.expect
    return EarlierStep(
        step.title,
        lasted,
        id=step.id,
        phase=step.phase,
        show=_show(step),
        expect="" if expect is None else f"{time_text(expect.low)}..{time_text(expect.high)}",
    )


def _show(step: Step) -> str:
    """How the step was shown, as a case file writes it; the limit of a fast step is left to it."""
    if step.show.kind == "fixed" and step.show.speed is not None:
        return f"{float(step.show.speed):g}x"
    return step.show.kind
