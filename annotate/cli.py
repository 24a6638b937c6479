"""The command ``teachcut``: reads arguments, runs one command, turns errors into one message.

Exit codes: 0 done, 1 the work failed, 2 the input is wrong, 130 stopped by the user.
"""

from __future__ import annotations

import argparse
import io
import signal
import sys
import threading
from collections.abc import Sequence
from types import FrameType
from typing import TextIO

from annotate.commands.common import Command, fault_sentence, note, os_sentence
from annotate.heap import give_back_large_blocks
from annotate.stops import held_back
from annotate.version import VERSION
from chapters.errors import TeachcutError

ORDER = ("demo", "find", "start", "check", "make", "batch", "times", "club", "tidy")


def commands() -> tuple[Command, ...]:
    """Every command there is.

    They are loaded here and not above: that takes a while, and Ctrl-C then must be answered too.
    """
    from annotate.commands import looking, making, sharing

    found = (*making.COMMANDS, *looking.COMMANDS, *sharing.COMMANDS)
    return tuple(sorted(found, key=lambda command: _place(command.name)))


def parser(known: Sequence[Command]) -> argparse.ArgumentParser:
    """The whole command line; every command's help ends with an example."""
    top = argparse.ArgumentParser(
        prog="teachcut",
        description="Turns a recorded procedure and a list of steps into a teaching cut "
        "whose clock always shows clinical time.",
        epilog="It teaches and is no protocol: follow the maker's instructions, local rules and "
        "a licensed practitioner's judgement.",
    )
    top.add_argument("--version", action="version", version=f"teachcut {VERSION}")
    subs = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in known:
        sub = subs.add_parser(
            command.name,
            help=command.help,
            description=command.help.capitalize() + ".",
            epilog=f"example: {command.example}",
        )
        command.arguments(sub)
        sub.set_defaults(run=command.run)
    return top


def _place(name: str) -> int:
    return ORDER.index(name) if name in ORDER else len(ORDER)


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _say_anything(stream: TextIO) -> None:
    """A terminal keeps its own encoding, files and pipes get UTF-8; no character stops the work."""
    if isinstance(stream, io.TextIOWrapper):
        encoding = None if stream.isatty() else "utf-8"
        stream.reconfigure(encoding=encoding, errors="replace")


def _run(arguments: Sequence[str], known: Sequence[Command] | None) -> int:
    with held_back():  # loads nearly everything there is
        whole = parser(commands() if known is None else known)
    if not arguments:
        note(whole.format_help())
        return 2
    args = whole.parse_args(arguments)
    return int(args.run(args))


def main(arguments: Sequence[str] | None = None, known: Sequence[Command] | None = None) -> int:
    """Run one command and return the exit code. Never lets a traceback out.

    ``known``: the commands there are, by default all.
    """
    for stream in (sys.stdout, sys.stderr):
        _say_anything(stream)
    give_back_large_blocks()
    try:
        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGTERM, _stop)
        return _run(sys.argv[1:] if arguments is None else arguments, known)
    except TeachcutError as error:
        note(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        note("stopped; nothing half-made was left behind")
        return 130
    except BrokenPipeError:
        return 1
    except MemoryError:
        note("this machine has too little free memory for that recording")
        return 1
    except OSError as error:
        note(os_sentence(error))
        return 1
    except Exception as error:
        note(fault_sentence(error))
        return 1
