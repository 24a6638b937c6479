"""Reading a small text file, or saying in one sentence why not."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from chapters.errors import CaseFileError
from chapters.textfile import MOST_BYTES, read_text_file


def refusal(path: Path) -> str:
    """What is said of a file that is refused, under the name ``case.yaml``."""
    with pytest.raises(CaseFileError) as caught:
        read_text_file(path, "case.yaml")
    return str(caught.value)


def written(folder: Path, data: bytes) -> Path:
    """A file with these bytes."""
    path = folder / "case.yaml"
    path.write_bytes(data)
    return path


def test_byte_order_mark_is_taken_off(tmp_path: Path) -> None:
    """UTF-8 with and without a mark reads alike; line ends stay as they are."""
    assert read_text_file(written(tmp_path, b"\xef\xbb\xbfa: \xc3\xa9\r\n"), "x") == "a: é\r\n"
    assert read_text_file(written(tmp_path, b"a: \xc3\xa9\r\n"), "x") == "a: é\r\n"


def test_missing_file(tmp_path: Path) -> None:
    """A missing file, also below something that is no folder, says how to come by one."""
    said = (
        "case.yaml:1:1: there is no such file; check the name, or draft a case file with "
        "teachcut start RECORDING"
    )
    assert refusal(tmp_path / "none.yaml") == said
    assert refusal(written(tmp_path, b"") / "case.yaml") == said


def test_folder(tmp_path: Path) -> None:
    """A folder is not searched for a case file."""
    said = "case.yaml:1:1: this is a folder; name the case file in it, such as case.yaml"
    assert refusal(tmp_path) == said


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no named pipes in folders")
def test_pipe_is_refused_before_it_can_wait(tmp_path: Path) -> None:
    """Reading a pipe that nobody writes to would wait for ever."""
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    said = "case.yaml:1:1: this is not a file; name a case file, such as case.yaml"
    assert refusal(pipe) == said


def test_name_that_no_file_can_have(tmp_path: Path) -> None:
    """A NUL in the name is answered, not raised."""
    assert "no file can have this name" in refusal(tmp_path / "a\0b.yaml")


def test_name_too_long_for_the_disk(tmp_path: Path) -> None:
    """What the disk refuses is told in its own words."""
    said = refusal(tmp_path / ("x" * 5000))
    assert said.startswith(("case.yaml:1:1: the file cannot be read: ", "case.yaml:1:1: there is"))


def test_larger_than_one_megabyte(tmp_path: Path) -> None:
    """One megabyte is read, one byte more is not."""
    assert len(read_text_file(written(tmp_path, b"x" * MOST_BYTES), "x")) == MOST_BYTES
    said = "case.yaml:1:1: the file is larger than 1 MB; a case file is a short text"
    assert refusal(written(tmp_path, b"x" * (MOST_BYTES + 1))) == said


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_latin_1_is_refused_at_the_first_wrong_byte(tmp_path: Path, mark: bytes) -> None:
    """The byte, its line and its column, with or without a byte order mark and on any line ends."""
    data = mark + "a: é\r\nb: ".encode() + "é".encode("latin-1") + b"\n"
    said = "case.yaml:2:4: byte 0xE9 is not UTF-8; save the file as UTF-8"
    assert refusal(written(tmp_path, data)) == said


def test_utf_16_is_named(tmp_path: Path) -> None:
    """The usual wrong encoding of an editor on Windows has its own sentence."""
    said = "case.yaml:1:1: the text is UTF-16; save the file as UTF-8"
    assert refusal(written(tmp_path, "a: b".encode("utf-16"))) == said


def test_recording_given_as_case_file(tmp_path: Path) -> None:
    """Bytes with a NUL are no text: somebody gave the recording."""
    said = (
        "case.yaml:1:1: this is no text file; a case file is text; "
        "teachcut start RECORDING drafts one"
    )
    assert refusal(written(tmp_path, b"\0\0\0\x20ftypisom\xff")) == said
