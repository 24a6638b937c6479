"""Many cases: which files count, going on past a bad one, the closing table and the exit code."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from annotate.batch import Outcome, case_files, exit_code, make_many, outcomes_text, run_one
from chapters.errors import InputError


def test_a_folder_gives_its_case_files_and_those_of_its_sub_folders(tmp_path: Path) -> None:
    """Hidden files, results and other endings do not count."""
    for name in (
        "b.yaml",
        "a/case.yml",
        ".x.yaml",
        "out/c/d.yaml",
        "a/out/e.yaml",
        "notes.txt",
        "a/b/deep.yaml",
    ):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    found = [p.relative_to(tmp_path).as_posix() for p in case_files([tmp_path])]
    assert found == ["b.yaml", "a/case.yml"]


def test_places_without_a_case_are_all_named(tmp_path: Path) -> None:
    """A missing file and an empty folder are two sentences in one error."""
    with pytest.raises(InputError) as caught:
        case_files([tmp_path / "gone.yaml", tmp_path])
    first, second = str(caught.value).splitlines()
    assert first.endswith("gone.yaml: is not there; check the name and the folder")
    assert second.endswith("holds no case file; write one with teachcut start")


def test_a_bad_case_does_not_stop_the_others() -> None:
    """Every case is tried; a full disk alone ends the batch."""
    answers = iter(
        [
            Outcome("x", "failed", why="a.yaml:1:1: nothing", exit_code=2),
            Outcome("y", "made", folder="f", film="1:00", clinical="2:00"),
            Outcome("z", "failed", why="no space", exit_code=1, disk_full=True),
        ]
    )
    told: list[int] = []
    cases = [Path(f"{n}.yaml") for n in "abcd"]
    got = make_many(cases, [], lambda i, n, case: told.append(i), lambda command: next(answers))
    assert [o.status for o in got] == ["failed", "made", "failed", "not tried"]
    assert [o.case for o in got] == ["a.yaml", "b.yaml", "c.yaml", "d.yaml"]
    assert told == [1, 2, 3]
    assert exit_code(got) == 1
    assert exit_code(got[:2]) == 2
    assert exit_code(got[1:2]) == 0


def test_the_closing_table_says_what_became_of_each() -> None:
    """Made, failed and why, and the count."""
    text = outcomes_text(
        [
            Outcome(
                "a/one.yaml", "made", film="1:00", clinical="2:00", warnings=("part 1 is dark",)
            ),
            Outcome("two.yaml", "failed", why="two.yaml:1:1: case: missing", exit_code=2),
        ]
    )
    assert text.splitlines() == [
        "one.yaml  made        1:00 film of 2:00 clinical time",
        "          note: part 1 is dark",
        "two.yaml  failed",
        "          two.yaml:1:1: case: missing",
        "1 made, 0 up to date, 1 failed",
    ]


def test_cases_of_one_file_name_are_told_apart() -> None:
    """Each case in a folder of its own, all called case.yaml: they stand as they were given."""
    text = outcomes_text([Outcome(f"{n}/case.yaml", "up to date") for n in "ab"])
    assert text.splitlines()[:2] == ["a/case.yaml  up to date", "b/case.yaml  up to date"]


def test_on_a_terminal_long_lines_break_between_words() -> None:
    """No line is wider, what belongs together is indented alike, nothing is lost."""
    why = "case.yaml:3:9: " + "a sentence that takes more room than there is; " * 4
    outcome = Outcome("case.yaml", "failed", why=why, exit_code=2)
    lines = outcomes_text([outcome], 60).splitlines()
    assert max(map(len, lines)) <= 60
    assert all(line.startswith(" " * 11) for line in lines[1:-1])
    assert " ".join(" ".join(lines[1:-1]).split()) == why.strip()


def test_a_process_that_dies_without_an_answer_is_a_failed_case() -> None:
    """A crash of the decoder takes down one case and is named."""
    dies = [
        sys.executable,
        "-c",
        "import os, signal; os.kill(os.getpid(), signal.SIGTERM)",
        "case.yaml",
    ]
    outcome = run_one(dies)
    assert (outcome.status, outcome.exit_code, outcome.case) == ("failed", 1, "case.yaml")
    assert outcome.why.startswith("its process ended without an answer (code ")
