"""Escaping, addresses and policy: what keeps a title from becoming markup, a path or a script.

Sources: WHATWG HTML (script data states), RFC 3986 (percent-encoding), Content Security Policy
Level 3 (hash sources).
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterable
from urllib.parse import quote

_PLAIN_NAME = re.compile(r"[a-z0-9](?:[a-z0-9_-]{0,62}[a-z0-9])?", re.ASCII)
#: Names that Windows keeps for devices (Win32 "Naming Files, Paths, and Namespaces").
_DEVICES = frozenset(
    ("con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10)))
)


def script_json(value: object) -> str:
    """JSON that may stand inside a ``script`` element: nothing in it can end the element."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for char in "<>&\u2028\u2029":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text


def address(name: str) -> str:
    """A file name as one segment of a relative address."""
    quoted = quote(name, safe="")
    return f"./{quoted}" if name.startswith(".") else quoted


def hash_source(text: str) -> str:
    """The policy's hash source for one inline script or style."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def page_policy(scripts: Iterable[str], styles: Iterable[str]) -> str:
    """The policy of a page that carries its own scripts and styles and reaches no network.

    ``file:`` stands beside ``'self'`` because browsers differ on whether a page from disk is
    its own origin.
    """
    script = " ".join(hash_source(s) for s in scripts) or "'none'"
    style = " ".join(hash_source(s) for s in styles) or "'none'"
    return (
        f"default-src 'none'; script-src {script}; style-src {style}; font-src data:; "
        "img-src 'self' file: data:; media-src 'self' file:; base-uri 'none'; form-action 'none'"
    )


#: The policy of the club's pages, whose scripts and styles are files of the site.
SITE_POLICY = (
    "default-src 'none'; script-src 'self' file:; style-src 'self' file:; font-src 'self' file: data:; "
    "img-src 'self' file: data:; media-src 'self' file:; base-uri 'none'; form-action 'none'"
)


def folder_name(text: str) -> str:
    """A folder or file name for an id: itself where that is safe everywhere, else a slug and a hash."""
    if _PLAIN_NAME.fullmatch(text) and text not in _DEVICES:
        return text
    slug = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40].strip("-")
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    return f"{slug}-{digest}" if slug else digest
