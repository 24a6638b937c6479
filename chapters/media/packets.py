"""The demux pass: every packet's stamps, nothing decoded.

The pass always ends: a file yields at most so many bytes as it has (a little more is allowed for
containers that repeat headers), and packets that carry nothing are counted and limited.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Self

import av
import numpy as np
from av.container import InputContainer
from av.stream import Stream
from av.video.stream import VideoStream

from chapters.errors import RecordingError
from chapters.media.timeline import NONE, PacketTable

_EMPTY_LIMIT = 200_000  # packets in a row without a byte
_ERRORS_IN_A_ROW = 64


@dataclass
class _Columns:
    pts: list[int] = field(default_factory=list)
    dts: list[int] = field(default_factory=list)
    duration: list[int] = field(default_factory=list)
    size: list[int] = field(default_factory=list)
    key: list[bool] = field(default_factory=list)
    hidden: list[bool] = field(default_factory=list)
    corrupt: list[bool] = field(default_factory=list)

    def add(self, packet: av.Packet[Any], hidden: bool) -> None:
        self.pts.append(NONE if packet.pts is None else packet.pts)
        self.dts.append(NONE if packet.dts is None else packet.dts)
        self.duration.append(packet.duration or 0)
        self.size.append(packet.size)
        self.key.append(packet.is_keyframe)
        self.hidden.append(hidden or packet.is_discard)
        self.corrupt.append(packet.is_corrupt)


class PacketFeed:
    """Packets of some streams, read on past errors of the container as long as there is progress.

    An iterator of packets; ends at the end of the file, or after ``_ERRORS_IN_A_ROW`` errors
    without a packet in between. ``error`` keeps the library's word for the last one.
    """

    def __init__(self, container: InputContainer, streams: Sequence[Stream]) -> None:
        self._container, self._streams = container, streams
        self._packets = container.demux(*streams)
        self._in_a_row = 0
        self.error = ""
        self.broke_off = False

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> av.Packet[Any]:
        while True:
            try:
                packet = next(self._packets)
            except (av.error.FFmpegError, OSError, IndexError) as error:
                # IndexError: PyAV meets a stream that appeared in mid-file
                self.error = str(getattr(error, "strerror", "") or error)
                self._in_a_row += 1
                if self._in_a_row > _ERRORS_IN_A_ROW or isinstance(error, EOFError):
                    self.broke_off = True
                    raise StopIteration from None
                self._packets = self._container.demux(*self._streams)
                continue
            if is_end(packet):
                raise StopIteration
            self._in_a_row = 0
            return packet


@dataclass(frozen=True)
class Demuxed:
    """What the demux pass found: a table per stream index, and whether reading broke off."""

    tables: dict[int, PacketTable]
    broke_off: str  # the library's word for why reading stopped early, else ""


def is_end(packet: av.Packet[Any]) -> bool:
    """Whether this is the empty packet that stands for the end of a stream."""
    return packet.size == 0 and packet.pts is None and packet.dts is None


def demux_all(
    container: InputContainer, streams: list[VideoStream], file_size: int, shown_as: str
) -> Demuxed:
    """Read every packet of ``streams`` once. Raises RecordingError only when the file never ends."""
    columns = {stream.index: _Columns() for stream in streams}
    by_index = {stream.index: stream for stream in streams}
    total = empty = 0
    feed = PacketFeed(container, streams)
    for packet in feed:
        total += packet.size
        empty = 0 if packet.size else empty + 1
        if total > 8 * file_size + (1 << 24) or empty > _EMPTY_LIMIT:
            raise RecordingError(shown_as, "never comes to an end: its index runs in a circle")
        stream = by_index[packet.stream_index]
        columns[packet.stream_index].add(packet, _is_hidden(stream, packet))
    tables = {
        index: _table(by_index[index], column) for index, column in columns.items() if column.pts
    }
    return Demuxed(tables, feed.error if feed.broke_off else "")


def _is_hidden(stream: VideoStream, packet: av.Packet[Any]) -> bool:
    """A VP8 frame without the show_frame bit (RFC 6386, section 9.1) is decoded, never shown."""
    if stream.codec_context.codec.name not in ("vp8", "libvpx") or packet.size < 1:
        return False
    return not (bytes(memoryview(packet)[:1])[0] >> 4) & 1


def _table(stream: VideoStream, column: _Columns) -> PacketTable:
    assert stream.time_base is not None
    return PacketTable(
        time_base=stream.time_base,
        pts=np.array(column.pts, np.int64),
        dts=np.array(column.dts, np.int64),
        duration=np.array(column.duration, np.int64),
        size=np.array(column.size, np.int64),
        key=np.array(column.key, np.bool_),
        hidden=np.array(column.hidden, np.bool_),
        corrupt=np.array(column.corrupt, np.bool_),
    )
