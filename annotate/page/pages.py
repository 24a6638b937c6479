"""The templates, styles and scripts that the package carries, and the one Jinja2 environment."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from annotate.page import safe, say
from annotate.words import CAUTIONS
from chapters.times import clock_text, duration_text, short_clock_text

VIEWER_SCRIPTS = ("time.js", "player.js", "words.js", "extras.js")
VIEWER_STYLES = ("type.css", "base.css", "viewer.css", "print.css")
#: What the club's site carries in its folder ``assets``: file -> what it is put together from.
SITE_ASSETS = {
    "viewer.js": VIEWER_SCRIPTS,
    "viewer.css": VIEWER_STYLES,
    "club.css": ("type.css", "base.css", "club.css"),
    "search.js": ("time.js", "search.js"),
    "club.js": ("club.js",),
    "side.js": ("side.js",),
}


@cache
def asset(name: str) -> str:
    """The text of one style or script of the package."""
    return (resources.files("annotate.page") / "assets" / name).read_text(encoding="utf-8")


def together(names: tuple[str, ...]) -> str:
    """Several styles or scripts as one file."""
    return "\n".join(asset(name) for name in names)


@cache
def environment() -> Environment:
    """Jinja2 with escaping on everywhere; a name a template does not know is an error."""
    env = Environment(
        loader=PackageLoader("annotate.page", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(
        clock=clock_text,
        short_clock=short_clock_text,
        duration=duration_text,
        spoken=say.spoken,
        iso=say.iso_duration,
        address=safe.address,
    )
    env.globals["cautions"] = CAUTIONS
    return env


def fill(template: str, **values: Any) -> str:
    """The page that ``template`` makes of ``values``."""
    return environment().get_template(template).render(**values)
