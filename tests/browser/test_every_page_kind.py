"""Every kind of page: axe-core, a real HTML validator, hostile words, no sideways scrolling."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from annotate.page.club import build_club
from annotate.page.viewer import write_viewer_page
from tests.annotate.page.casefolder import usual, write_case
from tests.annotate.page.running import served
from tests.browser.conftest import CaseFolder, Club, absent

pytestmark = pytest.mark.browser

Open = Callable[..., Any]
KINDS = {
    "viewer": "cases/bench-03/index.html#step=clean",
    "club": "index.html",
    "no case found": "index.html#q=zzz",
    "list": "cases.html",
    "steps": "steps/index.html",
    "step": "steps/matrix.html",
    "side by side": "side.html#a=bench-03&b=bench-04",
    "not found": "nowhere.html",
}
LOOKS = {"desk light": (1440, 900, "light"), "phone dark": (390, 844, "dark")}


def violations(page: Any) -> list[str]:
    """What axe-core finds, each with its place."""
    try:
        from axe_playwright_python.sync_playwright import Axe
    except ImportError:
        absent("the Python package axe-playwright-python")
    found = Axe().run(page).response["violations"]
    return [f"{v['id']}: {[n['target'] for n in v['nodes']]}" for v in found]


def in_every_look(page: Any) -> list[str]:
    """The violations in light and dark, on desk and phone."""
    found = []
    for look, (width, height, scheme) in LOOKS.items():
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        found += [f"{look}: {one}" for one in violations(page)]
    return found


@pytest.mark.outside
@pytest.mark.parametrize("kind", KINDS)
def test_axe(new_page: Open, address: str, kind: str) -> None:
    """axe-core finds no violation on this kind of page, in light and dark, on desk and phone."""
    page = new_page(refused=True, bypass_csp=True, reduced_motion="reduce")
    page.goto(f"{address}/{KINDS[kind]}", wait_until="load")
    assert in_every_look(page) == []


@pytest.mark.outside
def test_axe_where_the_page_asks(new_page: Open, case: CaseFolder, club: Club) -> None:
    """No violation either while a question is open, in the dialog of keys, and at the door."""
    page = new_page(refused=True, bypass_csp=True, reduced_motion="reduce")
    page.goto(case.address)
    begin = float(case.made.cut_of("matrix")[0])
    page.evaluate("(t) => { teachcut.page.seek(t); return teachcut.page.play(); }", begin - 0.2)
    panel = page.get_by_role("region", name="Question", exact=True)
    panel.get_by_role("button", name="Show the answer").click()
    assert in_every_look(page) == []
    page.get_by_role("button", name="Keys and settings").click()
    assert in_every_look(page) == []
    with served(club.site, "tin opener") as url:
        page.goto(f"{url}/")
        page.get_by_label("Access word").fill("something")
        page.get_by_role("button", name="Enter").click()
        page.get_by_role("alert").wait_for()
        assert in_every_look(page) == []


@pytest.mark.outside
def test_html_validator(case: CaseFolder, club: Club, tmp_path: Path) -> None:
    """The Nu Html Checker finds no error in any page, style or picture drawing."""
    jar = Path(os.environ.get("TEACHCUT_VNU_JAR", "node_modules/vnu-jar/build/dist/vnu.jar"))
    java = shutil.which("java")
    if java is None or not jar.is_file():
        absent("the npm package vnu-jar (name its vnu.jar in TEACHCUT_VNU_JAR) with a Java runtime")
    hostile = hostile_case(tmp_path / "hostile")
    pages = [case.folder / "index.html", hostile / "index.html", *sorted(club.site.rglob("*.html"))]
    assert len(pages) > 8
    command = [
        str(java),
        "-jar",
        str(jar),
        "--errors-only",
        "--also-check-css",
        *map(str, pages),
        *map(str, club.site.glob("assets/*.css")),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert (done.stderr, done.returncode) == ("", 0)


def hostile_case(folder: Path) -> Path:
    """A case whose words try everything: markup, 300 characters, right to left, overrides, no pictures."""
    plan = usual()
    plan.title = "<script>alert(1)</script> & \"quotes\" 'more' \u202egnp.exe " + "x" * 300
    plan.steps["isolate"] |= {
        "title": "ترميم ثقب في سن تدريبية",
        "note": "</script><img src=x onerror=alert(1)>" * 5,
    }
    plan.steps["locate"] |= {
        "title": "y" * 300,
        "ask": {
            "question": "<b>Why?</b>",
            "choices": None,
            "answer": "</textarea>",
            "look": "<i>here</i>",
        },
    }
    plan.steps["clean"] |= {"title": "根管の清掃と洗浄"}
    plan.away = [(plan.away[0][0], plan.away[0][1], "<svg onload=alert(1)> " + "z" * 80)]
    plan.extra = {
        **plan.extra,
        "presenter": "<i>x</i>",
        "tags": ["#a b", "]]>", "t" * 200],
        "procedure": "--><!--",
        "notice": None,
    }
    write_case(folder, plan, pictures=False)
    write_viewer_page(folder, folder)
    return folder


@pytest.mark.parametrize("width", [320, 1440])
def test_hostile_words(new_page: Open, tmp_path: Path, width: int) -> None:
    """Nothing runs, nothing breaks out, nothing scrolls sideways, whatever the words."""
    folder = hostile_case(tmp_path / "cases/a/out/a")
    build_club(tmp_path / "cases", tmp_path / "site")
    page = new_page(width, refused=True)
    alerts: list[str] = []
    page.on("dialog", lambda one: (alerts.append(one.message), one.dismiss()))
    site = (tmp_path / "site").as_uri()
    case_id = "bench-03"
    for where in (
        (folder / "index.html").as_uri(),
        f"{site}/index.html",
        f"{site}/cases.html",
        f"{site}/steps/isolate.html",
        f"{site}/cases/{case_id}/index.html",
        f"{site}/side.html#a={case_id}&b={case_id}",
    ):
        page.goto(where)
        page.wait_for_timeout(100)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width, where
        assert page.locator("img[src='x'], svg[onload], h1 script").count() == 0
    assert alerts == []
    page.goto(f"{site}/cases/{case_id}/index.html")
    assert page.locator("h1").inner_text().startswith('<script>alert(1)</script> & "quotes"')
