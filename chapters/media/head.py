"""The few frames a probe decodes: the first ones always, the last ones when something is amiss."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from av.video.frame import VideoFrame

from chapters.errors import RecordingError
from chapters.media.decode import PacketDecoder, Source
from chapters.media.timeline import NONE, PacketTable, Timeline

_FRAMES = 8
#: containers without presentation stamps
_BARE = ("avi",)


@dataclass(frozen=True)
class Head:
    """The first frames that decode, and what they tell about the whole stream.

    ``first``: packet of the first frame. ``by_order``: see Timeline. ``keys_hold``: the packets
    marked as key frames are such.
    """

    frames: list[VideoFrame]
    first: int
    by_order: bool
    keys_hold: bool


def read_head(source: Source, container_name: str) -> Head:
    """Decode the first frames. Raises RecordingError when nothing in the file decodes."""
    table = source.table
    with PacketDecoder(source) as decoder:
        got = list(islice(decoder.run(), _FRAMES))
        if not got:
            raise RecordingError(
                source.shown_as,
                "holds a video track of which no picture can be decoded",
                "copy it again from the recorder",
            )
        _, stream = decoder.opened()
        reorders = bool(stream.codec_context.has_b_frames)
    numbers = [number for number, _ in got]
    frames = [frame for _, frame in got]
    by_order = container_name in _BARE and (reorders or numbers != sorted(numbers))
    marked = [
        frame.key_frame for number, frame in zip(numbers, frames, strict=True) if table.key[number]
    ]
    return Head(frames, numbers[0], by_order, all(marked) and bool(marked))


def tail_loss(source: Source, line: Timeline, *, suspicious: bool) -> int | None:
    """The packet of the last frame that decodes, if it is not the last of the file.

    Looked at only where there is reason to: ``suspicious``, or the last packets are damaged.
    """
    table = source.table
    if not (suspicious or bool(table.corrupt[-8:].any())):
        return None
    keys = np.flatnonzero(table.key & (line.ticks != NONE))
    if not source.seekable or not len(keys):
        return None
    with PacketDecoder(source) as decoder:
        best, last = NONE, None
        for number, _ in decoder.run(int(keys[-1])):
            if line.ticks[number] > best:
                best, last = int(line.ticks[number]), number
    if last is None or best == int(line.shown[-1]):
        return None
    return last


def hide_after(table: PacketTable, last: int) -> PacketTable:
    """The table with every packet that comes later in presentation than ``last`` not shown."""
    return replace(table, hidden=table.hidden | (table.pts > table.pts[last]))
