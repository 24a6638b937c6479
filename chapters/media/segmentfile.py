"""Coded pictures of one segment in a file of their own: what the cache keeps and the muxer joins.

    8 bytes   the word below
    4 bytes   length of the header, big-endian
    header    JSON: parameter sets, and of each packet pts, dts, duration, key flag and size
    packets   one after the other

A file that is cut short or changed is refused, never half-read.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chapters.media.encode import CodedPacket

_WORD = b"TCSEG\x00\x00\x01"


class UnreadableSegment(ValueError):
    """The file is no segment, or not all of one."""


@dataclass(frozen=True)
class CodedSegment:
    """Packets in decode order, stamps in frames from the segment's start; ``notes`` are JSON values."""

    parameter_sets: bytes
    packets: tuple[CodedPacket, ...]
    notes: tuple[Any, ...] = ()


def write_segment(path: Path, segment: CodedSegment) -> None:
    """Write one segment."""
    body = b"".join(p.data for p in segment.packets)
    header = json.dumps(
        {
            "sets": segment.parameter_sets.hex(),
            "packets": [[p.pts, p.dts, p.duration, p.key, len(p.data)] for p in segment.packets],
            "notes": list(segment.notes),
            "sha256": hashlib.sha256(body).hexdigest(),
        }
    ).encode()
    with path.open("wb") as file:
        file.write(_WORD + len(header).to_bytes(4, "big") + header)
        file.write(body)


def read_segment(path: Path) -> CodedSegment:
    """Read one segment whole. Raises UnreadableSegment, OSError."""
    data = path.read_bytes()
    if data[:8] != _WORD or len(data) < 12:
        raise UnreadableSegment(f"{path.name} is no segment")
    start = 12 + int.from_bytes(data[8:12], "big")
    try:
        header = json.loads(data[12:start])
        body = data[start:]
        if hashlib.sha256(body).hexdigest() != header["sha256"]:
            raise UnreadableSegment(f"{path.name} is not whole")
        return CodedSegment(
            bytes.fromhex(header["sets"]),
            tuple(_packets(header["packets"], body)),
            tuple(header["notes"]),
        )
    except (ValueError, KeyError, TypeError) as error:
        raise UnreadableSegment(f"{path.name}: {error}") from error


def _packets(rows: Sequence[Sequence[int]], body: bytes) -> list[CodedPacket]:
    out, at = [], 0
    for pts, dts, duration, key, size in rows:
        out.append(CodedPacket(body[at : at + size], pts, dts, duration, bool(key)))
        at += size
    return out
