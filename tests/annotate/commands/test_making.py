"""``make`` told to scripts: one JSON answer, and progress as JSON lines beside it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from annotate import cli
from tests.clips import VideoTrack, even_times, write_clip

CASE = """\
case: {name}
title: Short
subject: simulated
recordings: [{{file: part.mp4}}]
steps:
  - {{id: one, title: One, from: 0}}
  - {{id: two, title: Two, from: 2, show: 8x}}
"""


def cases(folder: Path, *names: str) -> list[str]:
    """Case files over one short recording."""
    tags = {"color_range": 1, "colorspace": 1}
    write_clip(folder / "part.mp4", VideoTrack(even_times(120, 30), size_px=(320, 240), tags=tags))
    for name in names:
        (folder / f"{name}.yaml").write_text(CASE.format(name=name), encoding="utf-8")
    return [str(folder / f"{name}.yaml") for name in names]


def test_json_tells_progress_as_events_and_ends_with_one_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Standard error is JSON lines alone: frames done, of how many, speed and time left."""
    assert cli.main(["make", "--json", "--quality", "draft", *cases(tmp_path, "one")]) == 0
    said = capsys.readouterr()
    assert [outcome["status"] for outcome in json.loads(said.out)] == ["made"]
    events = [json.loads(line) for line in said.err.splitlines()]
    assert {event["event"] for event in events} == {"progress"}
    drawing = [event for event in events if event["stage"] == "drawing"]
    assert drawing[-1]["done"] == drawing[-1]["total"] > 100
    assert all({"per_s", "left_s", "real_time"} <= set(event) for event in drawing)


def test_progress_can_be_told_either_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line beside JSON, events without it."""
    (case,) = cases(tmp_path, "one")
    assert cli.main(["make", "--json", "--progress", "line", "--quality", "draft", case]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out) and "one.yaml: drawing" in said.err
    assert cli.main(["make", "--progress", "events", "--again", "--quality", "draft", case]) == 0
    said = capsys.readouterr()
    assert "1 made" in said.out and all(json.loads(line) for line in said.err.splitlines())


def test_many_cases_tell_as_one_does(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Each case's own process is told how to speak: lines for people, events for scripts."""
    names = cases(tmp_path, "one", "two")
    assert cli.main(["make", "--quality", "draft", *names]) == 0
    told = capfd.readouterr().err
    assert "1 of 2: one.yaml" in told and "two.yaml: drawing" in told and '"event"' not in told
    assert cli.main(["make", "--json", "--again", "--quality", "draft", *names]) == 0
    told = capfd.readouterr().err
    assert {json.loads(line)["case"] for line in told.splitlines()} == {"one.yaml", "two.yaml"}
