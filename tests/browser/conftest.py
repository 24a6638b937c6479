"""One Chromium for all browser tests; a case folder with a real film; the site's own server."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from annotate.page.club import build_club
from annotate.page.viewer import write_viewer_page
from tests.annotate.page.casefolder import (
    Made,
    Plan,
    Shot,
    numbered_film,
    plan_values,
    usual,
    write_case,
)
from tests.annotate.page.running import served

F = Fraction
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
]
ASK = {
    "question": "What will the matrix rest on?",
    "choices": ["The bone", "The repair material"],
    "answer": "The bone",
    "look": "Along the lower border of the opening.",
}


def absent(what: str) -> None:
    """Fail where nothing may be skipped, else skip aloud."""
    if os.environ.get("TEACHCUT_NO_SKIP") == "1":
        pytest.fail(f"{what} is needed and absent")
    pytest.skip(f"NOT TESTED: {what} is absent")


@pytest.fixture(scope="session")
def browser(driver: Any, chromium_program: str) -> Iterator[Any]:
    """Debian's Chromium, driven by Playwright."""
    browser = driver.chromium.launch(executable_path=chromium_program, args=ARGS)
    yield browser
    browser.close()


@pytest.fixture
def new_page(browser: Any) -> Iterator[Callable[..., Any]]:
    """Opens pages that fail the test on a script fault or a refusal by the page's policy.

    ``refused`` lets the browser complain of an answer such as 401 or 404.
    """
    contexts: list[Any] = []
    faults: list[str] = []

    def make(width: int = 1280, height: int = 900, refused: bool = False, **options: Any) -> Any:
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        if not refused:
            page.on(
                "console", lambda said: faults.append(said.text) if said.type == "error" else None
            )
        return page

    yield make
    for context in contexts:
        context.close()
    assert faults == []


@dataclass(frozen=True)
class CaseFolder:
    """A folder of outputs with its page, and the exact values behind it."""

    folder: Path
    made: Made

    @property
    def address(self) -> str:
        """The page's address on the disk."""
        return (self.folder / "index.html").as_uri()


def asking() -> Plan:
    """The usual plan with a question at one step."""
    plan = usual()
    plan.steps["matrix"]["ask"] = ASK
    return plan


@pytest.fixture(scope="session")
def film(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The film of the usual plan; every frame carries its own number."""
    frames = int(plan_values(usual()).length * 30)
    return numbered_film(tmp_path_factory.mktemp("film") / "film.mp4", frames)


@pytest.fixture(scope="session")
def case(tmp_path_factory: pytest.TempPathFactory, film: bytes) -> CaseFolder:
    """The usual case with its viewer page."""
    folder = tmp_path_factory.mktemp("out") / "bench-03"
    made = write_case(folder, asking(), film=film)
    write_viewer_page(folder, folder)
    return CaseFolder(folder, made)


def other_plan() -> Plan:
    """A second case: no step ``dry``, a step of its own, other times."""
    plan = usual()
    plan.case, plan.title = "bench-04", "A second furcal case"
    plan.still_before = None
    del plan.steps["dry"]
    plan.steps = {
        "isolate": plan.steps.pop("isolate"),
        "shape": {"title": "Shape the opening"},
        **plan.steps,
    }
    plan.shots = [
        Shot("isolate", F(40), F(8)),
        Shot("shape", F(3)),
        Shot("locate", F(2)),
        Shot("clean", F(60), F(8)),
        Shot("matrix", F(3)),
        Shot("fill", F(64), F(16)),
        Shot("set", F(10), F(0)),
        Shot("check", F(4)),
    ]
    plan.away = []
    plan.extra = {
        **plan.extra,
        "tooth": {"fdi": "46", "universal": "30", "name": "lower right first molar"},
        "presenter": "Evening group",
        "tags": ["furcation"],
    }
    return plan


@dataclass(frozen=True)
class Club:
    """A built site of two real cases, and the exact values behind them."""

    site: Path
    cases: dict[str, Made]


@pytest.fixture(scope="session")
def club(tmp_path_factory: pytest.TempPathFactory, film: bytes) -> Club:
    """The site over two cases."""
    root = tmp_path_factory.mktemp("club")
    cases = {}
    for plan in (asking(), other_plan()):
        frames = int(plan_values(plan).length * 30)
        own = film if plan.case == "bench-03" else numbered_film(root / "film.mp4", frames)
        cases[plan.case] = write_case(
            root / "cases" / plan.case / "out" / plan.case, plan, film=own
        )
    build_club(root / "cases", root / "site")
    return Club(root / "site", cases)


@pytest.fixture(scope="session")
def address(club: Club) -> Iterator[str]:
    """The site behind its own server."""
    with served(club.site) as url:
        yield url
