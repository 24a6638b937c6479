"""The pages' feed, ranges and policy against the published standards and an independent reader."""

from __future__ import annotations

import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from annotate.page.feed import ATOM, atom_feed
from annotate.page.folder import page_data
from annotate.page.records import Record
from tests.annotate.page.casefolder import usual, write_case

pytestmark = pytest.mark.outside
A = f"{{{ATOM}}}"


def feedparser() -> Any:
    """The feed reader, or a loud skip."""
    try:
        import feedparser as reader
    except ImportError:
        if os.environ.get("TEACHCUT_NO_SKIP") == "1":
            pytest.fail("the Python package feedparser is needed and absent")
        pytest.skip("NOT TESTED: the Python package feedparser is absent")
    return reader


def club(folder: Path, count: int = 3) -> list[Record]:
    """Some cases, one with hostile words."""
    out = []
    for i in range(count):
        plan = usual()
        plan.case = f"case-{i}"
        plan.title = ["Plain", "<b>&amp; ]]> \x0b\ud800", "ترميم"][i % 3]
        write_case(folder / plan.case, usual(), pictures=False)
        page = page_data(folder / plan.case)
        from dataclasses import replace

        page = replace(page, case=plan.case, title=plan.title)
        out.append(
            Record(plan.case, folder, page, datetime(2024, 3, i + 1, 9, 30, tzinfo=UTC), 1234)
        )
    return out


@pytest.mark.parametrize("address", ["", "https://club.example/site/"])
def test_atom_feed_is_rfc_4287(tmp_path: Path, address: str) -> None:
    """What RFC 4287 requires of feed and entry (4.1.1, 4.1.2, 4.2.6, 3.3) is there, each once."""
    root = ElementTree.fromstring(atom_feed(club(tmp_path), "Study club", address))
    entries = root.findall(f"{A}entry")
    for holder in (root, *entries):
        for name in ("id", "title", "updated"):
            assert len(holder.findall(f"{A}{name}")) == 1
        assert re.fullmatch(
            r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", holder.findtext(f"{A}updated") or ""
        )
        assert re.fullmatch(
            r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", holder.findtext(f"{A}id") or ""
        )
    assert len({e.findtext(f"{A}id") for e in entries}) == len(entries)
    assert root.find(f"{A}author/{A}name") is not None
    rels = [link.get("rel") for link in root.findall(f"{A}link")]
    assert rels.count("self") == 1 and rels.count("alternate") == 1
    for link in root.iter(f"{A}link"):
        assert (link.get("href") or "").startswith(address or ("cases/", "feed.xml", "index.html"))


def test_atom_feed_in_an_independent_reader(tmp_path: Path) -> None:
    """feedparser finds no fault, and the titles and links that went in."""
    text = atom_feed(club(tmp_path), "Study club", "https://club.example/")
    found = feedparser().parse(text.encode("utf-8"))
    assert not found.bozo and found.version == "atom10"
    assert next(e.title for e in found.entries) == "Plain"
    assert found.entries[0].link == "https://club.example/cases/case-0/index.html"
    film = next(link for link in found.entries[0].links if link.rel == "enclosure")
    assert (film.type, film.length) == ("video/mp4", "1234")


def test_a_case_keeps_its_entry_id(tmp_path: Path) -> None:
    """The id of an entry stays when the site moves (RFC 4287, 4.2.6)."""
    ids = [
        [
            e.findtext(f"{A}id")
            for e in ElementTree.fromstring(atom_feed(club(tmp_path), "Club", at)).findall(
                f"{A}entry"
            )
        ]
        for at in ("", "https://club.example/")
    ]
    assert ids[0] == ids[1]
