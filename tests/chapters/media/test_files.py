"""Inputs are checked before they are opened; results get their finished names last."""

from __future__ import annotations

import errno
import hashlib
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from chapters.errors import DiskFull, RecordingError, WorkError
from chapters.media import files
from chapters.media.files import Staging, check_input, refuse_same_file, sha256_of

ROOT = Path(__file__).parents[3]


def refusal(path: Path, shown_as: str = "scope.mp4") -> str:
    with pytest.raises(RecordingError) as caught:
        check_input(path, shown_as)
    text = str(caught.value)
    assert text.startswith(f"{shown_as}: ")
    assert len(text) < 300
    assert "\n" not in text
    return text


def test_a_plain_file_is_let_through_with_its_real_path(tmp_path: Path) -> None:
    """A link to a recording gives the recording's own path."""
    real = tmp_path / "scope.mp4"
    real.write_bytes(b"\0\0\0\x18ftypisom" + bytes(100))
    link = tmp_path / "link.mp4"
    link.symlink_to(real)
    assert check_input(link, "link.mp4") == real.resolve()


@pytest.mark.parametrize("address", ["http://host.invalid/x.mp4", "rtsp://host.invalid/1",
                                     "smb://host.invalid/x.mp4", "file:///x.mp4"])  # fmt: skip
def test_a_network_address_is_refused_unopened(address: str) -> None:
    """Addresses are no files, also after pathlib has eaten a slash."""
    assert "network address" in refusal(Path(address), address)


def test_a_name_with_a_colon_is_no_address(tmp_path: Path) -> None:
    """A recorder's ``case12:30.mp4`` is a file like any other."""
    odd = tmp_path / "case12:30 it's.mp4"
    odd.write_bytes(b"\0\0\0\x18ftypisom" + bytes(100))
    assert check_input(odd, odd.name) == odd.resolve()


def test_what_is_no_recording_is_named_for_what_it_is(tmp_path: Path) -> None:
    """Missing, folder, empty, list of files, text, still picture: one sentence each."""
    assert "is not there" in refusal(tmp_path / "none.mp4")
    assert "is a folder" in refusal(tmp_path)
    kinds = {
        b"": "is empty",
        b"ffconcat version 1.0\nfile other.mp4\n": "points to other files",
        b"#EXTM3U\n#EXT-X-VERSION:3\n": "points to other files",
        b"\xef\xbb\xbf#EXTM3U\n": "points to other files",
        b'<?xml version="1.0"?>\n<MPD xmlns="urn:mpeg:dash:schema:mpd:2011">': "points to other",
        b"case: bench-03\ntitle: x\n" * 20: "is text",
        "Schlüssel: Größe\n".encode() * 300: "is text",
        b"\x89PNG\r\n\x1a\n" + bytes(64): "still picture",
        b"\xff\xd8\xff\xe0" + bytes(64): "still picture",
    }
    for content, word in kinds.items():
        bad = tmp_path / "scope.mp4"
        bad.write_bytes(content)
        assert word in refusal(bad), content[:20]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no named pipes in folders")
def test_a_pipe_is_refused_without_waiting_for_it(tmp_path: Path) -> None:
    """Opening a pipe nobody writes to would wait for ever; so would reading a device."""
    pipe = tmp_path / "pipe.mp4"
    os.mkfifo(pipe)
    assert "pipe or a device" in refusal(pipe)
    assert "pipe or a device" in refusal(Path(os.devnull))
    with socket.socket(socket.AF_UNIX) as plug:
        plug.bind(str(tmp_path / "s.mp4"))
        assert "pipe or a device" in refusal(tmp_path / "s.mp4")


def test_an_unusable_name_is_refused(tmp_path: Path) -> None:
    """Names no file system takes, and links in a circle, are told in one sentence."""
    assert refusal(Path("x" * 5000 + ".mp4"))
    assert refusal(Path("a\0b.mp4"))
    circle = tmp_path / "circle.mp4"
    circle.symlink_to(circle)
    assert refusal(circle)


def test_the_hash_is_sha_256_of_the_bytes(tmp_path: Path) -> None:
    """Pieces of a megabyte give the same digest as the whole."""
    data = os.urandom(3_500_000)
    (tmp_path / "x").write_bytes(data)
    assert sha256_of(tmp_path / "x") == hashlib.sha256(data).hexdigest()


def test_an_output_that_is_an_input_is_refused_by_whatever_link(tmp_path: Path) -> None:
    """Same path, soft link, hard link: none may be written to; another file may."""
    scope = tmp_path / "scope.mp4"
    scope.write_bytes(b"only copy")
    soft, hard = tmp_path / "soft.mp4", tmp_path / "hard.mp4"
    soft.symlink_to(scope)
    hard.hardlink_to(scope)
    for output in (scope, soft, hard, tmp_path / "x" / ".." / "scope.mp4"):
        with pytest.raises(RecordingError, match="also where the result would be written"):
            refuse_same_file([(scope, "scope.mp4")], output)
    refuse_same_file([(scope, "scope.mp4")], tmp_path / "film.mp4")
    assert scope.read_bytes() == b"only copy"


def left(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if p.name.startswith("."))


