"""The club's site: who appears, what goes, and what is never touched."""

from __future__ import annotations

import html
import json
from pathlib import Path

import pytest

from annotate.page.club import build_club
from annotate.words import CAUTIONS
from chapters.errors import InputError
from tests.annotate.page.casefolder import usual, write_case


def add(root: Path, case: str, title: str = "A case", **extra: object) -> Path:
    """A case folder with its outputs, as make leaves it."""
    plan = usual()
    plan.case, plan.title = case, title
    plan.extra = {**plan.extra, **extra}
    out = root / case / "out" / case
    write_case(out, plan)
    return out


def everything(site: Path) -> str:
    """All text of the site in one string, and the names of its files."""
    texts = []
    for path in sorted(site.rglob("*")):
        texts.append(str(path.relative_to(site)))
        if path.is_file() and path.suffix in {".html", ".js", ".xml", ".json"}:
            texts.append(path.read_text(encoding="utf-8"))
    return "\n".join(texts)


def test_shows_every_published_case(tmp_path: Path) -> None:
    """Each case has its folder with film and page, its card, its row, its steps and its feed entry."""
    for name in ("one", "two"):
        add(tmp_path / "cases", name, f"Title {name}")
    report = build_club(tmp_path / "cases", tmp_path / "site")
    site = tmp_path / "site"
    assert sorted(report.published) == ["one", "two"] and report.left_out == ()
    assert (site / "cases/one/teaching-cut.mp4").read_bytes() == b"no film"
    for name in ("index.html", "cases.html", "feed.xml", "data/index.js", "steps/matrix.html"):
        text = (site / name).read_text(encoding="utf-8")
        assert "Title one" in text and "Title two" in text
    assert "#step=matrix" in (site / "steps/matrix.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("extra", "reason"),
    [
        (
            {
                "publishable": False,
                "subject": "patient",
                "notice": "NOT FOR PUBLICATION: no consent",
            },
            "NOT FOR PUBLICATION: no consent",
        ),
        ({"publishable": False}, "may not be published"),
        ({"publishable": "true"}, "publishable: found 'true', wanted true or false"),
        ({"publishable": True, "notice": "NOT FOR PUBLICATION: x"}, "NOT FOR PUBLICATION: x"),
        ({"publishable": None}, "publishable: found None"),
    ],
)
def test_only_publishable_cases(tmp_path: Path, extra: dict[str, object], reason: str) -> None:
    """Without a clear yes a case appears nowhere, and the report says why."""
    add(tmp_path / "cases", "open")
    add(tmp_path / "cases", "kept-back", "Secret title", **extra)
    report = build_club(tmp_path / "cases", tmp_path / "site")
    assert report.published == ("open",)
    assert reason in report.left_out[0].reason
    text = everything(tmp_path / "site")
    assert "Secret title" not in text and "kept-back" not in text


def test_taken_away_everywhere(tmp_path: Path) -> None:
    """A case that loses its consent or its folder is gone from every page and from the disk."""
    add(tmp_path / "cases", "stays")
    out = add(tmp_path / "cases", "leaving-one", "Title that leaves", tags=["rare-tag"])
    build_club(tmp_path / "cases", tmp_path / "site")
    assert "Title that leaves" in everything(tmp_path / "site")
    times = out / "step-times.json"
    value = json.loads(times.read_text(encoding="utf-8"))
    times.write_text(json.dumps({**value, "publishable": False}), encoding="utf-8")
    report = build_club(tmp_path / "cases", tmp_path / "site")
    text = everything(tmp_path / "site")
    assert report.removed > 5
    assert "leaving-one" not in text and "Title that leaves" not in text and "rare-tag" not in text
    assert (out / "teaching-cut.mp4").read_bytes() == b"no film"


