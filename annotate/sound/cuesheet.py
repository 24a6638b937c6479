"""The cue sheet: for each step what to say, when, for how long, and what comes next.

Values in, text out: ``cue_sheet_html`` makes one page that needs no other file and prints well on
A4, ``cue_sheet_text`` the same as plain lines. Pictures are JPEG bytes and stand inside the page.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from typing import Literal

from annotate.sound.takes import USUAL_WPM, words_that_fit
from chapters.spans import Span
from chapters.times import duration_text, round_half_up, short_clock_text, speed_text

PartKind = Literal["real", "fast", "still", "held"]
_BAR_PX = 600


@dataclass(frozen=True, slots=True)
class CuePart:
    """One stretch of a step as the film shows it: real time, fast at a speed, a still, held."""

    kind: PartKind
    length: Fraction
    speed: Fraction = Fraction(1)

    @property
    def label(self) -> str:
        """``real time``, ``8×``, ``still``, ``held``."""
        if self.kind == "fast":
            return speed_text(self.speed)
        return {"real": "real time", "still": "still", "held": "held"}[self.kind]


@dataclass(frozen=True, slots=True)
class Cue:
    """One shown step. ``take`` says how its take stands ("" where there is none yet).

    ``script`` is what is to be said, where that is written; else the ``note`` is all there is.
    """

    number: int
    title: str
    cut: Span
    parts: tuple[CuePart, ...]
    note: str = ""
    take: str = ""
    script: str = ""
    frames: tuple[bytes, ...] = ()


@dataclass(frozen=True, slots=True)
class CueSheet:
    """The whole sheet. ``pace`` in words a minute; ``measured``: from the presenter's own takes."""

    title: str
    film_length: Fraction
    cues: tuple[Cue, ...]
    pace: Fraction = USUAL_WPM
    measured: bool = False
    language: str = "en"
    mark: str = ""

    @property
    def pace_text(self) -> str:
        """How the numbers of words were reckoned."""
        words = round_half_up(self.pace)
        source = "your own pace in earlier takes" if self.measured else "a usual pace"
        return f"Words are counted at {words} a minute, {source}."


def _seconds(length: Fraction) -> str:
    tenths = round_half_up(length * 10)
    return f"{tenths // 10}.{tenths % 10} s"


def _how_shown(cue: Cue) -> str:
    """``real time``, or each part with its length where there are several."""
    if len(cue.parts) == 1:
        return cue.parts[0].label
    return ", ".join(f"{part.label} {_seconds(part.length)}" for part in cue.parts)


def _words(cue: Cue, pace: Fraction) -> str:
    fit = words_that_fit(cue.cut.length, pace)
    text = "1 word fits" if fit == 1 else f"{fit} words fit"
    written = len((cue.script or cue.note).split())
    if written > fit:
        text += f"; the {'script' if cue.script else 'note'} has {written}"
    return text


def _next(cues: Sequence[Cue], index: int, film_length: Fraction) -> str:
    if index + 1 < len(cues):
        following = cues[index + 1]
        return f"{following.number} {following.title} at {short_clock_text(following.cut.start)}"
    return f"the film ends at {short_clock_text(film_length)}"


def cue_sheet_text(sheet: CueSheet) -> str:
    """The sheet as plain lines, one block a step."""
    lines = [sheet.title, f"Cue sheet. Film {duration_text(sheet.film_length)}. {sheet.pace_text}"]
    if sheet.mark:
        lines.insert(0, sheet.mark)
    for index, cue in enumerate(sheet.cues):
        start, end = short_clock_text(cue.cut.start), short_clock_text(cue.cut.end)
        lines += [
            "",
            f"{cue.number}  {cue.title}",
            f"   {start} to {end}   {_seconds(cue.cut.length)}   {_words(cue, sheet.pace)}",
            f"   shown: {_how_shown(cue)}",
        ]
        if cue.note:
            lines.append(f"   note:  {' '.join(cue.note.split())}")
        if cue.script:
            lines.append(f"   say:   {' '.join(cue.script.split())}")
        if cue.take:
            lines.append(f"   take:  {cue.take}")
        lines.append(f"   next:  {_next(sheet.cues, index, sheet.film_length)}")
    return "\n".join([*lines, ""])


