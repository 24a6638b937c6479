"""From packets to decoded frames, past damage, each frame with the number of its packet.

A packet that cannot be decoded is passed over; the next one is tried. A packet enters the decoder
with its number in place of its time stamp, which the decoder hands to the frame: so a frame's time
is its packet's time, however the decoder reorders and whatever it loses. (PyAV's ``opaque`` would
do the same, but frees itself under the interpreter's lock from a decoder thread and so can block
for ever when a decoder with threads is closed.) The work is bounded by the packets of the file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, islice
from pathlib import Path
from types import TracebackType
from typing import Any, Self, cast

import av
import numpy as np
from av.container import InputContainer
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from chapters.media.opening import MAX_PIXELS, open_recording
from chapters.media.packets import PacketFeed
from chapters.media.timeline import NONE, PacketTable, Timeline

#: seconds before the wanted key frame at which a seek is tried again when it landed too late
_BACK_OFF_S = (0, 1, 2, 4, 8, 16, 32)

#: packets looked at after a seek to recognise where it landed
_SIGHT = 16

VideoPackets = Iterator["av.Packet[Any]"]


@dataclass(frozen=True)
class Source:
    """One video stream of one checked file, with the table of its packets."""

    path: Path
    shown_as: str
    stream_index: int
    table: PacketTable
    seekable: bool


class PacketDecoder:
    """Decodes one stream; a context manager that holds the file open for reading.

    ``quick`` leaves out the loop filter, which drifts by some levels: for analysis only.
    ``threads``: 0 lets the decoder choose.
    """

    def __init__(self, source: Source, *, quick: bool = False, threads: int = 0) -> None:
        self.source = source
        self.bad_packets = 0
        self._quick, self._threads = quick, threads
        self._stack = ExitStack()
        self._opened: tuple[InputContainer, VideoStream] | None = None
        self._fresh = False
        #: packets before this one, a key frame's, are not decoded while a run goes on
        self.skip_to = 0
        #: asked with a packet's number and the packet before it is decoded: True leaves it out
        self.leave_out: Callable[[int, av.Packet[Any]], bool] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._close()

    def _close(self) -> None:
        self._stack.close()
        self._opened = None

    def _open(self, *, fresh: bool) -> tuple[InputContainer, VideoStream]:
        if self._opened is not None and not (fresh and not self._fresh):
            return self._opened
        self._close()
        source = self.source
        container = self._stack.enter_context(open_recording(source.path, source.shown_as))
        stream = cast(VideoStream, container.streams[source.stream_index])
        context = stream.codec_context
        context.thread_type = "AUTO"
        context.thread_count = self._threads
        context.options = {"max_pixels": str(MAX_PIXELS)}
        if self._quick:
            context.options = {**context.options, "skip_loop_filter": "all"}
        self._opened = container, stream
        self._fresh = True
        return self._opened

    def opened(self) -> tuple[InputContainer, VideoStream]:
        """The open container and stream."""
        return self._open(fresh=False)

    def run(self, key: int = 0) -> Iterator[tuple[int, VideoFrame]]:
        """Frames in the decoder's output order from packet number ``key`` to the end.

        Yields (packet number, frame); ``frame.pts`` is that number too. ``key`` should be a key
        frame's packet; 0 reads the file from its beginning without a seek.
        """
        given = bytearray(len(self.source.table) + 1)
        self.skip_to, torn = 0, False
        for ordinal, packet in self._packets_from(key):
            _, stream = self._open(fresh=False)
            if packet is None:
                yield from self._drain(stream, key, given)
                return
            if ordinal < self.skip_to:
                torn = True
                continue
            if self.leave_out is not None and self.leave_out(ordinal, packet):
                continue
            if torn:
                stream.codec_context.flush_buffers()
                torn = False
            packet.pts = ordinal
            try:
                frames = stream.codec_context.decode(packet)
            except (av.error.FFmpegError, OSError, ValueError):
                self.bad_packets += 1
                continue
            for frame in frames:
                if frame.pts is not None and 0 <= frame.pts < len(given):
                    given[frame.pts] = 1
                    yield frame.pts, frame

    def packets(self, first: int, stop: int) -> Iterator[tuple[int, bytes]]:
        """(number, bytes) of packets ``first`` to ``stop`` (not included), not decoded.

        ``first`` should be a key frame's packet. Fewer come where the file breaks off.
        """
        for ordinal, packet in self._packets_from(first):
            if packet is None or ordinal >= stop:
                return
            yield ordinal, bytes(memoryview(packet))

    def _drain(
        self, stream: VideoStream, key: int, given: bytearray
    ) -> Iterator[tuple[int, VideoFrame]]:
        """The frames still in the decoder; again with one thread if the last packets are bad.

        With several threads the error of one late packet hides the good frames behind it.
        """
        try:
            frames = stream.codec_context.decode(None)
        except EOFError:
            return
        except (av.error.FFmpegError, OSError, ValueError):
            self.bad_packets += 1
            if self._threads == 1:
                return
            with PacketDecoder(self.source, quick=self._quick, threads=1) as again:
                for number, frame in again.run(self._key_before(len(given) - 2, key)):
                    if not given[number]:
                        yield number, frame
            return
        for frame in frames:
            if frame.pts is not None and 0 <= frame.pts < len(given):
                yield frame.pts, frame

    def _key_before(self, ordinal: int, lowest: int) -> int:
        keys = np.flatnonzero(self.source.table.key[: ordinal + 1])
        if not self.source.seekable or not len(keys):
            return lowest if lowest == 0 else 0
        return int(max(keys[-1], lowest))

    def _packets_from(self, key: int) -> Iterator[tuple[int, av.Packet[Any] | None]]:
        """(number, packet) from packet ``key`` on; (_, None) at the end or where reading breaks off."""
        packets, ordinal = self._start(key)
        self._fresh = False
        for packet in packets:
            if ordinal >= key:
                yield ordinal, packet
            ordinal += 1
        yield ordinal, None

    def _start(self, key: int) -> tuple[VideoPackets, int]:
        """A packet iterator at or before packet ``key``, and the number of its first packet."""
        if key > 0 and self.source.seekable:
            for back_s in _BACK_OFF_S:
                found = self._seek(key, back_s)
                if found is not None:
                    return found
        container, stream = self._open(fresh=True)
        return PacketFeed(container, [stream]), 0

    def _seek(self, key: int, back_s: int) -> tuple[VideoPackets, int] | None:
        table = self.source.table
        container, stream = self._open(fresh=False)
        stamp = int(table.pts[key]) - int(Fraction(back_s) / table.time_base)
        if back_s and stamp <= int(table.pts[0]):
            return None
        self._fresh = False
        try:
            container.seek(stamp, stream=stream, backward=True)
        except (av.error.FFmpegError, OSError):
            return None
        packets = PacketFeed(container, [stream])
        ahead = list(islice(packets, _SIGHT))
        found = recognise(table, ahead)
        if found is None or found[1] > key:
            return None
        skip, ordinal = found
        return chain(ahead[skip:], packets), ordinal


def is_disposable(packet: av.Packet[Any]) -> bool:
    """Whether no other picture is made from an H.264 picture: ``nal_ref_idc`` is 0 in all its slices.

    ITU-T H.264, 7.4.1. False where that cannot be told.
    """
    data = memoryview(packet)
    size, at, slices = len(data), 0, 0
    while at + 5 <= size:
        length = int.from_bytes(data[at : at + 4], "big")
        if length <= 1:  # a start code, or no length of four bytes
            return False
        kind = data[at + 4] & 31
        if 1 <= kind <= 5:
            slices += 1
            if data[at + 4] >> 5 & 3:
                return False
        at += 4 + length
    return at == size and slices > 0


class Aim:
    """Which packets need not be decoded for the frame at tick ``wanted`` and those from ``then`` on.

    What lies before the last key frame that is not after it, and pictures from which no other is
    made: every frame that is looked at is the same without them.
    """

    def __init__(self, table: PacketTable, line: Timeline, codec: str) -> None:
        self._line = line
        ticks = line.ticks
        before = np.concatenate([[NONE], np.maximum.accumulate(ticks)[:-1]])
        keys = np.flatnonzero(table.key & (ticks != NONE) & (before < ticks))
        self._keys, self._key_ticks = keys, ticks[keys]
        self._disposable = codec == "h264"
        self.wanted = self.then = self._from = NONE
        self._passed: set[int] = set()
        self._first = 0

    def begin(self, wanted: int) -> None:
        """A run begins that is to show the frame at tick ``wanted`` first."""
        self.wanted, self.then, self._from = wanted, wanted, NONE
        self._passed.clear()
        place = int(np.searchsorted(self._key_ticks, wanted, side="right"))
        self._first = place  # the run may have begun earlier, because this key frame is damaged

    def forward(self) -> int:
        """The key packet that decoding may begin at anew, now that what is wanted has moved on."""
        place = int(np.searchsorted(self._key_ticks, self.wanted, side="right")) - 1
        if place < self._first:
            return 0
        self._from = int(self._key_ticks[place])
        return int(self._keys[place])

    def leaves_out(self, number: int, packet: av.Packet[Any]) -> bool:
        """Whether a packet need not be decoded."""
        tick = int(self._line.ticks[number])
        if tick in (NONE, self.wanted) or tick >= max(self.wanted, self.then):
            return False
        if tick >= self._from:
            if not (self._disposable and is_disposable(packet)):
                return False
            self._passed.add(tick)
        return True

    def not_passed(self, ticks: list[int]) -> list[int]:
        """Those of some ticks, in order, that were not left out on purpose."""
        out = [at for at in ticks if at >= self._from and at not in self._passed]
        self._passed.difference_update(ticks)
        return out


def recognise(table: PacketTable, packets: list[av.Packet[Any]]) -> tuple[int, int] | None:
    """Which packets of the table these are: (how many of them to leave out, number of the next).

    The first few after a seek may be torn. Stamp and size settle it where stamps are stored;
    program streams make them up anew after a seek, so there a row of sizes must fit one place
    of the table and no other.
    """
    for skip in range(min(4, len(packets))):
        row = packets[skip:]
        sizes = np.array([packet.size for packet in row], np.int64)
        stamp = row[0].pts
        if stamp is not None:
            hits = np.flatnonzero((table.pts == stamp) & (table.size == sizes[0]))
            if len(hits) == 1 and _same_row(table, row, int(hits[0])):
                return skip, int(hits[0])
        places = np.flatnonzero(table.size[: len(table) - len(sizes) + 1] == sizes[0])
        for step in range(1, len(sizes)):
            places = places[table.size[places + step] == sizes[step]]
        if len(places) == 1 and len(sizes) >= _SIGHT - 4:
            return skip, int(places[0])
    return None


def _same_row(table: PacketTable, row: list[av.Packet[Any]], at: int) -> bool:
    """Whether the row's stamps and sizes are those of the table from packet ``at`` on."""
    for packet, ordinal in zip(row, range(at, len(table)), strict=False):
        if packet.size != table.size[ordinal] or packet.pts != table.pts[ordinal]:
            return False
    return True
