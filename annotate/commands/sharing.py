"""``club``: the study group's site over all published cases, built and served."""

from __future__ import annotations

import argparse
from pathlib import Path

from annotate.commands.common import Command, note, say
from annotate.page.club import build_club
from annotate.page.serve import check_access, serve


def _arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="folder with made cases in it")
    parser.add_argument(
        "--to", type=Path, metavar="SITE", help="folder of the site (default: club in FOLDER)"
    )
    parser.add_argument("--title", default="Study club", help="name of the club on its pages")
    parser.add_argument(
        "--address", default="", metavar="URL", help="where the site will lie, for the feed's links"
    )
    parser.add_argument("--serve", action="store_true", help="serve the site after building it")
    parser.add_argument(
        "--host", default="127.0.0.1", help="address to serve on (default: only here)"
    )
    parser.add_argument("--port", type=int, default=8300, help="port to serve on (default: 8300)")
    parser.add_argument(
        "--word",
        metavar="WORD",
        help="access word that viewers type; needed when --host opens the site to a network",
    )


def run_club(args: argparse.Namespace) -> int:
    """Build the site; then, if asked, serve it until Ctrl-C."""
    if args.serve:
        check_access(args.host, args.word)
    site = args.folder / "club" if args.to is None else args.to
    report = build_club(args.folder, site, args.title, args.address)
    for left in report.left_out:
        note(f"left out: {left.folder}: {left.reason}")
    shown = len(report.published)
    say(f"{shown} case{'' if shown == 1 else 's'} in {site / 'index.html'}")
    if args.serve:
        serve(
            site,
            args.host,
            args.port,
            args.word,
            lambda url: say(f"serving {url} (Ctrl-C ends it)"),
        )
    return 0


COMMANDS = (
    Command(
        "club",
        "build the study club's site over all published cases, and serve it",
        "teachcut club recorded-cases --serve",
        _arguments,
        run_club,
    ),
)
