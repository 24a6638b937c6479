"""``time-map.json``: the time map as text that loses nothing, and read back again.

Exact times are decimal strings of nine places, or ``n/d`` where no such decimal exists.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from chapters.case import Away, Still
from chapters.spans import Span
from chapters.timemap import Line, PartSpan, Piece, TimeMap
from chapters.times import RecordingTime, exact_text, from_exact_text

VERSION = 1


def _pair(span: Span | None) -> list[str] | None:
    return None if span is None else [exact_text(span.start), exact_text(span.end)]


def _span(pair: list[str] | None) -> Span | None:
    return None if pair is None else Span(from_exact_text(pair[0]), from_exact_text(pair[1]))


def _piece(piece: Piece) -> dict[str, Any]:
    out: dict[str, Any] = {
        "kind": piece.kind,
        "cut": _pair(piece.cut),
        "recording": _pair(piece.recording),
        "clinical": _pair(piece.clinical),
        "speed": [exact_text(piece.speed[0]), exact_text(piece.speed[1])],
        "step": piece.step,
    }
    if piece.still is not None:
        out["still"] = {"caption": piece.still.caption, "hold": exact_text(piece.still.hold)}
    if piece.card is not None:
        out["card"] = piece.card
    return out


def time_map_values(film: TimeMap) -> dict[str, Any]:
    """The time map as JSON values. Parts are numbered, never named: file names can name people."""
    line = film.line
    return {
        "version": VERSION,
        "fps": f"{film.fps.numerator}/{film.fps.denominator}",
        "length": exact_text(film.length),
        "frames": film.frame_count,
        "parts": [
            {"part": i, "recording": _pair(p.span), "trim": exact_text(p.trim)}
            for i, p in enumerate(line.parts, 1)
        ],
        "pieces": [_piece(p) for p in film.pieces],
        "away": [
            {
                "at": exact_text(a.at),
                "clinical": exact_text(line.clinical_before(a.at)),
                "lasted": exact_text(a.lasted),
                "reason": a.reason,
            }
            for a in line.away
        ],
        "not_shown": [
            {
                "recording": _pair(span),
                "clinical": _pair(Span(line.clinical(span.start), line.clinical_before(span.end))),
            }
            for span in film.not_shown
        ],
    }


def time_map_from_values(values: dict[str, Any]) -> TimeMap:
    """The time map that ``time_map_values`` wrote. Raises KeyError or ValueError on anything else."""
    parts = tuple(
        PartSpan(f"part {p['part']}", span.start, span.length, from_exact_text(p["trim"]))
        for p in values["parts"]
        if (span := _span(p["recording"])) is not None
    )
    away = tuple(
        Away(RecordingTime(from_exact_text(a["at"])), from_exact_text(a["lasted"]), a["reason"])
        for a in values["away"]
    )
    pieces = []
    for p in values["pieces"]:
        cut = _span(p["cut"])
        if cut is None:
            raise ValueError("a piece has no place in the film")
        still = p.get("still")
        pieces.append(
            Piece(
                p["kind"],
                cut,
                _span(p["recording"]),
                _span(p["clinical"]),
                (from_exact_text(p["speed"][0]), from_exact_text(p["speed"][1])),
                step=p["step"],
                still=Still("", hold=from_exact_text(still["hold"]), caption=still["caption"])
                if still
                else None,
                card=p.get("card"),
            )
        )
    return TimeMap(Fraction(values["fps"]), Line(parts, away), tuple(pieces))
