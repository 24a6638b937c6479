"""Results go only where they can be written and where no input lies."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from annotate.outplace import check_place
from chapters.errors import InputError, RecordingError


def test_a_folder_that_can_be_made_is_no_fault(tmp_path: Path) -> None:
    """Nothing there yet, several levels deep; nothing is made by looking."""
    check_place(tmp_path / "new" / "out" / "case", "film.mp4", [(tmp_path / "a.mp4", "a.mp4")])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("below", ["", "sub", "sub/deeper"])
def test_a_file_where_a_folder_should_be_is_named(tmp_path: Path, below: str) -> None:
    """However deep below it the results should go."""
    (tmp_path / "words.txt").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match=r"words\.txt: is a file.*--out"):
        check_place(tmp_path / "words.txt" / below, "film.mp4", [])


def test_a_link_to_nothing_is_named(tmp_path: Path) -> None:
    """Making a folder through it would fail in the middle of the work."""
    try:
        (tmp_path / "link").symlink_to(tmp_path / "gone")
    except OSError:
        pytest.skip("NOT CHECKED: this account may not make links")
    with pytest.raises(InputError, match="link: is a link to nothing"):
        check_place(tmp_path / "link" / "case", "film.mp4", [])


@pytest.mark.skipif(os.name == "nt", reason="NOT CHECKED: folders have no such mode here")
def test_a_folder_without_permission_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before any work is done; the system is asked, because an administrator may write anywhere."""
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(InputError, match="may not be written to"):
        check_place(tmp_path / "case", "film.mp4", [])


@pytest.mark.parametrize("name", ["film.mp4", "poster.jpg", "step-9.jpg"])
def test_an_input_among_the_results_is_refused(tmp_path: Path, name: str) -> None:
    """The film of an earlier run as a recording, its poster as a still: neither is overwritten."""
    folder = tmp_path / "case"
    folder.mkdir()
    (folder / name).write_bytes(b"x")
    with pytest.raises(RecordingError, match="is also where the result would be written"):
        check_place(folder, "film.mp4", [(folder / name, name)])
    os.link(folder / name, tmp_path / "hard")
    with pytest.raises(RecordingError, match=r"^hard: is also"):
        check_place(folder, "film.mp4", [(tmp_path / "hard", "hard")])
