"""Writing direction: the Unicode Bidirectional Algorithm for one line without explicit controls.

Pillow's raqm orders a text by itself, so this is asked only where one line needs several fonts:
the line is then cut into pieces of one direction and one font, each piece is shaped by raqm in
its stated direction, and the pieces are set in the order found here. Rules P2 to L2 of Unicode
Standard Annex #9; the explicit embeddings (X1 to X8) do not arise, since ``clean`` takes the
control characters out of every title (they can make a text read as something it is not).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

_EXPLICIT = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_NEUTRAL = frozenset({"B", "S", "WS", "ON"})
_FAR_BRACKETS = {"\u298d": "\u2990", "\u298f": "\u298e"}


def clean(text: str) -> str:
    """NFC, direction overrides and soft hyphens taken out, any run of white space one space."""
    kept = "".join(ch for ch in text if ch not in _EXPLICIT and ch != "\u00ad")
    return " ".join(unicodedata.normalize("NFC", kept).split())


def base_level(text: str) -> int:
    """0 for left to right, 1 for right to left: the first strong letter decides (P2, P3)."""
    for ch in text:
        kind = unicodedata.bidirectional(ch)
        if kind == "L":
            return 0
        if kind in ("R", "AL"):
            return 1
    return 0


def levels(text: str, base: int) -> list[int]:
    """The embedding level of every character of one line: even runs left to right, odd the other way."""
    kinds = [unicodedata.bidirectional(ch) or "L" for ch in text]
    kept = [i for i, kind in enumerate(kinds) if kind != "BN"]
    types = [kinds[i] for i in kept]
    letters = [text[i] for i in kept]
    edge = "R" if base else "L"
    first = list(types)
    _weak(types, edge)
    _brackets(types, letters, first, edge)
    _neutral(types, edge)
    found = [base + _raised(base, kind) for kind in types]
    _reset_blanks(found, first, base)
    out = [base] * len(text)
    for i, level in zip(kept, found, strict=True):
        out[i] = level
    for i, kind in enumerate(kinds):
        if kind == "BN" and i:
            out[i] = out[i - 1]
    return out


def visual_order(found: Sequence[int]) -> list[int]:
    """The indices in the order they stand on the line from left to right (rule L2)."""
    order = list(range(len(found)))
    for level in range(max(found, default=0), 0, -1):
        start = 0
        while start < len(order):
            if found[order[start]] < level:
                start += 1
                continue
            end = start
            while end < len(order) and found[order[end]] >= level:
                end += 1
            order[start:end] = reversed(order[start:end])
            start = end
    return order


def _raised(base: int, kind: str) -> int:
    """Rules I1 and I2: how far above the base level a resolved type stands."""
    if base == 0:
        return {"L": 0, "R": 1}.get(kind, 2)
    return {"R": 0}.get(kind, 1)


def _weak(types: list[str], edge: str) -> None:
    """Rules W1 to W7, in place."""
    before = edge
    for i, kind in enumerate(types):
        types[i] = before = before if kind == "NSM" else kind
    strong = edge
    for i, kind in enumerate(types):
        if kind in ("L", "R", "AL"):
            strong = kind
        elif kind == "EN" and strong == "AL":
            types[i] = "AN"
    types[:] = ["R" if kind == "AL" else kind for kind in types]
    for i in range(1, len(types) - 1):
        left, right = types[i - 1], types[i + 1]
        if left == right and (
            (types[i] in ("ES", "CS") and left == "EN") or (types[i] == "CS" and left == "AN")
        ):
            types[i] = left
    _terminators(types)
    types[:] = ["ON" if kind in ("ES", "ET", "CS") else kind for kind in types]
    strong = edge
    for i, kind in enumerate(types):
        if kind in ("L", "R"):
            strong = kind
        elif kind == "EN" and strong == "L":
            types[i] = "L"


def _terminators(types: list[str]) -> None:
    """Rule W5: a run of European terminators beside a European number joins it."""
    start = 0
    while start < len(types):
        end = start
        while end < len(types) and types[end] == "ET":
            end += 1
        if end > start and (
            (start > 0 and types[start - 1] == "EN") or (end < len(types) and types[end] == "EN")
        ):
            types[start:end] = ["EN"] * (end - start)
        start = max(end, start + 1)


def _pair(ch: str) -> str:
    """The closing bracket of an opening one (Bidi_Paired_Bracket), else an empty text."""
    if unicodedata.category(ch) != "Ps" or not unicodedata.mirrored(ch):
        return ""
    if ch in _FAR_BRACKETS:
        return _FAR_BRACKETS[ch]
    for step in (1, 2):
        other = chr(ord(ch) + step)
        if unicodedata.category(other) == "Pe" and unicodedata.mirrored(other):
            return other
    return ""


def _pairs(types: list[str], letters: list[str]) -> list[tuple[int, int]]:
    """Bracket pairs by their opening place (BD16, with its limit of 63 open brackets)."""
    waiting: list[tuple[str, int]] = []
    found: list[tuple[int, int]] = []
    for i, ch in enumerate(letters):
        if types[i] != "ON":
            continue
        closing = _pair(ch)
        if closing:
            if len(waiting) == 63:
                return []
            waiting.append((closing, i))
            continue
        for depth in range(len(waiting) - 1, -1, -1):
            if waiting[depth][0] == ch:
                found.append((waiting[depth][1], i))
                del waiting[depth:]
                break
    return sorted(found)


def _side(kind: str) -> str:
    """A type as a side: numbers count as right to left (N0, N1); neutral types as none."""
    return {"L": "L", "R": "R", "EN": "R", "AN": "R"}.get(kind, "")


def _brackets(types: list[str], letters: list[str], first: list[str], edge: str) -> None:
    """Rule N0: a pair of brackets takes the direction of what it holds, in place."""
    for start, end in _pairs(types, letters):
        inside = {_side(kind) for kind in types[start + 1 : end]} - {""}
        if edge in inside:
            side = edge
        elif inside:
            before = next((s for k in reversed(types[:start]) if (s := _side(k))), edge)
            side = before if before in inside else edge
        else:
            continue
        for place in (start, end):
            types[place] = side
            follow = place + 1
            while follow < len(types) and first[follow] == "NSM":
                types[follow] = side
                follow += 1


def _neutral(types: list[str], edge: str) -> None:
    """Rules N1 and N2: neutrals between like sides take that side, else the line's own."""
    start = 0
    while start < len(types):
        end = start
        while end < len(types) and types[end] in _NEUTRAL:
            end += 1
        if end > start:
            left = _side(types[start - 1]) if start else edge
            right = _side(types[end]) if end < len(types) else edge
            types[start:end] = [left if left == right else edge] * (end - start)
        start = max(end, start + 1)


def _reset_blanks(found: list[int], first: list[str], base: int) -> None:
    """Rule L1: separators, and white space before them or at the line's end, get the base level."""
    trailing = True
    for i in range(len(found) - 1, -1, -1):
        if first[i] in ("S", "B"):
            trailing = True
        elif first[i] != "WS":
            trailing = False
        if trailing:
            found[i] = base
