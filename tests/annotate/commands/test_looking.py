"""Commands that look and tell: what stands on the screen, and where a draft goes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate import decide
from annotate.cli import main
from chapters.casefile import load_case
from tests.clips import VideoTrack, even_times, write_clip
from tests.scenes import canvas

CASE = """\
case: bench-03
titel: Slip
title: Fine
subject: simulated
recordings: [part.mp4]
steps:
  - {id: one, title: One, from: 2:75}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with one recording of two seconds."""
    write_clip(tmp_path / "part.mp4", VideoTrack(even_times(50, 25), size_px=(160, 128)))
    return tmp_path


def test_check_shows_each_faulty_line_with_a_caret(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Under the message stands the line, under the line a caret at the place; then a count."""
    case = folder / "case.yaml"
    case.write_text(CASE, encoding="utf-8")
    assert main(["check", str(case)]) == 2
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith(f"{case}:2:1: ")
    assert lines[1:3] == ["    titel: Slip", "    ^"]
    assert lines[4] == "      - {id: one, title: One, from: 2:75}"
    assert lines[4][lines[5].index("^") :] == "2:75}"
    assert lines[-1] == f"{case}: 2 mistakes"


def test_check_of_a_good_case_says_so(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No mistake, exit code 0; the JSON says the same."""
    case = folder / "case.yaml"
    good = CASE.replace("titel: Slip\n", "").replace("2:75", "0")
    case.write_text(good, encoding="utf-8")
    assert main(["check", str(case)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == f"{case}: no mistakes, 1 warning"
    assert lines[0].startswith(f"{case}: warning: part.mp4: does not say its colour matrix")
    assert main(["check", "--json", str(case)]) == 0
    (value,) = json.loads(capsys.readouterr().out)
    assert value["mistakes"] == []


def test_warnings_have_their_place_in_front_like_mistakes(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An editor that jumps to ``file:line:column:`` finds a warning as well."""
    case = folder / "case.yaml"
    good = CASE.replace("titel: Slip\n", "").replace("2:75", "0").replace("simulated", "patient")
    case.write_text(good, encoding="utf-8")
    assert main(["check", "--quick", str(case)]) == 0
    assert capsys.readouterr().out.startswith(f"{case}:3:10: warning: subject: a patient case")


def test_check_tells_of_a_note_too_long_for_its_step(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not only once the film is made."""
    case = folder / "case.yaml"
    note = "Look at the margin, then at the floor, then at the wall, and only then go on. " * 3
    good = CASE.replace("titel: Slip\n", "").replace("from: 2:75", f"from: 0, note: '{note}'")
    case.write_text(good, encoding="utf-8")
    assert main(["check", "--quick", str(case)]) == 0
    assert f"{case}: warning: step one: the note is too long" in capsys.readouterr().out


def test_a_case_file_that_is_no_text_has_no_line_to_show(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is drawn under a message about a file that cannot be read, or is empty."""
    case = folder / "case.yaml"
    for data in (b"", b"\xff\xfec\0a\0", b"case: \xe4\n"):
        case.write_bytes(data)
        assert main(["check", str(case)]) == 2
        assert len(capsys.readouterr().out.splitlines()) == 2


def test_start_writes_a_draft_that_passes_and_never_overwrites(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The draft is a case file without a mistake; a second start leaves it as it is."""
    case = folder / "case.yaml"
    assert main(["start", str(folder / "part.mp4"), "--to", str(case)]) == 0
    assert load_case(case).case.parts[0].file == "part.mp4"
    before = case.read_bytes()
    assert main(["start", str(folder / "part.mp4"), "--to", str(case)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert case.read_bytes() == before


def test_start_wants_a_name_that_a_folder_of_cases_finds(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A draft called otherwise would be passed over later; a blank in the name is put in quotes."""
    assert main(["start", str(folder / "part.mp4"), "--to", str(folder / "first case")]) == 2
    assert "ends with .yaml" in capsys.readouterr().err
    case = folder / "first case.yaml"
    assert main(["start", str(folder / "part.mp4"), "--to", str(case)]) == 0
    assert f'teachcut check "{case}"' in capsys.readouterr().err


def test_start_takes_a_link_in_the_case_s_folder_for_what_it_is(folder: Path) -> None:
    """A recording kept elsewhere and linked beside the case file, or one in a folder below it."""
    (folder / "case").mkdir()
    (folder / "case" / "sub").mkdir()
    try:
        (folder / "case" / "sub" / "linked.mp4").symlink_to(folder / "part.mp4")
    except OSError:
        pytest.skip("NOT CHECKED: this account may not make links")
    case = folder / "case" / "case.yaml"
    assert main(["start", str(folder / "case" / "sub" / "linked.mp4"), "--to", str(case)]) == 0
    assert load_case(case).case.parts[0].file == "sub/linked.mp4"


def test_start_refuses_a_recording_elsewhere_before_it_looks(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody waits for a whole recording to be looked through and is then sent away."""
    (folder / "case").mkdir()
    case = folder / "case" / "case.yaml"
    assert main(["start", str(folder / "part.mp4"), "--to", str(case)]) == 2
    said = capsys.readouterr().err
    assert "part.mp4 is elsewhere" in said and "looking" not in said
    assert not case.exists()


def test_start_into_a_folder_that_is_not_there_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence names the folder; it is not made."""
    where = folder / "new" / "case.yaml"
    assert main(["start", str(folder / "part.mp4"), "--to", str(where)]) == 2
    assert f"{folder / 'new'}: is no folder" in capsys.readouterr().err
    assert not (folder / "new").exists()


def waiting(folder: Path) -> Path:
    """A recording of seventy seconds: work, half a minute of a standing view, work."""
    view = canvas(5)[20:110, 30:190].astype(np.uint8)

    def draw(number: int, width_px: int, height_px: int) -> Sequence[NDArray[np.generic]]:
        picture = cv2.resize(view, (width_px, height_px), interpolation=cv2.INTER_CUBIC)
        second = number / 10
        if not 20 <= second < 50:
            x = width_px // 2 + round(width_px / 4 * np.sin(second * 1.3 + second**2 / 40))
            cv2.line(picture, (x, height_px // 2), (width_px, height_px), 230, 5)
        grey = np.full((height_px // 2, width_px // 2), 128, np.uint8)
        return np.asarray(picture, np.uint8), grey, grey

    track = VideoTrack(even_times(700, 10), size_px=(320, 192), gop=20, draw=draw)
    write_clip(folder / "long.mp4", track)
    return folder / "long.mp4"


LONG = """\
case: wait
title: A wait
subject: simulated
recordings: [long.mp4]
steps:
  - {id: all, title: All of it, from: 0}
"""


def test_check_tells_of_a_wait_in_real_time_and_looks_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence with the times; the second check says the same without a look at a picture."""
    waiting(tmp_path)
    case = tmp_path / "case.yaml"
    case.write_text(LONG, encoding="utf-8")
    assert main(["check", str(case)]) == 0
    first = capsys.readouterr().out
    assert "step all is shown in real time, but nothing moves from 0:20 to 0:50 (0:30)" in first

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("looked again")

    monkeypatch.setattr(decide, "find", refuse)
    assert main(["check", str(case)]) == 0
    assert capsys.readouterr().out == first
    assert main(["check", "--quick", str(case)]) == 0
    assert "nothing moves" not in capsys.readouterr().out


def test_start_offers_a_wait_as_fast_and_check_recalls_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The draft's wait is a step of its own; check does not look through the recording again."""
    recording = waiting(tmp_path)
    case = tmp_path / "case.yaml"
    assert main(["start", str(recording), "--to", str(case)]) == 0
    steps = load_case(case).case.steps
    assert [s.show.kind for s in steps] == ["real", "fast", "real"]
    assert [float(s.start) for s in steps] == pytest.approx([0, 20, 50], abs=1)
    assert "show: fast  # nothing moves" in case.read_text(encoding="utf-8")

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("looked again")

    monkeypatch.setattr(decide, "find", refuse)
    capsys.readouterr()
    assert main(["check", str(case)]) == 0
    assert "shown in real time" not in capsys.readouterr().out


def test_start_like_lays_the_steps_of_an_earlier_case_over_the_recording(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Names, ids and speeds come from the earlier case, borders from what changes here."""
    recording = waiting(tmp_path)
    earlier = tmp_path / "earlier.yaml"
    steps = ["{id: look, title: Look, from: 0}", "{id: set, title: Set, from: 25, show: 8x}"]
    steps.append("{id: polish, title: Polish, from: 48}")
    listed = "".join(f"  - {step}\n" for step in steps)
    head = LONG.split("  - ", maxsplit=1)[0].replace("subject", "procedure: Bench\nsubject")
    earlier.write_text(head + listed, encoding="utf-8")
    case = tmp_path / "case.yaml"
    assert main(["start", "--like", str(earlier), "--to", str(case), str(recording)]) == 0
    drafted = load_case(case).case
    assert [(s.id, s.title) for s in drafted.steps] == [
        ("look", "Look"),
        ("set", "Set"),
        ("polish", "Polish"),
    ]
    assert [float(s.start) for s in drafted.steps] == pytest.approx([0, 20, 50], abs=1)
    assert drafted.procedure == "Bench" and drafted.steps[1].show.speed == 8
    assert "it lasted 0:23 in 1 earlier case" in case.read_text(encoding="utf-8")
    assert "check the borders of the steps in it" in capsys.readouterr().err


def test_start_refuses_earlier_cases_that_do_not_serve_before_it_looks(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder without a case, or a procedure without earlier cases, is one sentence."""
    (folder / "none").mkdir()
    assert main(["start", str(folder / "part.mp4"), "--like", str(folder / "none")]) == 2
    assert "holds no case file" in capsys.readouterr().err
    assert main(["start", str(folder / "part.mp4"), "--procedure", "Bench"]) == 2
    assert "name them with --like" in capsys.readouterr().err


def test_a_case_that_snaps_to_cuts_looks_once(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is asked of it later, its recording is not looked through again."""
    case = folder / "case.yaml"
    good = CASE.replace("titel: Slip\n", "snap: 1\n").replace("2:75", "0")
    case.write_text(good, encoding="utf-8")
    looked: list[object] = []
    real = decide.find

    def counted(*values: object, **named: object) -> object:
        looked.append(values)
        return real(*values, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(decide, "find", counted)
    for command in ("times", "check", "times"):
        assert main([command, str(case)]) == 0
    assert len(looked) == 1
    capsys.readouterr()
