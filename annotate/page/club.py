"""The study club's site: static pages over every published case below a folder.

Only cases whose outputs say ``publishable`` appear. A case that was taken away, or may no longer
be published, is gone from every page, from the search and from the disk after the next build.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from annotate.page import pages, records, safe, siteview
from annotate.page.data import PageData
from annotate.page.feed import atom_feed
from annotate.page.folder import FILM, STEP_TIMES, page_data
from annotate.page.records import Record, StepGroup
from annotate.page.sitefiles import SiteFiles
from annotate.page.viewer import site_viewer_html
from chapters.errors import InputError

MARKER = "made.json"
ROWS_A_PAGE = 300
FIRST_CARDS = 24


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A case folder that the site does not show, and why."""

    folder: Path
    reason: str


@dataclass(frozen=True, slots=True)
class ClubReport:
    """What a build did: the ids shown, what was left out, how many stale files went."""

    site: Path
    published: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    removed: int


def build_club(root: Path, site: Path, title: str = "Study club", address: str = "") -> ClubReport:
    """Build the site over all published cases below ``root`` into the folder ``site``.

    ``address`` is where the site will lie on the web, for the feed's links; empty keeps them
    relative. A bad case is left out with its reason and stops no other. Raises InputError when
    ``root`` is no folder or ``site`` holds something that no build wrote.
    """
    if not root.is_dir():
        raise InputError(f"{root}: is no folder; name the folder that holds the cases")
    files = SiteFiles(site)
    found, left_out = _collect(root, site)
    groups = records.step_groups(found, _step_names(found))
    at = f"{address.rstrip('/')}/" if address else ""
    texts = dict(_site_texts(found, groups, title, at))
    media = dict(_site_media(found))
    files.plan({*texts, *media, *(f"cases/{r.name}/index.html" for r in found)})
    for name, source in media.items():
        files.media(name, source)
    for record in found:
        files.text(
            f"cases/{record.name}/index.html", site_viewer_html(record.page, record.parts, "../../")
        )
    for name, text in texts.items():
        files.text(name, text)
    removed = files.finish()
    return ClubReport(site, tuple(r.page.case for r in found), left_out, removed)


# -- Which cases -------------------------------------------------------------------------------


def _output_folders(root: Path, site: Path) -> Iterator[Path]:
    """Folders below ``root`` that hold a case's outputs, in the order of their paths."""
    skip = site.resolve()
    for here, folders, names in os.walk(root):
        place = Path(here)
        if place.resolve() == skip:
            folders.clear()
            continue
        folders[:] = sorted(f for f in folders if not f.startswith("."))
        if STEP_TIMES in names:
            yield place


def _collect(root: Path, site: Path) -> tuple[tuple[Record, ...], tuple[LeftOut, ...]]:
    found: dict[str, Record] = {}
    left_out: list[LeftOut] = []
    for folder in _output_folders(root, site):
        try:
            page = page_data(folder)
        except InputError as fault:
            left_out.append(LeftOut(folder, str(fault)))
            continue
        record = _record(page, folder)
        reason = _why_not(record, found.get(record.name.casefold()))
        if reason:
            left_out.append(LeftOut(folder, reason))
        else:
            found[record.name.casefold()] = record
    return records.in_order(found.values()), tuple(left_out)


def _why_not(record: Record, taken: Record | None) -> str:
    """Why a case is not shown; empty when it is."""
    page = record.page
    if not page.publishable or page.notice:
        return page.notice or "may not be published"
    if not (record.folder / MARKER).is_file() or record.film_bytes == 0:
        return "is not finished; make the case first"
    if taken is not None:
        return f"the id {page.case} is taken by {taken.folder}; give one of them another id"
    return ""


def _record(page: PageData, folder: Path) -> Record:
    film, marker = folder / FILM, folder / MARKER
    size = film.stat().st_size if film.is_file() else 0
    made_s = marker.stat().st_mtime if marker.is_file() else 0.0
    updated = datetime.fromtimestamp(int(made_s), UTC)
    return Record(safe.folder_name(page.case), folder, page, updated, size)


def _step_names(found: tuple[Record, ...]) -> dict[str, str]:
    """Step id -> file name of its page; ``index`` is the list of all steps."""
    ids = {step.id for record in found for step in record.page.steps}
    return {one: safe.folder_name(one if one != "index" else "index-") for one in ids}


# -- What is written ---------------------------------------------------------------------------


def _site_media(found: tuple[Record, ...]) -> Iterator[tuple[str, Path]]:
    for record in found:
        page = record.page
        names = [page.film, *(w.file for w in page.words), *(p.file for p in page.pictures)]
        names += [name for name in (page.poster, page.small) if name]
        names += [step.picture for step in page.steps if step.picture]
        for name in names:
            yield f"cases/{record.name}/{name}", record.folder / name


def _site_texts(
    found: tuple[Record, ...], groups: tuple[StepGroup, ...], title: str, address: str
) -> Iterator[tuple[str, str]]:
    """Every text of the site but the case pages: file name -> text."""
    for name, parts in pages.SITE_ASSETS.items():
        yield f"assets/{name}", pages.together(parts)
    index = safe.script_json(records.search_index(found, groups))
    yield "data/index.js", f"teachcut.index = {index};\n"
    for record in found:
        value = safe.script_json(siteview.side_data(record))
        yield f"cases/{record.name}/case.js", f"teachcut.addCase({value});\n"
    common: dict[str, Any] = {"policy": safe.SITE_POLICY, "club": title}
    cards = [siteview.card(r) for r in found[:FIRST_CARDS]]
    rest = siteview.facets(found, groups)
    yield (
        "index.html",
        pages.fill("club.html", **common, root="", cards=cards, count=len(found), facets=rest),
    )
    yield "side.html", pages.fill("side.html", **common, root="")
    yield "feed.xml", atom_feed(found, title, address)
    for name, number, of, rows in _sheets("cases", found):
        text = pages.fill(
            "list.html", **common, root="", rows=rows, number=number, of=of, stem="cases"
        )
        yield name, text
    yield "steps/index.html", pages.fill("steps.html", **common, root="../", groups=groups)
    for group in groups:
        head = siteview.spread(group)
        for name, number, of, rows in _sheets(f"steps/{group.name}", group.cases):
            lines = [siteview.step_line(one, group) for one in rows]
            values = {"group": group, "lines": lines, "spread": head, "number": number, "of": of}
            yield name, pages.fill("step.html", **common, root="../", **values, stem=group.name)


def _sheets(stem: str, rows: tuple[Any, ...]) -> Iterator[tuple[str, int, int, tuple[Any, ...]]]:
    """A long list as pages: file name, number, number of pages, the rows."""
    of = max(1, -(-len(rows) // ROWS_A_PAGE))
    for number in range(1, of + 1):
        name = f"{stem}.html" if number == 1 else f"{stem}-{number}.html"
        yield name, number, of, rows[(number - 1) * ROWS_A_PAGE : number * ROWS_A_PAGE]
