"""The viewer page in a real browser, opened from disk."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from annotate.page.viewer import write_viewer_page
from tests.annotate.page.casefolder import Plan, Shot, usual, write_case
from tests.browser.conftest import CaseFolder

pytestmark = pytest.mark.browser

Open = Callable[..., Any]
F = Fraction
READY = "() => document.getElementById('film').readyState >= 2"


def opened(new_page: Open, case: CaseFolder, hash_: str = "", **options: Any) -> Any:
    """The page from disk, with the film's first picture loaded."""
    page = new_page(**options)
    page.goto(case.address + hash_)
    page.wait_for_function(READY)
    return page


def clinical(page: Any) -> float | None:
    """The clinical time the page shows, to the millisecond."""
    value = page.evaluate("() => document.getElementById('clock').value")
    return float(value) if value else None


def now(page: Any) -> float:
    """Where the film is."""
    return float(page.evaluate("() => document.getElementById('film').currentTime"))


def at_rest(page: Any) -> None:
    """Waits until a seek has ended."""
    page.wait_for_function("() => !document.getElementById('film').seeking")


def test_film_plays_from_disk(new_page: Open, case: CaseFolder) -> None:
    """H.264 plays in Debian's Chromium from a page on disk, and the play button says so."""
    page = opened(new_page, case)
    page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for_function("() => document.getElementById('film').currentTime > 0.3")
    page.get_by_role("button", name="Pause").click()
    assert page.evaluate("() => document.getElementById('film').paused")


def test_fifth_step_in_one_click(new_page: Open, case: CaseFolder) -> None:
    """One click on step 5 goes there, and the link itself says how long it really took."""
    page = opened(new_page, case)
    link = page.get_by_role("navigation", name="Steps").get_by_role("link", name="Place the matrix")
    assert link.is_visible()
    assert "5 seconds" in link.inner_text() or "0:05" in link.inner_text()
    link.click()
    at_rest(page)
    start, end = case.made.cut_of("matrix")
    assert float(start) <= now(page) < float(end)
    assert link.get_attribute("aria-current") == "step"
    assert page.url.endswith("#step=matrix")


def test_clock_after_seeks(new_page: Open, case: CaseFolder) -> None:
    """Paused or playing, at every rate, the clock is right to 0.1 s at once after each seek."""
    page = opened(new_page, case)
    page.evaluate("() => document.getElementById('asking').click()")
    frames = (0, 75, 100, 333, 480, 512, 600, 700, 900, 1100, 1290)
    for rate, playing in product(("0.5", "1", "2"), (False, True)):
        page.select_option("#rate", rate)
        page.evaluate("(on) => (on ? teachcut.page.play() : teachcut.page.film.pause())", playing)
        for frame in frames:
            told = page.evaluate(
                "(t) => { teachcut.page.seek(t); return document.getElementById('clock').value; }",
                (frame + 0.5) / 30,
            )
            true = case.made.clinical(frame)
            assert (told == "") == (true is None)
            assert true is None or abs(Fraction(told) - true) <= Fraction(1, 10)
            if not playing and rate == "1":
                at_rest(page)
                wanted = None if true is None else float(true)
                assert clinical(page) == pytest.approx(wanted, abs=0.1)


def test_clock_while_playing(new_page: Open, case: CaseFolder) -> None:
    """While the film plays at 2x the clock shows the clinical time of the frame on the screen."""
    page = opened(new_page, case)
    page.select_option("#rate", "2")
    seen = page.evaluate(
        """async () => {
          const film = document.getElementById("film");
          const out = [];
          teachcut.page.seek(3);
          await film.play();
          while (out.length < 25) {
            await new Promise((done) => film.requestVideoFrameCallback((_, what) => {
              out.push([what.mediaTime, document.getElementById("clock").value]);
              done();
            }));
          }
          film.pause();
          return out;
        }"""
    )
    for media_time, told in seen:
        true = case.made.clinical(round(media_time * 30))
        assert true is not None
        assert abs(Fraction(told) - true) <= Fraction(1, 10)


