"""``make``, ``batch`` and ``demo``: the main job, for one case, for many, for the demo case."""

from __future__ import annotations

import argparse
from importlib import import_module
from pathlib import Path

from annotate.batch import (
    Outcome,
    case_files,
    exit_code,
    make_many,
    outcomes_json,
    outcomes_text,
    shown_names,
)
from annotate.cache import KEPT, SegmentCache
from annotate.commands.common import (
    Command,
    add_json,
    add_out,
    as_argument,
    columns,
    fault_sentence,
    note,
    os_sentence,
    say,
)
from annotate.make import Made, Wishes, make_case
from annotate.progress import ProgressEvents, ProgressLine
from annotate.quality import ENCODERS, LEVELS, SOFTWARE
from chapters.casefile import load_case
from chapters.errors import DiskFull, InputError, TeachcutError
from chapters.media.files import is_disk_full
from chapters.times import duration_text


def _make_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cases", nargs="+", type=Path, metavar="CASE", help="case file or folder")
    add_out(parser)
    _wish_arguments(parser)
    add_json(parser)
    _progress_argument(parser)


def _progress_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--progress",
        choices=("line", "events"),
        metavar="HOW",
        help="on standard error: line, or events, one JSON object a line (default: events with "
        "--json, else line)",
    )


def _wish_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--again", action="store_true", help="make it even if it is up to date")
    parser.add_argument(
        "--quality",
        choices=tuple(LEVELS),
        default="club",
        metavar="LEVEL",
        help=f"how good and how large: {', '.join(LEVELS)} (default: club)",
    )
    parser.add_argument(
        "--encoder",
        choices=ENCODERS,
        default=SOFTWARE,
        metavar="NAME",
        help="auto takes a hardware encoder that proves itself here, a name takes that one "
        f"(default: {SOFTWARE})",
    )
    parser.add_argument(
        "--quick",
        action="store_true",
        help="copy real-time steps instead of encoding them; the clock is a text track then",
    )
    parser.add_argument("--small", action="store_true", help="add a small AV1 file of the film")


def _wishes(args: argparse.Namespace) -> Wishes:
    return Wishes(args.again, args.quality, args.encoder, args.quick, args.small)


def _options(wishes: Wishes) -> list[str]:
    """The same wishes as arguments for another process."""
    flags = [f"--{name}" for name in ("again", "quick", "small") if getattr(wishes, name)]
    return [*flags, "--quality", wishes.quality, "--encoder", wishes.encoder]


def outcome_of(made: Made, case: Path) -> Outcome:
    """What the table says of a case that went well."""
    return Outcome(
        case=str(case),
        status="made" if made.fresh else "up to date",
        folder=str(made.folder),
        film=duration_text(made.plan.film.length),
        clinical=duration_text(made.plan.ledger.total),
        warnings=made.warnings,
    )


def make_one(case: Path, out: Path | None, wishes: Wishes, *, events: bool = False) -> Outcome:
    """Make one case in this process; what goes wrong is in the outcome. ``events``: JSON progress."""
    progress = ProgressEvents(case.name) if events else ProgressLine(case.name)
    try:
        made = make_case(load_case(case), out, progress, wishes)
    except TeachcutError as error:
        return Outcome(
            str(case),
            "failed",
            why=str(error),
            exit_code=error.exit_code,
            disk_full=isinstance(error, DiskFull),
        )
    except OSError as error:
        why = os_sentence(error, str(case.parent if out is None else out))
        return Outcome(str(case), "failed", why=why, exit_code=1, disk_full=is_disk_full(error))
    except Exception as error:
        return Outcome(str(case), "failed", why=fault_sentence(error), exit_code=1)
    finally:
        progress.end()
    return outcome_of(made, case)