def cue_sheet_html(sheet: CueSheet) -> str:
    """The sheet as one HTML page."""
    cues = "\n".join(
        _cue_html(cue, sheet, _next(sheet.cues, index, sheet.film_length))
        for index, cue in enumerate(sheet.cues)
    )
    mark = f'<p class="mark">{escape(sheet.mark)}</p>\n' if sheet.mark else ""
    return f"""<!doctype html>
<html lang="{escape(sheet.language)}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Cue sheet: {escape(sheet.title)}</title>
<style>{_STYLE}</style>
</head>
<body>
{_HATCH}
<header>
{mark}<h1 dir="auto">{escape(sheet.title)}</h1>
<p>Cue sheet. Film {duration_text(sheet.film_length)}. {escape(sheet.pace_text)}</p>
</header>
<main>
{cues}
</main>
</body>
</html>
"""


def _cue_html(cue: Cue, sheet: CueSheet, following: str) -> str:
    pictures = "".join(
        f'<img alt="" src="data:image/jpeg;base64,{b64encode(frame).decode("ascii")}">'
        for frame in cue.frames
    )
    strip = f'<div class="strip">{pictures}</div>\n' if pictures else ""
    kind = "beside" if cue.script else "note"
    note = f'<p class="{kind}" dir="auto">{escape(cue.note)}</p>\n' if cue.note else ""
    if cue.script:
        note += f'<p class="note" dir="auto">{escape(cue.script.strip())}</p>\n'
    take = f'<p class="take">Take: {escape(cue.take)}</p>\n' if cue.take else ""
    start, end = short_clock_text(cue.cut.start), short_clock_text(cue.cut.end)
    return f"""<section>
<h2><span class="number">{cue.number}</span> <span dir="auto">{escape(cue.title)}</span></h2>
<p class="figures"><b>{start}</b> to <b>{end}</b> <span>{_seconds(cue.cut.length)}</span> \
<span>{escape(_words(cue, sheet.pace))}</span></p>
{_bar(cue)}
{strip}{note}{take}<p class="next">Next: <span dir="auto">{escape(following)}</span></p>
</section>"""


def _bar(cue: Cue) -> str:
    """The step's time from left to right: real time solid, fast hatched, still and held outlined."""
    whole = sum((part.length for part in cue.parts), Fraction(0))
    if not whole:
        return ""
    shapes, at = [], Fraction(0)
    for part in cue.parts:
        x, width = float(at / whole) * _BAR_PX, float(part.length / whole) * _BAR_PX
        shapes.append(
            f'<rect class="{part.kind}" x="{x:.1f}" y="1" width="{width:.1f}" height="14"/>'
        )
        at += part.length
    return (
        f'<p class="shown">Shown: {escape(_how_shown(cue))}</p>\n'
        f'<svg class="bar" viewBox="-1 0 {_BAR_PX + 2} 16" preserveAspectRatio="none" '
        'aria-hidden="true">' + "".join(shapes) + "</svg>"
    )


_HATCH = (
    '<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>'
    '<pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect width="6" height="6" fill="#fff"/>'
    '<rect width="3" height="6" fill="#E69F00"/></pattern></defs></svg>'
)
_STYLE = """
:root { color: #12161C; background: #FBFAF7; font: 11pt/1.4 "Source Sans 3", "Source Sans Pro",
  "Noto Sans", "DejaVu Sans", sans-serif; }
body { margin: 0 auto; padding: 1.2rem; max-width: 48rem; }
h1 { font-size: 1.5rem; margin: 0; }
header p { margin: .2rem 0 0; }
.mark { font-weight: 700; border: 2px solid; padding: .2rem .5rem; display: inline-block; }
section { border-top: 1px solid #8A8F98; margin-top: 1rem; padding-top: .6rem;
  break-inside: avoid; page-break-inside: avoid; }
h2 { font-size: 1.2rem; margin: 0; }
.number { display: inline-block; min-width: 1.6em; }
.figures { margin: .2rem 0; font-size: 1.1rem; font-variant-numeric: tabular-nums; }
.figures span { margin-left: 1.2em; }
.shown, .take, .next { margin: .2rem 0; }
.bar { width: 100%; height: 1rem; display: block; }
.bar .real { fill: #0072B2; }
.bar .fast { fill: url(#hatch); stroke: #E69F00; }
.bar .still, .bar .held { fill: none; stroke: #12161C; }
.bar .held { stroke-dasharray: 4 3; }
.strip { display: flex; gap: .3rem; margin: .4rem 0; }
.strip img { flex: 1 1 0; min-width: 0; height: auto; object-fit: contain; }
.beside { margin: .4rem 0; white-space: pre-line; }
.note { font-size: 1.25rem; line-height: 1.5; margin: .4rem 0; white-space: pre-line; }
.next { font-weight: 700; }
@media print { :root { background: #fff; } body { max-width: none; padding: 0; } @page { margin: 15mm; } }
"""