def test_captions_from_disk(new_page: Open, case: CaseFolder) -> None:
    """Captions stand under the picture from disk, in the chosen language, or not at all."""
    page = opened(new_page, case)
    page.evaluate("() => teachcut.page.seek(7)")
    assert page.locator("#said").inner_text() == "Four clamps fit: 2 & 3 < 4."
    counts = page.evaluate(
        "() => [...document.getElementById('film').textTracks].map((t) => t.cues.length)"
    )
    assert counts == [3, 2]
    page.select_option("#language", label="Deutsch")
    page.evaluate("() => teachcut.page.seek(3)")
    assert page.locator("#said").inner_text() == "Erst die Klammer,\ndann das Tuch."
    assert page.locator("#said").get_attribute("lang") == "de"
    page.keyboard.press("Escape")
    page.select_option("#language", label="No captions")
    assert not page.locator("#said").is_visible()


def test_captions_that_the_picture_carries_are_not_said_twice(
    new_page: Open, case: CaseFolder, tmp_path: Path
) -> None:
    """Where they are drawn into the film the page begins without; whoever wants them picks them."""
    folder = tmp_path / "burnt"
    shutil.copytree(case.folder, folder)
    times = folder / "step-times.json"
    values = json.loads(times.read_text(encoding="utf-8")) | {"captions_in_picture": True}
    times.write_text(json.dumps(values), encoding="utf-8")
    write_viewer_page(folder, folder)
    page = opened(new_page, CaseFolder(folder, case.made))
    page.evaluate("() => teachcut.page.seek(7)")
    assert not page.locator("#said").is_visible()
    page.keyboard.press("c")
    assert page.locator("#said").inner_text() == "Four clamps fit: 2 & 3 < 4."


def test_transcript(new_page: Open, case: CaseFolder) -> None:
    """The transcript can be searched without regard to accents and case, and a line clicked."""
    page = opened(new_page, case)
    page.get_by_label("Find in the words").fill("FÚRCAL")
    lines = page.locator(".transcript:visible li:visible")
    assert lines.count() == 1
    assert page.locator("#found").inner_text() == "1 line"
    assert lines.locator("mark").inner_text() == "furcal"
    lines.get_by_role("link").click()
    page.wait_for_function("() => document.getElementById('film').currentTime >= 16")
    page.keyboard.press("Control+a")
    page.get_by_label("Find in the words").fill("nothing like it")
    assert page.get_by_text("No words like these in this film.").is_visible()


def test_question(new_page: Open, case: CaseFolder) -> None:
    """The film stops at a question, shows the answer on request, goes on, and can be told not to."""
    page = opened(new_page, case)
    start = float(case.made.cut_of("matrix")[0])
    page.evaluate("(t) => { teachcut.page.seek(t); return teachcut.page.play(); }", start - 0.4)
    panel = page.get_by_role("region", name="Question", exact=True)
    panel.wait_for()
    assert page.evaluate("() => document.getElementById('film').paused")
    assert now(page) == pytest.approx(start, abs=0.5)
    assert panel.get_by_text("Answer:").count() == 0
    panel.get_by_label("The repair material").check()
    panel.get_by_role("button", name="Show the answer").click()
    assert panel.get_by_text("Answer: The bone").is_visible()
    assert panel.get_by_text("You said: The repair material").is_visible()
    panel.get_by_role("button", name="Go on").click()
    page.wait_for_function("(t) => document.getElementById('film').currentTime > t + 1", arg=start)
    assert not panel.is_visible()
    page.get_by_label("Stop the film at each question").uncheck()
    page.evaluate("(t) => { teachcut.page.seek(t); return teachcut.page.play(); }", start - 0.4)
    page.wait_for_function(
        "(t) => document.getElementById('film').currentTime > t + 0.5", arg=start
    )
    assert not panel.is_visible()


