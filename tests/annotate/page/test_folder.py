"""A folder of outputs -> the values of the page, and what is said of a bad one."""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from annotate.page.folder import page_data
from annotate.page.viewer import write_viewer_page
from chapters.errors import InputError
from tests.annotate.page.casefolder import usual, write_case


def change(path: Path, how: Callable[[Any], object]) -> None:
    """Change a JSON file by a function that edits its value in place."""
    value = json.loads(path.read_text(encoding="utf-8"))
    how(value)
    path.write_text(json.dumps(value), encoding="utf-8")


def test_reads_everything(tmp_path: Path) -> None:
    """Times stay exact; captions in both languages, step pictures and the poster are found."""
    made = write_case(tmp_path, usual())
    (tmp_path / "still-1.jpg").write_bytes(b"picture")
    page = page_data(tmp_path)
    assert page.length == made.length
    assert [w.language for w in page.words] == ["en", "de"]
    assert page.steps[0].picture == "step-1.jpg"
    assert page.steps[6].picture == "" and page.steps[6].cut is None
    assert page.poster == "poster.jpg"
    assert page.tooth is not None and (page.tooth.fdi, page.tooth.universal) == ("36", "19")
    assert [p.file for p in page.pictures] == ["still-1.jpg"]
    assert page.steps[2].difference_s == 20


def test_fractions_without_a_decimal(tmp_path: Path) -> None:
    """A time written n/d is read exactly."""
    write_case(tmp_path, usual())
    change(tmp_path / "step-times.json", lambda v: v["steps"][0].update(clinical_s="271/3"))
    assert page_data(tmp_path).steps[0].clinical_s == Fraction(271, 3)


@pytest.mark.parametrize(
    ("file", "how", "said"),
    [
        ("step-times.json", lambda v: v.update(publishable="yes"), r"step-times.json: publishable: found 'yes', wanted true or false; make the case again"),
        ("step-times.json", lambda v: v["steps"][1].update(cut=["2", "1"]), r"steps\[1\].cut: found .*a start before its end"),
        ("step-times.json", lambda v: v["steps"][0].update(clinical_s="soon"), r"steps\[0\].clinical_s: found 'soon', wanted seconds"),
        ("step-times.json", lambda v: v["steps"][0].update(clinical_s="1/0"), r"wanted seconds"),
        ("step-times.json", lambda v: v["steps"][0].pop("id"), r"steps\[0\].id: found None, wanted text"),
        ("step-times.json", lambda v: v["steps"][0].update(number=True), r"steps\[0\].number: found True, wanted a whole number"),
        ("step-times.json", lambda v: v.update(tags=[1]), r"tags: .*a list of texts"),
        ("time-map.json", lambda v: v["pieces"][1].update(kind="song"), r"pieces\[1\].kind: found 'song', wanted footage, still or card"),
        ("time-map.json", lambda v: v.update(fps="0/1"), r"fps: found '0/1', wanted a rate such as 30/1"),
        ("ledger.json", lambda v: v.pop("away"), r"ledger.json: away: found None, wanted seconds"),
    ],
)  # fmt: skip
def test_a_bad_value_is_named(
    tmp_path: Path, file: str, how: Callable[[Any], object], said: str
) -> None:
    """The message names the file, the field, what was found and what was wanted."""
    write_case(tmp_path, usual(), pictures=False)
    change(tmp_path / file, how)
    with pytest.raises(InputError, match=said):
        page_data(tmp_path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[1]", "is no JSON object"),
        ("{", "cannot be read"),
        ("[" * 99999, "cannot be read"),
        (None, "make the case first"),
    ],
)
def test_a_bad_file_is_named(tmp_path: Path, text: str | None, said: str) -> None:
    """A file that is missing, broken or nested without end gets one sentence."""
    write_case(tmp_path, usual(), pictures=False)
    path = tmp_path / "time-map.json"
    path.unlink() if text is None else path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        page_data(tmp_path)


def test_the_page_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    """A fault leaves the old page as it was, and no half-written file."""
    write_case(tmp_path, usual(), pictures=False)
    page = write_viewer_page(tmp_path, tmp_path)
    before = page.read_bytes()
    (tmp_path / "ledger.json").unlink()
    with pytest.raises(InputError):
        write_viewer_page(tmp_path, tmp_path)
    assert page.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


def test_the_page_is_the_same_every_time(tmp_path: Path) -> None:
    """The same outputs make the same page, byte for byte."""
    write_case(tmp_path, usual())
    first = write_viewer_page(tmp_path, tmp_path).read_bytes()
    assert write_viewer_page(tmp_path, tmp_path).read_bytes() == first
    assert b"\r" not in first
