"""``find``, ``start``, ``check`` and ``times``: commands that look and tell, and make no film."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from shutil import get_terminal_size

from annotate.batch import CASE_SUFFIXES, broken, case_files
from annotate.cache import KEPT, SegmentCache
from annotate.captioning import caption_film, caption_unheard
from annotate.closer import look_closely
from annotate.commands.common import Command, add_json, as_argument, columns, note, say
from annotate.decide import decide
from annotate.draft import draft_case
from annotate.earlier import read_earlier
from annotate.find import Found, find, find_quickly, found_json, found_text
from annotate.keptfinds import keep
from annotate.make import out_folder
from annotate.progress import ProgressLine
from annotate.recording import clock_gaps
from annotate.report import ledger_json, step_times_json, table_text
from annotate.roomspeech import room_speech
from annotate.sidecars import head_values
from chapters.casefile import load_case
from chapters.errors import CaseFileError, InputError, Mistake, TeachcutError
from chapters.fitsteps import fit_steps
from chapters.media.files import check_input, sha256_of
from chapters.media.probe import Probe, probe
from chapters.spans import Span
from chapters.textfile import read_text_file
from chapters.yamltext import caret_lines

#: A line of a case file shown under a message takes no more than a narrow terminal.
MOST_COLUMNS = 79


def _recordings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "recordings", nargs="+", type=Path, metavar="RECORDING", help="recorded parts, in order"
    )


def _find_arguments(parser: argparse.ArgumentParser) -> None:
    _recordings(parser)
    parser.add_argument(
        "--quick",
        action="store_true",
        help="look for cuts between different views alone, and do not listen",
    )
    add_json(parser)


def _found(paths: list[Path], name: str, quick: bool = False) -> Found:
    """What is found in the recordings, seen and heard; ``quick``: the cuts between views alone."""
    progress = ProgressLine(name)

    def looked(done: Fraction, whole: Fraction) -> None:
        progress("looking", float(done), float(whole))

    def listen(path: Path, facts: Probe) -> tuple[Span, ...]:
        return room_speech(
            path, facts, lambda done, whole: progress("listening", float(done), float(whole))
        )

    try:
        checked = [check_input(path, str(path)) for path in paths]
        if quick:
            return find_quickly(checked, looked)
        return find(checked, progress=looked, listen=listen)
    finally:
        progress.end()


def run_find(args: argparse.Namespace) -> int:
    """Print the parts, scene cuts and dull stretches of a recording."""
    found = _found(args.recordings, "find", args.quick)
    say(found_json(found) if args.json else found_text(found))
    return 0


def _start_arguments(parser: argparse.ArgumentParser) -> None:
    _recordings(parser)
    parser.add_argument(
        "--to", type=Path, metavar="FILE", help="write the case file here (default: print it)"
    )
    parser.add_argument(
        "--like",
        type=Path,
        action="append",
        default=[],
        metavar="CASE",
        help="an earlier case of the procedure, or a folder of them: take over their steps",
    )
    parser.add_argument(
        "--procedure", default="", metavar="NAME", help="of the earlier cases, only those of this"
    )


def run_start(args: argparse.Namespace) -> int:
    """Draft a case file from what is found in the recordings."""
    _check_target(args.to)
    if args.procedure and not args.like:
        raise InputError("--procedure chooses among earlier cases; name them with --like")
    names = _names_for(args.to, args.recordings)
    earlier = read_earlier(args.like, args.procedure) if args.like else None
    for told in earlier.left_out if earlier else ():
        note(told)
    found = _found(args.recordings, "start")
    if args.to is not None:
        _keep_found(args.to, args.recordings, found)
    parts = zip(found.parts, names, strict=True)
    found = replace(found, parts=tuple(replace(part, file=name) for part, name in parts))
    procedure = ""
    if earlier is not None:
        steps = fit_steps(found.changes, found.length, earlier.steps, found.still)
        found, procedure = replace(found, proposals=steps), earlier.procedure
    gaps = clock_gaps([probe(path, str(path)) for path in args.recordings])
    name = "case.yaml" if args.to is None else args.to.name
    text = draft_case(found, file=name, clock_gaps=gaps, procedure=procedure)
    if args.to is None:
        say(text)
        return 0
    with args.to.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
    what = "check the borders of" if earlier is not None else "name"
    note(f"wrote {args.to}; {what} the steps in it, then: teachcut check {as_argument(args.to)}")
    return 0


def _check_target(to: Path | None) -> None:
    """Refuse a place for the draft before anything is looked at."""
    if to is None:
        return
    if to.exists():
        raise InputError(f"{to}: is there already; choose another name, nothing was changed")
    if to.suffix.lower() not in CASE_SUFFIXES:
        raise InputError(f"{to}: a case file's name ends with .yaml; add it")
    if not to.parent.is_dir():
        raise InputError(f"{to.parent}: is no folder; make it first, or choose another")


def _keep_found(case: Path, recordings: Sequence[Path], found: Found) -> None:
    """Leave what was found where the check of the case looks for it."""
    hashes = [sha256_of(path) for path in recordings]
    keep(SegmentCache(case.parent / "out" / KEPT), hashes, found)


def _names_for(case: Path | None, recordings: Sequence[Path]) -> list[str]:
    """The names by which a case file finds the recordings; links in its folder count as being there."""
    folder = (Path.cwd() if case is None else case.parent).absolute()
    out = []
    for path in recordings:
        places = [(path.absolute(), folder), (path.resolve(), folder.resolve())]
        inside = [p.relative_to(f).as_posix() for p, f in places if p.is_relative_to(f)]
        inside = [name for name in inside if ".." not in name.split("/")]
        if case is not None and not inside:
            raise InputError(
                f"{case}: a case file finds recordings in its own folder or below it; "
                f"{path.name} is elsewhere; write --to beside the recording"
            )
        out.append(inside[0] if inside else path.name)
    return out


def _check_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cases", nargs="+", type=Path, metavar="CASE", help="case file or folder")
    parser.add_argument(
        "--quick",
        action="store_true",
        help="neither look at the pictures for scene cuts nor listen for the words of the takes",
    )
    add_json(parser)


def run_check(args: argparse.Namespace) -> int:
    """Print every mistake and warning of the cases; exit 2 when there is a mistake."""
    worst = 0
    values = []
    for case in case_files(args.cases):
        checked = _check(case, args.quick)
        worst = max(worst, 2 if checked.mistakes else 0)
        values.append(
            {
                "case": str(case),
                "mistakes": [str(m) for m in checked.mistakes],
                "warnings": list(checked.warnings),
            }
        )
        if not args.json:
            say(_checked_text(case, checked, columns()))
    if args.json:
        say(json.dumps(values, ensure_ascii=False, indent=1))
    return worst


@dataclass(frozen=True)
class _Checked:
    """What there is to say of one case; ``text`` is the case file's, for the faulty lines."""

    mistakes: tuple[Mistake | str, ...] = ()
    warnings: tuple[str, ...] = ()
    text: str = ""


