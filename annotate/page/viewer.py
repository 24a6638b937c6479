"""One case's viewer page: a single file that needs no network and opens from disk by double click."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from markupsafe import Markup

from annotate.page import casebar, pages, safe, view
from annotate.page.data import PageData
from annotate.page.folder import page_data
from chapters.spans import Span

PAGE = "index.html"


def write_viewer_page(folder_of_outputs: Path, into: Path) -> Path:
    """Write ``index.html`` into ``into`` for the case whose outputs lie in ``folder_of_outputs``.

    The page refers to the film and the pictures by their bare names, so they belong in ``into``
    too. Styles, scripts, captions, chapters and the time map stand inside the page. Raises
    InputError when an output is missing or malformed.
    """
    text = viewer_html(page_data(folder_of_outputs))
    target = into / PAGE
    write_text(target, text)
    return target


def write_text(target: Path, text: str) -> None:
    """Write beside and rename into place, so that no half-written page bears a finished name."""
    part = target.with_name(f".{target.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def viewer_html(page: PageData) -> str:
    """The page with everything inside it."""
    scripts = [pages.asset(name) for name in pages.VIEWER_SCRIPTS]
    styles = [pages.asset(name) for name in pages.VIEWER_STYLES]
    return pages.fill(
        "viewer.html",
        **_values(page, casebar.segments(page)),
        policy=safe.page_policy(scripts, styles),
        # Our own files of the package, never a user's text; the policy names their hashes.
        styles=[Markup(text) for text in styles],
        scripts=[Markup(text) for text in scripts],
        site="",
    )


def site_viewer_html(page: PageData, parts: tuple[casebar.Segment, ...], site: str) -> str:
    """The same page for the club's site: styles and scripts are files under the address ``site``."""
    return pages.fill(
        "viewer.html",
        **_values(page, parts),
        policy=safe.SITE_POLICY,
        styles=[],
        scripts=[],
        site=site,
    )


def _values(page: PageData, parts: tuple[casebar.Segment, ...]) -> dict[str, object]:
    whole = view.case_end(parts)
    start = Span(Fraction(0), whole)
    return {
        "page": page,
        "steps": view.step_views(page, parts),
        "total": whole,
        "bars": view.bars(parts, start, whole, Fraction(0)),
        "marks": view.thin_out([(s.clinical.start, str(s.number)) for s in page.steps], whole),
        "ticks": [
            (view.percent(at, whole), at) for at in casebar.axis(whole) if at <= whole * 97 / 100
        ],
        "left_out": [part for part in parts if part.kind in ("away", "not_shown")],
        "transcripts": [(words, view.passages(page, words)) for words in page.words],
        # script_json escapes every character that could end the element.
        "data": Markup(safe.script_json(view.script_data(page, parts))),
    }
