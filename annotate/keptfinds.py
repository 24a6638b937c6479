"""What was found in recordings, kept beside a case's results, so that nobody waits for it twice.

A finding is kept under the hash of the recordings' own bytes and of what finds; a file that was
changed, or a teachcut that finds otherwise, has another key. What cannot be read back is dropped
and found anew. The file holds times and numbers only: no name, no picture.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from annotate.cache import SegmentCache
from annotate.find import Found, FoundPart
from annotate.version import VERSION
from chapters.errors import DiskFull
from chapters.motion import Moves
from chapters.proposals import Change
from chapters.scenecuts import SceneCut
from chapters.spans import Span
from chapters.stillness import StillStretch
from chapters.times import RecordingTime, exact_text, from_exact_text

#: Another number whenever the same recording would be found to hold something else.
FINDS = 14
#: A kept finding larger than this is none of ours.
_MOST_BYTES = 32_000_000


def find_once(
    cache: SegmentCache, hashes: Sequence[str], names: Sequence[str], look: Callable[[], Found]
) -> Found:
    """What ``look`` finds, kept in ``cache`` under the recordings' ``hashes``.

    ``names`` are the recordings' names for the parts. Raises what ``look`` raises; a folder that
    cannot be written to only means that the next time looks again.
    """
    key = _key(hashes)
    kept = cache.get(key)
    if kept is not None:
        try:
            return _found(_read(kept), names)
        except (OSError, ValueError, TypeError, KeyError, IndexError, ZeroDivisionError):
            cache.drop(key)
    found = look()
    keep(cache, hashes, found)
    return found


def keep(cache: SegmentCache, hashes: Sequence[str], found: Found) -> None:
    """Keep what was found in the recordings with these hashes, where there is room for it."""
    text = json.dumps(_values(found))

    def write(path: Path) -> None:
        path.write_text(text, encoding="utf-8", newline="\n")

    try:
        cache.put(_key(hashes), write)
    except (OSError, DiskFull):
        return
    cache.trim()


def _key(hashes: Sequence[str]) -> str:
    words = json.dumps(["found", FINDS, VERSION, list(hashes)])
    return hashlib.sha256(words.encode()).hexdigest()


def _read(path: Path) -> Any:
    if path.stat().st_size > _MOST_BYTES:
        raise ValueError("too large")
    return json.loads(path.read_text(encoding="utf-8"))


def _values(found: Found) -> dict[str, Any]:
    return {
        "parts": [
            [exact_text(p.start), exact_text(p.length), p.frames, list(p.notices)]
            for p in found.parts
        ],
        "cuts": [[exact_text(c.at), c.kind, c.confidence] for c in found.scene_cuts],
        "still": [[*_pair(s.span), s.kind, s.strength] for s in found.still],
        "holes": [_pair(hole) for hole in found.holes],
        "changes": [[exact_text(c.at), c.strength, c.reason] for c in found.changes],
        "moves": [exact_text(found.moves.start), list(found.moves.amount)],
    }


def _pair(span: Span) -> list[str]:
    return [exact_text(span.start), exact_text(span.end)]


def _found(values: Any, names: Sequence[str]) -> Found:
    """The finding read back; the proposed steps are not kept. Raises ValueError or its like."""
    parts = [
        FoundPart(name, from_exact_text(start), from_exact_text(length), int(frames), tuple(told))
        for name, (start, length, frames, told) in zip(names, values["parts"], strict=True)
    ]
    start, amount = values["moves"]
    return Found(
        tuple(parts),
        tuple(SceneCut(_at(at), str(kind), float(c)) for at, kind, c in values["cuts"]),
        tuple(StillStretch(_span(a, b), str(k), float(s)) for a, b, k, s in values["still"]),
        tuple(_spans(values["holes"])),
        tuple(Change(_at(at), float(s), str(reason)) for at, s, reason in values["changes"]),
        moves=Moves(from_exact_text(start), tuple(float(a) for a in amount)),
    )


def _at(text: str) -> RecordingTime:
    return RecordingTime(from_exact_text(text))


def _span(start: str, end: str) -> Span:
    return Span(Fraction(start), Fraction(end))


def _spans(pairs: Iterable[Sequence[str]]) -> Iterable[Span]:
    return (_span(start, end) for start, end in pairs)