def test_a_build_that_stopped_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files of a build that stopped half-way are known to the next one, which takes them away."""
    from annotate.page import club

    add(tmp_path / "cases", "leaving-one", "Title that leaves")

    def stop(*_: object) -> str:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(club, "site_viewer_html", stop)
        with pytest.raises(KeyboardInterrupt):
            build_club(tmp_path / "cases", tmp_path / "site")
    assert (tmp_path / "site/cases/leaving-one/teaching-cut.mp4").is_file()
    (tmp_path / "cases").rename(tmp_path / "elsewhere")
    (tmp_path / "cases").mkdir()
    build_club(tmp_path / "cases", tmp_path / "site")
    assert "leaving-one" not in everything(tmp_path / "site")


def test_other_files_are_never_touched(tmp_path: Path) -> None:
    """A folder that holds something else is refused; a file laid into a site stays."""
    add(tmp_path / "cases", "one")
    other = tmp_path / "other"
    other.mkdir()
    (other / "letter.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(
        InputError, match="holds something that teachcut club did not write; empty it"
    ):
        build_club(tmp_path / "cases", other)
    assert [p.name for p in other.iterdir()] == ["letter.txt"]
    build_club(tmp_path / "cases", tmp_path / "site")
    (tmp_path / "site/notes.txt").write_text("mine", encoding="utf-8")
    build_club(tmp_path / "cases", tmp_path / "site")
    assert (tmp_path / "site/notes.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    "name", ["../letter.txt", "/etc/hostname", "a/../../letter.txt", "c:\\x", ""]
)
def test_a_forged_list_removes_nothing_outside(tmp_path: Path, name: str) -> None:
    """A list of files that leads out of the site is not believed."""
    add(tmp_path / "cases", "one")
    (tmp_path / "letter.txt").write_text("dear", encoding="utf-8")
    site = tmp_path / "site"
    site.mkdir()
    forged = {"made_by": "teachcut club", "files": [name]}
    (site / "club.json").write_text(json.dumps(forged), encoding="utf-8")
    with pytest.raises(InputError, match="did not write"):
        build_club(tmp_path / "cases", site)
    assert (tmp_path / "letter.txt").is_file()


def test_a_bad_case_stops_no_other(tmp_path: Path) -> None:
    """Broken, unfinished and doubled cases are left out, each with its reason."""
    add(tmp_path / "cases", "good")
    (add(tmp_path / "cases", "broken") / "ledger.json").write_text("{", encoding="utf-8")
    (add(tmp_path / "cases", "half") / "made.json").unlink()
    (add(tmp_path / "cases", "no-film") / "teaching-cut.mp4").unlink()
    plan = usual()
    plan.case = "good"
    write_case(tmp_path / "cases/other/out/good", plan)
    report = build_club(tmp_path / "cases", tmp_path / "site")
    assert report.published == ("good",)
    said = {one.folder.parent.parent.name: one.reason for one in report.left_out}
    assert "cannot be read" in said["broken"]
    assert "make the case first" in said["half"] and "make the case first" in said["no-film"]
    assert "the id good is taken by" in said["other"]


def test_site_inside_the_cases(tmp_path: Path) -> None:
    """A site built into the folder of cases does not count itself."""
    add(tmp_path, "one")
    for _ in range(2):
        assert build_club(tmp_path, tmp_path / "site").published == ("one",)


def test_a_second_build_rewrites_nothing(tmp_path: Path) -> None:
    """Building again without a change leaves every file as it is."""
    add(tmp_path / "cases", "one")
    build_club(tmp_path / "cases", tmp_path / "site")
    before = {
        p: p.stat().st_mtime_ns
        for p in (tmp_path / "site").rglob("*")
        if p.is_file() and p.name != "club.json"
    }
    build_club(tmp_path / "cases", tmp_path / "site")
    assert {p: p.stat().st_mtime_ns for p in before} == before


def test_hostile_ids_and_titles(tmp_path: Path) -> None:
    """Ids that are paths become plain names; markup stays text; very long and right-to-left titles fit."""
    titles = {
        "../../up": "<script>alert(1)</script>",
        "a b": "x" * 300,
        "ترميم": "ترميم ثقب \u202e",
        "con": "</script>",
    }
    for i, (case, title) in enumerate(titles.items()):
        plan = usual()
        plan.case, plan.title = case, title
        plan.steps = {**plan.steps}
        plan.steps["matrix"] = {"title": "<b>bold</b> & more"}
        write_case(tmp_path / f"cases/{i}/out/x", plan)
    report = build_club(tmp_path / "cases", tmp_path / "site")
    assert len(report.published) == 4 and report.left_out == ()
    assert not (tmp_path / "up").exists()
    text = everything(tmp_path / "site")
    assert "<script>alert(1)" not in text and "<b>bold</b>" not in text
    assert '</script>"' not in (tmp_path / "site/data/index.js").read_text(encoding="utf-8")


def test_an_empty_club(tmp_path: Path) -> None:
    """No case yet is no fault: the page says so."""
    (tmp_path / "cases").mkdir()
    assert build_club(tmp_path / "cases", tmp_path / "site").published == ()
    assert "No case is published yet." in (tmp_path / "site/index.html").read_text(encoding="utf-8")
    with pytest.raises(InputError, match="is no folder"):
        build_club(tmp_path / "nowhere", tmp_path / "site")


def test_long_lists_come_in_pages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A long list is broken into pages that link to each other, and no case is lost."""
    from annotate.page import club

    monkeypatch.setattr(club, "ROWS_A_PAGE", 2)
    for i in range(5):
        add(tmp_path / "cases", f"c{i}", f"Title {i}.")
    build_club(tmp_path / "cases", tmp_path / "site")
    sheets = [
        (tmp_path / "site" / n).read_text(encoding="utf-8")
        for n in ("cases.html", "cases-2.html", "cases-3.html")
    ]
    assert all(any(f"Title {i}." in text for text in sheets) for i in range(5))
    assert 'href="cases-3.html"' in sheets[0]
    assert (tmp_path / "site/steps/matrix-3.html").is_file()


def test_every_page_carries_the_cautions(tmp_path: Path) -> None:
    """The sentences of caution stand on every page of the site."""
    add(tmp_path / "cases", "one", cautions=list(CAUTIONS))
    build_club(tmp_path / "cases", tmp_path / "site")
    found = sorted((tmp_path / "site").rglob("*.html"))
    assert len(found) > 8
    for path in found:
        text = html.unescape(path.read_text(encoding="utf-8"))
        assert all(one in text for one in CAUTIONS), path.name