def test_link_to_a_moment(new_page: Open, case: CaseFolder) -> None:
    """A link names a moment as W3C Media Fragments 1.0 (4.2.1) says; a malformed one is passed over."""
    page = new_page()
    links = {
        "#t=20": 20,
        "#t=npt:0:00:21.5": 21.5,
        "#t=,5": 0,
        "#t=30,30.4": 30,
        "#t=5&t=7": 7,
        "#t=9,8": 0,
        "#t=1:99": 0,
        "#x=1": 0,
        "#t=%4": 0,
    }
    for link, wanted in links.items():
        page.goto("about:blank")
        page.goto(case.address + link)
        page.wait_for_function(READY)
        at_rest(page)
        assert now(page) == pytest.approx(wanted, abs=0.04), link


def test_link_to_a_step(new_page: Open, case: CaseFolder) -> None:
    """A link names a step, also one the film leaves out: then it leads to the place passed over."""
    page = opened(new_page, case, "#step=fill")
    at_rest(page)
    start, _ = case.made.cut_of("fill")
    assert now(page) == pytest.approx(float(start), abs=0.04)
    page.evaluate("() => (location.hash = '#step=set')")
    page.wait_for_function(
        "(t) => Math.abs(document.getElementById('film').currentTime - t) < 0.05",
        arg=float(case.made.cut_of("check")[0]),
    )
    assert "not shown" in page.locator("#event").inner_text()
    page.evaluate("() => (location.hash = '#step=nowhere')")
    page.get_by_text("This case has no step “nowhere”.").first.wait_for()


def test_case_bar(new_page: Open, case: CaseFolder) -> None:
    """A click on the bar goes to that clinical time; on time the film leaves out, to the place it passes over."""
    page = opened(new_page, case)
    box = page.locator("#bar").bounding_box()
    total = float(Fraction(case.made.ledger["total"]))

    def click(seconds: float) -> None:
        page.mouse.click(box["x"] + box["width"] * seconds / total, box["y"] + 50)
        at_rest(page)

    click(60)
    assert clinical(page) == pytest.approx(60, abs=1.5)
    click(160)
    assert "away: check radiograph" in page.locator("#tip").inner_text()
    assert clinical(page) == pytest.approx(190, abs=1)
    click(400)
    assert "not shown" in page.locator("#tip").inner_text()
    assert now(page) == pytest.approx(float(case.made.cut_of("check")[0]), abs=0.05)


def test_keyboard(new_page: Open, case: CaseFolder) -> None:
    """Everything goes by keyboard: steps, frames, the bar; single keys can be switched off."""
    page = opened(new_page, case)
    page.keyboard.press("5")
    at_rest(page)
    assert page.locator("#step-name").inner_text() == "Step 5: Place the matrix"
    page.keyboard.press("n")
    at_rest(page)
    assert page.locator("#step-name").inner_text() == "Step 6: Fill the defect"
    before = now(page)
    page.keyboard.press(".")
    at_rest(page)
    assert now(page) == pytest.approx(before + 1 / 30, abs=0.001)
    page.keyboard.press("t")
    page.wait_for_function(
        "() => document.getElementById('live').textContent.startsWith('Clinical time')"
    )
    page.locator("#bar").focus()
    page.keyboard.press("Home")
    at_rest(page)
    page.keyboard.press("PageDown")
    at_rest(page)
    assert page.locator("#step-name").inner_text() == "Step 2: Locate the perforation"
    page.keyboard.press("PageUp")
    at_rest(page)
    told = page.locator("#bar").get_attribute("aria-valuetext")
    assert told is not None and re.search(r"step 1 Isolate the tooth", told)
    page.keyboard.press("ArrowRight")
    at_rest(page)
    assert clinical(page) == pytest.approx(8 + 5, abs=0.4)
    page.keyboard.press("?")
    page.get_by_label("Single keys on").uncheck()
    page.keyboard.press("Escape")
    page.keyboard.press("6")
    assert page.locator("#step-name").inner_text() == "Step 1: Isolate the tooth"