def _check(case: Path, quick: bool) -> _Checked:
    progress = ProgressLine(case.name)
    try:
        decided = decide(load_case(case), progress)
        if quick:
            return _Checked(warnings=(*decided.warnings, *caption_unheard(decided)[1]))
        kept = SegmentCache(out_folder(decided.loaded).parent / KEPT)
        told = look_closely(decided, progress)
        _, remarks = caption_film(decided, kept, progress)
        return _Checked(warnings=(*decided.warnings, *remarks, *told))
    except CaseFileError as error:
        return _Checked(error.mistakes, text=_text_of(case))
    except TeachcutError as error:
        return _Checked(tuple(str(error).splitlines()))
    finally:
        progress.end()


def _text_of(case: Path) -> str:
    try:
        return read_text_file(case, str(case))
    except CaseFileError:
        return ""


def _checked_text(case: Path, checked: _Checked, width: int | None) -> str:
    """Each mistake with its line and a caret under the place, then the warnings, then a count."""
    lines: list[str] = []
    for mistake in checked.mistakes:
        lines += broken(str(mistake), width)
        if isinstance(mistake, Mistake) and mistake.file == str(case):
            faulty = caret_lines(checked.text, mistake).splitlines()
            lines += [line[:MOST_COLUMNS] for line in faulty] if "".join(faulty[:1]).strip() else []
    for warning in checked.warnings:
        placed = re.match(re.escape(str(case)) + r":\d+:\d+: ", warning)
        place = placed[0] if placed else f"{case}: "
        lines += broken(f"{place}warning: {warning.removeprefix(place)}", width)
    said = [
        f"{n or 'no'} {word}{'' if n == 1 else 's'}"
        for n, word in ((len(checked.mistakes), "mistake"), (len(checked.warnings), "warning"))
        if n or word == "mistake"
    ]
    return "\n".join([*lines, f"{case}: {', '.join(said)}"])


def _times_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cases", nargs="+", type=Path, metavar="CASE", help="case file or folder")
    add_json(parser)


def run_times(args: argparse.Namespace) -> int:
    """Print the step times and the ledger of the cases; a bad case does not stop the others."""
    worst, values = 0, []
    for case in case_files(args.cases):
        progress = ProgressLine(case.name)
        try:
            plan = decide(load_case(case), progress).plan
        except TeachcutError as error:
            note(str(error))
            worst = max(worst, error.exit_code)
            continue
        finally:
            progress.end()
        if args.json:
            ledger = {"ledger": ledger_json(plan.ledger)}
            values.append(head_values(plan) | step_times_json(plan.rows, plan.ledger) | ledger)
        else:
            say(f"{plan.case.title} ({plan.case.id})")
            say(table_text(plan.rows, plan.ledger, get_terminal_size((120, 40)).columns))
    if args.json:
        say(json.dumps(values, ensure_ascii=False, indent=1))
    return worst


COMMANDS = (
    Command(
        "find",
        "list the parts, scene cuts and dull stretches of a recording",
        "teachcut find scope-001.mp4 scope-002.mp4",
        _find_arguments,
        run_find,
    ),
    Command(
        "start",
        "draft a case file for a recording",
        "teachcut start scope-001.mp4 --to case.yaml",
        _start_arguments,
        run_start,
    ),
    Command(
        "check",
        "say every mistake and warning of a case file",
        "teachcut check bench-03/case.yaml",
        _check_arguments,
        run_check,
    ),
    Command(
        "times",
        "print how long every step took",
        "teachcut times bench-03/case.yaml",
        _times_arguments,
        run_times,
    ),
)