def run_make(args: argparse.Namespace) -> int:
    """Make one case here, several each in its own process."""
    cases = case_files(args.cases)
    _refuse_twins(cases, args.out)
    wishes = _wishes(args)
    events = args.progress == "events" or (args.json and args.progress is None)
    if len(cases) == 1:
        outcomes: tuple[Outcome, ...] = (make_one(cases[0], args.out, wishes, events=events),)
    else:
        rest = [*_options(wishes), "--progress", "events" if events else "line"]
        rest += ["--out", str(args.out)] if args.out else []
        names = dict(zip(cases, shown_names([str(case) for case in cases]), strict=True))

        def tell(number: int, of: int, case: Path) -> None:
            if not events:
                note(f"{number} of {of}: {names[case]}")

        outcomes = make_many(cases, rest, tell)
    say(outcomes_json(outcomes) if args.json else outcomes_text(outcomes, columns()))
    if not args.json and len(outcomes) == 1 and outcomes[0].folder:
        say(f"in {outcomes[0].folder}")
    return exit_code(outcomes)


def _refuse_twins(cases: tuple[Path, ...], out: Path | None) -> None:
    """Two case files that would write into one folder are a slip; name both."""
    places: dict[Path, Path] = {}
    faults = []
    for case in cases:
        try:
            loaded = load_case(case)
        except TeachcutError:
            continue  # its own run says what is wrong with it
        place = (loaded.folder / "out" if out is None else out).resolve() / loaded.case.id
        if place in places:
            faults.append(
                f"{case}: case: {loaded.case.id} is also the id of {places[place]}; give one another id"
            )
        places.setdefault(place, case)
    if faults:
        raise InputError("\n".join(faults))


def _batch_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="folder of case files")
    add_out(parser)
    _wish_arguments(parser)
    add_json(parser)
    _progress_argument(parser)


def run_batch(args: argparse.Namespace) -> int:
    """Make every case of a folder."""
    if not args.folder.is_dir():
        raise InputError(f"{args.folder}: is not a folder; write teachcut make for one case")
    args.cases = [args.folder]
    return run_make(args)


def _demo_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder",
        nargs="?",
        type=Path,
        default=Path("teachcut-demo"),
        metavar="FOLDER",
        help="where to put the demo (default: teachcut-demo)",
    )


def run_demo(args: argparse.Namespace) -> int:
    """Draw the demo recording, make its case and say what to open."""
    progress = ProgressLine("demo")
    draw = import_module("sample_clips.draw_recording")
    try:
        case = draw.draw_demo(args.folder, progress)
    finally:
        progress.end()
    outcome = make_one(case, None, Wishes())
    if outcome.why:
        note(outcome.why)
        return outcome.exit_code
    made = (
        ("index.html", "the page: film, chapters, clock and step times; open this"),
        ("teaching-cut.mp4", "the teaching cut"),
        ("step-times.png", "how long every step took, for a slide"),
        ("captions.vtt", "the captions"),
    )
    say(f"{outcome.film} film of {outcome.clinical} clinical time, in {outcome.folder}:")
    for name, what in made:
        say(f"  {name:<16}  {what}")
    say(f"Change the case file and make it again: teachcut make {as_argument(case)}")
    return 0


def _tidy_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "cases", nargs="+", type=Path, metavar="CASE", help="case file or folder of cases"
    )
    add_out(parser)


def run_tidy(args: argparse.Namespace) -> int:
    """Delete the kept segments beside the results; the results stay."""
    roots = {
        case.parent / "out" if args.out is None else args.out for case in case_files(args.cases)
    }
    freed = sum(SegmentCache(root / KEPT).clear() for root in sorted(roots))
    say(f"{freed / 1e6:.1f} MB freed; the results are as they were")
    return 0


COMMANDS = (
    Command(
        "make",
        "make the teaching cut and everything beside it",
        "teachcut make bench-03/case.yaml",
        _make_arguments,
        run_make,
    ),
    Command(
        "batch",
        "make every case of a folder, going on past a bad one",
        "teachcut batch recorded-cases",
        _batch_arguments,
        run_batch,
    ),
    Command(
        "demo",
        "draw the demo recording and make its case",
        "teachcut demo",
        _demo_arguments,
        run_demo,
    ),
    Command(
        "tidy",
        "delete the kept segments that make another run fast",
        "teachcut tidy recorded-cases",
        _tidy_arguments,
        run_tidy,
    ),
)
