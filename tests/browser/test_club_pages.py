"""The club's pages in a real browser: from disk and behind the site's own server."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from tests.annotate.page.casefolder import CODE_BITS
from tests.annotate.page.running import served
from tests.browser.conftest import Club

pytestmark = pytest.mark.browser

Open = Callable[..., Any]


def start(club: Club, address: str, where: str) -> str:
    """The site's address: on the disk or on the server."""
    return club.site.as_uri() if where == "disk" else address


@pytest.mark.parametrize("where", ["disk", "server"])
def test_search_and_filters(new_page: Open, club: Club, address: str, where: str) -> None:
    """Words are found by their beginnings without regard to accents; filters and the address keep the choice."""
    page = new_page()
    page.goto(f"{start(club, address, where)}/index.html")
    cards = page.locator("#cards li")
    assert cards.count() == 2
    page.get_by_label("Find cases").fill("FÜRC sec")
    assert cards.count() == 1
    assert cards.get_by_role("link").inner_text().endswith("A second furcal case")
    assert page.locator("#count").inner_text() == "1 case"
    page.get_by_label("Find cases").fill("19")
    assert "Sealing a perforation" in cards.inner_text()
    page.get_by_label("Find cases").fill("zzz")
    assert page.get_by_text("No case is like this.").is_visible()
    page.get_by_role("button", name="Clear search and filters").click()
    page.get_by_label("Presenter").select_option("Evening group")
    assert cards.count() == 1
    page.wait_for_url("**#presenter=Evening%20group")
    page.reload()
    assert cards.count() == 1
    cards.get_by_role("link").click()
    page.wait_for_url("**/cases/bench-04/index.html")
    assert page.locator("h1").inner_text() == "A second furcal case"


@pytest.mark.parametrize("where", ["disk", "server"])
def test_a_step_over_all_cases(new_page: Open, club: Club, address: str, where: str) -> None:
    """The step's page tells how long it took in each case and leads to the moment in each film."""
    page = new_page()
    page.goto(f"{start(club, address, where)}/steps/index.html")
    page.get_by_role("link", name="Place the matrix").click()
    page.wait_for_url("**/steps/matrix.html")
    lines = page.locator(".lines li")
    assert ["0:03" in text for text in lines.all_inner_texts()] == [True, False]
    assert "0:05" in lines.nth(1).inner_text()
    lines.nth(0).get_by_role("link").click()
    page.wait_for_url("**/cases/bench-04/index.html#step=matrix")
    begin = float(club.cases["bench-04"].cut_of("matrix")[0])
    page.wait_for_function(
        "(t) => Math.abs(document.getElementById('film').currentTime - t) < 0.1", arg=begin
    )


def test_clock_against_the_picture(new_page: Open, club: Club, address: str) -> None:
    """After seeks at any rate the clock shows the clinical time of the frame whose number is in the picture."""
    page = new_page()
    page.goto(f"{address}/cases/bench-03/index.html")
    page.wait_for_function("() => document.getElementById('film').readyState >= 2")
    for rate, t in zip(
        ("0.5", "1", "2") * 3, (3.0, 7.77, 11.2, 13.9, 16.5, 21.1, 23.4, 30.05, 41.9), strict=True
    ):
        page.select_option("#rate", rate)
        number, told = page.evaluate(
            """async ([t, bits]) => {
              const film = document.getElementById("film");
              teachcut.page.seek(t);
              await new Promise((done) => film.requestVideoFrameCallback(done));
              while (film.seeking) await new Promise((done) => setTimeout(done, 5));
              const canvas = new OffscreenCanvas(film.videoWidth, film.videoHeight).getContext("2d");
              canvas.drawImage(film, 0, 0);
              const wide = Math.floor(film.videoWidth / bits);
              let number = 0;
              for (let i = 0; i < bits; i += 1) {
                const dot = canvas.getImageData(i * wide + wide / 2, film.videoHeight / 2, 1, 1).data[0];
                number = number * 2 + (dot > 120 ? 1 : 0);
              }
              return [number, document.getElementById("clock").value];
            }""",
            [t, CODE_BITS],
        )
        assert abs(number - t * 30) < 1.01
        true = club.cases["bench-03"].clinical(number)
        assert true is not None
        assert abs(Fraction(told) - true) <= Fraction(1, 10)


def test_captions_from_the_server(new_page: Open, club: Club, address: str) -> None:
    """Under the strict policy of the server the page has its words, its pictures and its film."""
    page = new_page()
    page.goto(f"{address}/cases/bench-03/index.html#t=7")
    page.wait_for_function("() => document.getElementById('film').readyState >= 2")
    assert page.locator("#said").inner_text() == "Four clamps fit: 2 & 3 < 4."
    assert page.evaluate(
        "() => [...document.images].every((one) => one.loading === 'lazy' || one.naturalWidth > 0)"
    )
    beside = page.get_by_role("link", name="Beside another case").get_attribute("href") or ""
    assert beside.endswith("/side.html#a=bench-03")