def test_published_files_get_their_names_and_the_marker_comes_last(tmp_path: Path) -> None:
    """The old marker goes first, ours is the last name given; nothing hidden stays behind."""
    target = tmp_path / "out"
    target.mkdir()
    (target / "made.json").write_text("old", encoding="utf-8")
    (target / "page.html").write_text("old", encoding="utf-8")
    with Staging(target) as made:
        for name in ("made.json", "film.mp4", "page.html", "sub/x.vtt"):
            made.path(name).write_text("new", encoding="utf-8")
        assert (target / "page.html").read_text(encoding="utf-8") == "old"
        made.publish()
    names = {p.relative_to(target).as_posix() for p in target.rglob("*") if p.is_file()}
    assert names == {"made.json", "film.mp4", "page.html", "sub/x.vtt"}
    assert all((target / name).read_text(encoding="utf-8") == "new" for name in names)
    assert left(tmp_path) == []


def test_a_publication_broken_off_leaves_no_marker(tmp_path: Path) -> None:
    """When the second rename fails, the old marker is gone already and ours is not there yet."""
    target = tmp_path / "out"
    target.mkdir()
    (target / "made.json").write_text("old", encoding="utf-8")
    (target / "b.txt").mkdir()  # a folder in the way of a file: its rename must fail
    (target / "b.txt" / "x").touch()
    with Staging(target) as made:
        for name in ("made.json", "a.txt", "b.txt"):
            made.path(name).write_text("new", encoding="utf-8")
        with pytest.raises(WorkError, match="cannot be written"):
            made.publish()
    assert not (target / "made.json").exists()
    assert (target / "a.txt").read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize("error", [KeyboardInterrupt(), RuntimeError("x"), SystemExit(1)])
def test_any_way_out_removes_the_hidden_folder(tmp_path: Path, error: BaseException) -> None:
    """Ctrl-C, a fault, an exit: nothing half-made stays, no finished name appears."""
    with pytest.raises(type(error)), Staging(tmp_path / "out") as made:
        made.path("film.mp4").write_bytes(b"half")
        assert left(tmp_path)
        raise error
    assert left(tmp_path) == []
    assert not (tmp_path / "out").exists()


def test_folders_made_for_nothing_go_away_and_others_stay(tmp_path: Path) -> None:
    """A refused case leaves no empty out folder; a folder that was there or holds something stays."""
    (tmp_path / "there").mkdir()
    with pytest.raises(RuntimeError), Staging(tmp_path / "there" / "new" / "out" / "case"):
        raise RuntimeError
    assert list((tmp_path / "there").iterdir()) == []
    with pytest.raises(RuntimeError), Staging(tmp_path / "there" / "kept" / "case"):
        (tmp_path / "there" / "kept" / "own.txt").write_bytes(b"x")
        raise RuntimeError
    assert [p.name for p in (tmp_path / "there" / "kept").iterdir()] == ["own.txt"]


def test_a_full_disk_is_told_as_such(tmp_path: Path) -> None:
    """Any library's ENOSPC inside the block becomes DiskFull with the place and what to do."""
    with pytest.raises(DiskFull, match="no space left") as caught, Staging(tmp_path / "out"):
        raise OSError(errno.ENOSPC, "No space left on device")
    assert caught.value.exit_code == 1
    assert left(tmp_path) == []


def test_names_that_leave_the_folder_are_refused(tmp_path: Path) -> None:
    """Neither ``..`` nor an absolute path can be staged."""
    with Staging(tmp_path / "out") as made:
        for name in ("../x", "a/../../x", str(tmp_path / "x"), ""):
            with pytest.raises(ValueError, match="no name inside"):
                made.path(name)


_KILLED = """
import sys, time
from pathlib import Path
from chapters.media.files import Staging
with Staging(Path(sys.argv[1])) as made:
    made.path("film.mp4").write_bytes(b"half")
    print("ready", flush=True)
    time.sleep(600)
"""


def _start(target: Path) -> subprocess.Popen[str]:
    run = subprocess.Popen(
        [sys.executable, "-c", _KILLED, str(target)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert run.stdout is not None
    assert run.stdout.readline().strip() == "ready"
    return run


def _kill(run: subprocess.Popen[str]) -> None:
    run.kill()
    run.communicate()


def test_the_next_run_clears_away_after_a_killed_one_and_only_then(tmp_path: Path) -> None:
    """A killed run's folder goes with the next run; a living run's folder is not touched."""
    target = tmp_path / "out"
    dead = _start(target)
    _kill(dead)
    assert left(tmp_path)
    alive = _start(target)
    try:
        mine = left(tmp_path)
        assert len(mine) == 2  # the living run's folder and its lock; the dead run's are gone
        with Staging(target) as made:
            made.path("film.mp4").write_bytes(b"whole")
            assert set(mine) < set(left(tmp_path))
            made.publish()
        assert left(tmp_path) == mine
    finally:
        _kill(alive)
    with Staging(target):
        pass
    assert left(tmp_path) == []
    assert (target / "film.mp4").read_bytes() == b"whole"


def test_a_target_of_another_name_is_left_alone(tmp_path: Path) -> None:
    """Cleaning up for one case takes nothing of a case whose name begins alike."""
    dead = _start(tmp_path / "case-10")
    _kill(dead)
    before = left(tmp_path)
    with Staging(tmp_path / "case-1"):
        pass
    assert left(tmp_path) == before


def test_a_file_where_the_folder_should_be_is_refused(tmp_path: Path) -> None:
    """The target's name is taken by a file: said so, nothing staged."""
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(WorkError, match="is a file"), Staging(tmp_path / "out"):
        pass
    assert left(tmp_path) == []


def test_locks_exclude_each_other(tmp_path: Path) -> None:
    """The same lock file cannot be locked twice at a time."""
    path = tmp_path / "lock"
    with path.open("xb") as one:
        assert files.try_lock(one)
        with path.open("r+b") as two:
            assert not files.try_lock(two)
    with path.open("r+b") as three:
        assert files.try_lock(three)