def test_tab_reaches_every_control(new_page: Open, case: CaseFolder) -> None:
    """The Tab key walks through the page without a trap, and every stop shows its focus."""
    page = opened(new_page, case)
    stops = []
    for _ in range(200):
        page.keyboard.press("Tab")
        stop = page.evaluate(
            """() => {
              const at = document.activeElement;
              if (at === document.body || at.dataset.visited) return null;
              at.dataset.visited = "1";
              const style = getComputedStyle(at);
              const name = at.id || at.dataset.step || at.dataset.t || at.tagName + at.textContent.trim().slice(0, 12);
              return [name, style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2];
            }"""
        )
        if stop is None:
            break
        stops.append(stop)
    names = [name for name, _ in stops]
    for wanted in (
        "back",
        "play",
        "next",
        "reel",
        "rate",
        "language",
        "sound",
        "copy",
        "keys",
        "full",
        "bar",
        "isolate",
        "check",
        "find",
        "before",
        "wipe",
        "asking",
    ):
        assert wanted in names
    assert [name for name, seen in stops if not seen] == []


def test_without_script(new_page: Open, case: CaseFolder) -> None:
    """Without scripts the film has its own controls and each step links to its moment of the film."""
    page = new_page(java_script_enabled=False)
    page.goto(case.address)
    assert page.locator("#film").get_attribute("controls") is not None
    link = page.get_by_role("link", name="Place the matrix")
    assert (link.get_attribute("href") or "").startswith("teaching-cut.mp4#t=")
    assert not page.locator("#clock").is_visible()
    assert page.get_by_role("slider", name="The whole case, in clinical time").is_visible()


def test_before_and_after(new_page: Open, case: CaseFolder) -> None:
    """Two pictures are compared by a slider or side by side."""
    page = opened(new_page, case)
    page.select_option("#before", label="2 Locate the perforation")
    assert (page.locator("#before-picture").get_attribute("src") or "") == "step-2.jpg"
    page.locator("#wipe").fill("25")
    assert "25%" in page.evaluate(
        "() => getComputedStyle(document.getElementById('after-picture')).clipPath"
    )
    page.get_by_label("Side by side").check()
    left, right = (page.locator(f"#{side}-picture").bounding_box() for side in ("before", "after"))
    assert left["x"] + left["width"] <= right["x"]


def test_handout_is_one_page(new_page: Open, case: CaseFolder, tmp_path: Path) -> None:
    """Printed on A4 the page is a handout of one sheet, with three steps or with forty."""
    page = new_page()
    places = [case.address]
    for count in (3, 16, 36, 40):
        plan = Plan(extra=usual().extra)
        words = {"title": "Clean the margins of the defect again", "note": "Short strokes. " * 12}
        plan.steps = {f"s{i}": {**words, "expect": (F(60), F(90))} for i in range(count)}
        plan.shots = [Shot(name, F(55), F(8)) for name in plan.steps]
        write_case(tmp_path / str(count), plan)
        places.append(write_viewer_page(tmp_path / str(count), tmp_path / str(count)).as_uri())
    for place in places:
        page.goto(place)
        sheets = page.pdf(prefer_css_page_size=True, print_background=True)
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", sheets)) == 1, place


def test_no_sideways_scrolling(new_page: Open, case: CaseFolder) -> None:
    """From a 320 px phone (WCAG 2.2, 1.4.10) to a seminar room the page never scrolls sideways."""
    page = opened(new_page, case)
    sizes = ((320, 640), (390, 844), (820, 1180), (1080, 720), (1440, 900), (1920, 1080))
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_targets_are_large_enough(new_page: Open, case: CaseFolder) -> None:
    """Every control is at least 24 by 24 CSS pixels (WCAG 2.2, 2.5.8)."""
    page = opened(new_page, case, width=390, height=844)
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, input, a, summary, [role=slider]")]
          .filter((one) => one.offsetParent !== null && !one.closest("label, .made"))
          .map((one) => [one.id || one.textContent.trim(), one.getBoundingClientRect()])
          .filter(([, box]) => box.width > 1 && (box.width < 24 || box.height < 24))
          .map(([name, box]) => `${name}: ${box.width} x ${box.height}`)"""
    )
    assert small == []
