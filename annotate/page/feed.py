"""The club's Atom feed (RFC 4287). Pure."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime
from urllib.parse import quote
from xml.etree import ElementTree

from annotate.page.records import Record
from chapters.times import duration_text

ATOM = "http://www.w3.org/2005/Atom"
#: Name space for the ids of entries: a case keeps its id wherever the site lies (RFC 4122, version 5).
_NAMES = uuid.UUID("6f1a0b0e-3b1d-5a55-9b0f-7a1c9c0f2d11")


def atom_feed(records: Sequence[Record], title: str, address: str) -> str:
    """The feed of all cases, the newest first.

    ``address`` is where the site lies, ending in ``/``; empty keeps the links relative to the feed.
    """
    ElementTree.register_namespace("", ATOM)
    feed = ElementTree.Element(f"{{{ATOM}}}feed")
    _text(feed, "id", _urn(f"club {title} {address}"))
    _text(feed, "title", title)
    _text(feed, "updated", _stamp(max((r.updated for r in records), default=None)))
    _author(feed, title)
    _link(feed, {"rel": "self", "href": f"{address}feed.xml", "type": "application/atom+xml"})
    _link(feed, {"rel": "alternate", "href": f"{address}index.html", "type": "text/html"})
    for record in records:
        _entry(feed, record, address)
    ElementTree.indent(feed, " ")
    body = ElementTree.tostring(feed, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{body}\n'


def _entry(feed: ElementTree.Element, record: Record, address: str) -> None:
    page = record.page
    entry = ElementTree.SubElement(feed, f"{{{ATOM}}}entry")
    folder = f"{address}cases/{quote(record.name)}/"
    _text(entry, "id", _urn(f"case {page.case}"))
    _text(entry, "title", page.title)
    _text(entry, "updated", _stamp(record.updated))
    if page.presenter:
        _author(entry, page.presenter)
    _link(entry, {"rel": "alternate", "href": f"{folder}index.html", "type": "text/html"})
    film = {"href": f"{folder}{page.film}", "type": "video/mp4", "length": str(record.film_bytes)}
    _link(entry, {"rel": "enclosure", **film})
    for tag in page.tags:
        ElementTree.SubElement(entry, f"{{{ATOM}}}category", {"term": _clean(tag)})
    count = len(page.steps)
    said = (
        f"{count} {'step' if count == 1 else 'steps'}, {duration_text(record.total)} in the room, "
    )
    _text(entry, "summary", f"{said}{duration_text(page.length)} of film. {page.cautions[0]}")


def _urn(name: str) -> str:
    return f"urn:uuid:{uuid.uuid5(_NAMES, name.encode('utf-8', 'replace').decode('utf-8'))}"


def _stamp(when: datetime | None) -> str:
    """RFC 3339 in UTC, whole seconds; the epoch where there is nothing to date."""
    return when.strftime("%Y-%m-%dT%H:%M:%SZ") if when else "1970-01-01T00:00:00Z"


def _text(parent: ElementTree.Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, f"{{{ATOM}}}{name}").text = _clean(text)


def _author(parent: ElementTree.Element, name: str) -> None:
    _text(ElementTree.SubElement(parent, f"{{{ATOM}}}author"), "name", name)


def _link(parent: ElementTree.Element, fields: dict[str, str]) -> None:
    ElementTree.SubElement(parent, f"{{{ATOM}}}link", fields)


def _clean(text: str) -> str:
    """Without the characters that XML 1.0 (production 2, Char) does not allow."""
    allowed = (
        c
        for c in text
        if c in "\t\n\r"
        or "\u0020" <= c <= "\ud7ff"
        or "\ue000" <= c <= "\ufffd"
        or c >= "\U00010000"
    )
    return "".join(allowed)
