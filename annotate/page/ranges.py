"""The Range field of RFC 9110 (sections 14.1 and 14.2) for bytes: text -> which bytes to send. Pure.

A field that is no valid ranges-specifier, or whose unit is not ``bytes``, is ignored: the answer
is the whole file. A valid one of which no range can be met is answered 416.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_INT_RANGE = re.compile(r"(\d{1,18})-(\d{0,18})", re.ASCII)
_SUFFIX_RANGE = re.compile(r"-(\d{1,18})", re.ASCII)
#: More ranges than this in one request are answered with the whole file (RFC 9110, 14.2 and 17.15).
MOST_RANGES = 32
#: Ranges closer than this are sent as one: the head of a part costs about as much (RFC 9110, 15.3.7.2).
SMALL_GAP_BYTES = 80


@dataclass(frozen=True, slots=True, order=True)
class Bytes:
    """Bytes ``first`` to ``last`` of a file, both included, as the Content-Range field counts them."""

    first: int
    last: int

    @property
    def length(self) -> int:
        """How many bytes these are."""
        return self.last - self.first + 1


def parse_range(field: str | None, size: int) -> tuple[Bytes, ...] | None:
    """Which bytes of a file of ``size`` bytes a Range field asks for.

    None: send the whole file (200). An empty tuple: nothing asked for is there (416). Else one
    or more ranges in ascending order, none touching another (206).
    """
    if field is None:
        return None
    unit, equals, rest = field.partition("=")
    if not equals or unit.strip().lower() != "bytes":
        return None
    specs = [spec.strip(" \t") for spec in rest.split(",") if spec.strip(" \t")]
    if not specs or len(specs) > MOST_RANGES:
        return None
    found: list[Bytes] = []
    for spec in specs:
        one = _one(spec, size)
        if isinstance(one, str):
            return None
        if one is not None:
            found.append(one)
    return _joined(found)


def _one(spec: str, size: int) -> Bytes | str | None:
    """One range; None where it cannot be met, a text where it is no range at all."""
    match = _SUFFIX_RANGE.fullmatch(spec)
    if match:
        length = min(int(match[1]), size)
        return Bytes(size - length, size - 1) if length else None
    match = _INT_RANGE.fullmatch(spec)
    if not match:
        return "not a range"
    first = int(match[1])
    if match[2] and int(match[2]) < first:
        return "ends before it starts"
    last = min(int(match[2]), size - 1) if match[2] else size - 1
    return Bytes(first, last) if first < size else None


def _joined(found: list[Bytes]) -> tuple[Bytes, ...]:
    """Overlapping and neighbouring ranges as one, in ascending order."""
    out: list[Bytes] = []
    for one in sorted(found):
        if out and one.first <= out[-1].last + 1 + SMALL_GAP_BYTES:
            out[-1] = Bytes(out[-1].first, max(out[-1].last, one.last))
        else:
            out.append(one)
    return tuple(out)