def test_the_film_jumps_behind_our_server(new_page: Open, club: Club, address: str) -> None:
    """Seeking works because ranges are answered; where they are not, the page says so."""
    page = new_page()
    page.goto(f"{address}/cases/bench-03/index.html")
    page.wait_for_function("() => document.getElementById('film').readyState >= 1")
    assert page.evaluate("() => document.getElementById('film').seekable.end(0)") > 40
    page.evaluate(
        "() => Object.defineProperty(document.getElementById('film'), 'seekable', { value: { length: 0 } })"
    )
    page.evaluate("() => teachcut.page.seek(5)")
    assert "without byte ranges" in page.locator("#event").inner_text()


@pytest.mark.parametrize("where", ["disk", "server"])
def test_side_by_side(new_page: Open, club: Club, address: str, where: str) -> None:
    """Two films begin a step together; the one that ends it first waits; then both go on together."""
    page = new_page()
    page.goto(f"{start(club, address, where)}/index.html")
    for box in page.get_by_role("checkbox").all():
        box.check()
    page.get_by_role("link", name="Side by side", exact=True).click()
    page.wait_for_url("**/side.html#**")
    page.wait_for_function(
        "() => globalThis.teachcut?.side?.sides.b?.film.readyState >= 2 && teachcut.side.sides.a.film.readyState >= 2"
    )
    names = page.evaluate("() => ['a', 'b'].map((side) => teachcut.side.sides[side].data.id)")
    rows = page.locator("#rows tr")
    assert rows.count() == 9
    page.get_by_role("button", name="Place the matrix").click()
    begins = [float(club.cases[name].cut_of("matrix")[0]) for name in names]
    places = page.evaluate(
        "() => ['a', 'b'].map((side) => teachcut.side.sides[side].film.currentTime)"
    )
    assert places == pytest.approx(begins, abs=0.6)
    short = "ab"[names.index("bench-04")]
    page.locator(f"#state-{short}").get_by_text("Waiting for the other film.").wait_for()
    assert page.evaluate("(side) => teachcut.side.sides[side].film.paused", short)
    page.wait_for_function("() => teachcut.side.state().current === 'fill'")
    ends = [float(club.cases[name].cut_of("fill")[0]) for name in names]
    places = page.evaluate(
        "() => ['a', 'b'].map((side) => teachcut.side.sides[side].film.currentTime)"
    )
    assert places == pytest.approx(ends, abs=0.6)
    page.get_by_role("button", name="Pause both").click()
    page.get_by_role("button", name="Dry the site").click()
    assert "no such step" in page.locator("#rows tr", has_text="Dry the site").inner_text()
    lone = page.locator(f"#state-{short}")
    assert lone.inner_text() == "This case has no such step."
    assert "step=dry" in page.url


def test_choosing_a_case_by_keyboard(new_page: Open, club: Club) -> None:
    """A case is found and taken with the keys alone; a case the club does not have is said so."""
    page = new_page()
    page.goto(f"{club.site.as_uri()}/side.html#b=no-such-case")
    page.get_by_text("This case is not in the club.").wait_for()
    box = page.get_by_role("combobox", name="First case")
    box.focus()
    page.keyboard.type("seal")
    page.keyboard.press("ArrowDown")
    assert (
        page.get_by_role("option", selected=True).inner_text()
        == "Sealing a perforation on a practice tooth"
    )
    page.keyboard.press("Enter")
    page.wait_for_function("() => teachcut.side.sides.a?.data.id === 'bench-03'")
    assert page.get_by_text("Choose a second case.").is_visible()


def test_access_word(new_page: Open, club: Club) -> None:
    """The word is asked for once; then the page that was wanted opens."""
    with served(club.site, "tin opener") as url:
        page = new_page(refused=True)
        page.goto(f"{url}/cases/bench-03/index.html")
        page.get_by_label("Access word").fill("something")
        page.get_by_role("button", name="Enter").click()
        page.get_by_text("This is not the access word.").wait_for()
        page.get_by_label("Access word").fill("tin opener")
        page.get_by_role("button", name="Enter").click()
        page.wait_for_function("() => document.getElementById('film')?.readyState >= 2")


def test_without_script(new_page: Open, club: Club) -> None:
    """Without scripts the first page still lists the cases and leads to the list of all."""
    page = new_page(java_script_enabled=False)
    page.goto(f"{club.site.as_uri()}/index.html")
    assert page.locator("#cards li").count() == 2
    assert not page.get_by_label("Find cases").is_visible()
    page.get_by_role("link", name="List of all cases").click()
    page.wait_for_url("**/cases.html")
    assert page.get_by_role("row").count() == 3


def test_search_agrees_with_a_plain_one(new_page: Open, club: Club) -> None:
    """For many texts the index finds exactly the cases of which every word begins some word."""
    from annotate.page.folder import page_data
    from annotate.page.records import terms, weighted_terms

    page = new_page()
    page.goto(f"{club.site.as_uri()}/index.html")
    root = club.site.parent / "cases"
    known = {
        name: set(weighted_terms(page_data(root / name / "out" / name))) for name in club.cases
    }
    for text in (
        "",
        "s",
        "se",
        "furcal",
        "the tooth",
        "36",
        "3",
        "evening p",
        "Ｓｅａｌ",
        "seal-ing",
        "perforation!",
        "ultrasonic 46",
    ):
        wanted = {
            name
            for name, have in known.items()
            if all(any(t.startswith(w) for t in have) for w in terms(text))
        }
        found = page.evaluate(
            "(text) => teachcut.club.search(text).map((row) => teachcut.index.rows[row][12])", text
        )
        assert set(found) == wanted
