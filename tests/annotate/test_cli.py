"""The command line: help for who gives none, any console, the system's refusals in one sentence."""

from __future__ import annotations

import errno
import io
import subprocess
import sys
from pathlib import Path

import pytest

from annotate import cli
from annotate.commands.common import Command, Run, say

ROOT = Path(__file__).parent.parent.parent


def run_try(run: Run) -> int:
    """Run a command ``try`` that does what the test says."""
    return cli.main(["try"], [Command("try", "try it", "teachcut try", lambda parser: None, run)])


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Every command with its purpose; exit code 2, for nothing was done."""
    assert cli.main([]) == 2
    said = capsys.readouterr().err
    assert all(f"    {command.name} " in said for command in cli.commands())


@pytest.mark.parametrize("command", [command.name for command in cli.commands()])
def test_every_command_has_help_with_an_example(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last line is a command that can be copied."""
    with pytest.raises(SystemExit) as left:
        cli.main([command, "--help"])
    assert left.value.code == 0
    assert f"example: teachcut {command}" in capsys.readouterr().out


class Terminal(io.TextIOWrapper):
    """A console in an encoding of its own."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("kind", "encoding", "shown"),
    [
        (Terminal, "latin-1", "Käse 4× ? ?".encode("latin-1")),
        (Terminal, "ascii", b"K?se 4? ? ?"),
        (io.TextIOWrapper, "cp1252", "Käse 4× 漢 🦷".encode()),
    ],
)
def test_any_character_can_be_said_on_any_console(
    kind: type[io.TextIOWrapper],
    encoding: str,
    shown: bytes,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A terminal keeps its encoding and shows ``?`` for what it lacks; a pipe gets UTF-8."""
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", kind(raw, encoding=encoding, newline="\n"))

    def run(_: object) -> int:
        say("Käse 4× 漢 🦷")
        return 0

    assert run_try(run) == 0
    assert raw.getvalue() == shown + b"\n"


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (PermissionError(errno.EACCES, "Permission denied", "a.mp4"), "a.mp4: Permission denied"),
        (OSError(errno.ENOSPC, "No space left on device", "b.mp4"), "b.mp4: no space left on"),
    ],
)
def test_what_the_system_refuses_is_said_in_one_sentence(
    error: OSError,
    said: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The place and the reason; no fault of the program's own, no traceback."""

    def run(_: object) -> int:
        raise error

    assert run_try(run) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(said)


def test_a_stop_by_the_user_has_its_own_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    """Ctrl-C is no failure of the work: 130, as shells have it."""

    def run(_: object) -> int:
        raise KeyboardInterrupt

    assert run_try(run) == 130
    assert "stopped" in capsys.readouterr().err


def test_ctrl_c_while_the_program_still_loads_shows_no_traceback() -> None:
    """Loading takes longer than a hand needs to think again: stopped in it as anywhere else."""
    script = (
        "import sys, importlib.abc\n"
        "class Stop(importlib.abc.MetaPathFinder):\n"
        "    def find_spec(self, name, path, target=None):\n"
        "        if name == 'annotate.commands.making': raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Stop())\n"
        "from annotate.cli import main\n"
        "sys.exit(main(['--version']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (130, "stopped; nothing half-made was left behind\n")


def test_the_library_of_the_plot_is_not_loaded_before_it_draws() -> None:
    """It takes tens of megabytes, which would stand beside the encoders' while a film is made."""
    script = (
        "import sys\n"
        "from annotate.cli import commands\n"
        "commands()\n"
        "sys.exit('matplotlib' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=False).returncode == 0


def test_a_pipe_is_no_case_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is refused without being opened: reading it would wait for ever."""
    import os

    if not hasattr(os, "mkfifo"):
        pytest.skip("NOT CHECKED: this system has no named pipes")
    os.mkfifo(tmp_path / "case.yaml")
    assert cli.main(["make", str(tmp_path / "case.yaml")]) == 2
    assert "is a pipe or a device" in capsys.readouterr().err
