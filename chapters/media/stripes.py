"""A glance at a group of pictures: the top of every picture, at a fifth of the cost of decoding.

H.264 codes a picture from top to bottom. A packet that is cut off after a part of its bytes still
decodes as far as it reaches, and so does the next one that refers to it; the time saved is nearly
in proportion. Key pictures are decoded whole, and so is the picture after each, for encoders make up
there for what the key picture cost. What comes out is good for one question only: did
the picture change from one frame to the next, all along the group?

Nothing here is shown to anyone. Where the top of the view is empty, a larger part is read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import av
import cv2
import numpy as np
from av.video.codeccontext import VideoCodecContext
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from chapters.likeness import NOISE_LEVELS
from chapters.media.decode import PacketDecoder

Plane: TypeAlias = NDArray[np.float32]

#: (part of each packet's bytes, part of the picture's height looked at), least first: the first where
#: any change matters, the second where the size of the change does.
DEPTHS = ((0.03, 0.02), (0.08, 0.02), (0.3, 0.1), (0.6, 0.3))
#: With less structure than this, of 1, a stripe tells nothing.
LEAST_STRUCTURE = 0.3

_WIDTH_PX = 160
_LOCAL_PX = 15
#: Lines of a macroblock: a stripe that reaches into one more costs all of it.
_BLOCK_ROWS = 16
_SLICE, _KEY_SLICE = 1, 5


@dataclass(frozen=True, slots=True)
class Glance:
    """One frame of a scan: its packet, whether it is a key picture, how much its stripe changed.

    ``step`` is 1 - correlation with the frame before, 0..2, and infinite where nothing can be
    said. ``whole`` is the picture itself, for a key picture only.
    """

    number: int
    key: bool
    step: float
    whole: VideoFrame | None


def can_scan(decoder: PacketDecoder) -> bool:
    """Whether the recording is H.264 in a form whose packets can be cut off."""
    _, stream = decoder.opened()
    context = stream.codec_context
    return context.name == "h264" and _length_bytes(context.extradata) is not None


def scan(decoder: PacketDecoder, first: int, stop: int, depth: int = 0) -> Iterator[Glance]:
    """Every frame from key packet ``first`` up to packet ``stop``, in the decoder's order.

    ``depth`` is the first of ``DEPTHS`` to be used; it grows by itself where the top is empty.
    """
    _, stream = decoder.opened()
    context = _context(stream.codec_context.extradata)
    length_bytes = _length_bytes(stream.codec_context.extradata) or 4
    table = decoder.source.table
    stripes = _Stripes(depth, stream.codec_context.height)
    for number, data in decoder.packets(first, stop):
        key = bool(table.key[number])
        if not key and not table.key[number - 1]:
            data = cut_off(data, stripes.bytes_part, length_bytes)
        packet: av.Packet[Any] = av.Packet(data)
        packet.pts = number
        try:
            frames = context.decode(packet)
        except (av.error.FFmpegError, ValueError):
            yield Glance(number, key, float("inf"), None)
            continue
        yield from (stripes.glance(frame, bool(table.key[frame.pts or 0])) for frame in frames)
    try:
        frames = context.decode(None)
    except (av.error.FFmpegError, ValueError, EOFError):
        return
    yield from (stripes.glance(frame, bool(table.key[frame.pts or 0])) for frame in frames)


def cut_off(data: bytes, part: float, length_bytes: int = 4) -> bytes:
    """The packet with every slice but those of key pictures cut off after ``part`` of its bytes.

    The packet is a row of units, each after its length (ISO/IEC 14496-15); other units stay whole.
    """
    out = bytearray()
    at, whole = 0, memoryview(data)
    while at + length_bytes <= len(data):
        size = int.from_bytes(whole[at : at + length_bytes], "big")
        unit = whole[at + length_bytes : at + length_bytes + size]
        at += length_bytes + size
        if unit and unit[0] & 31 == _SLICE:
            unit = unit[: max(64, int(len(unit) * part))]
        out += len(unit).to_bytes(length_bytes, "big") + unit
    return bytes(out)


class _Stripes:
    """The stripe of the frame before, and how deep stripes are."""

    def __init__(self, depth: int, height_px: int) -> None:
        self._depth, self._height_px = depth, height_px
        self._last: Plane | None = None
        self._last_energy = 0.0

    @property
    def rows(self) -> int:
        """Lines of the picture looked at."""
        lines = int(self._height_px * DEPTHS[self._depth][1])
        return max(_BLOCK_ROWS, lines - lines % _BLOCK_ROWS)

    @property
    def bytes_part(self) -> float:
        """The part of each packet that is decoded: twice what the lines are of the picture, at least."""
        return min(1.0, max(DEPTHS[self._depth][0], 2 * self.rows / max(self._height_px, 1)))

    def glance(self, frame: VideoFrame, key: bool) -> Glance:
        """Compare the frame's stripe with the one before."""
        if key:
            self._deepen(frame)
        stripe = _stripe(frame, self.rows)
        energy = _mean_product(stripe, stripe)
        last, self._last = self._last, stripe
        before, self._last_energy = self._last_energy, energy
        step = float("inf")
        if last is None:
            step = 0.0
        elif last.shape == stripe.shape and min(before, energy) >= LEAST_STRUCTURE / 2:
            step = 1 - _mean_product(last, stripe) / math.sqrt(before * energy)
        return Glance(int(frame.pts or 0), key, step, frame if key else None)

    def _deepen(self, frame: VideoFrame) -> None:
        """Take a deeper stripe where this one holds no structure; the next frame starts afresh."""
        while self._depth < len(DEPTHS) - 1:
            stripe = _stripe(frame, self.rows)
            if _mean_product(stripe, stripe) >= LEAST_STRUCTURE:
                return
            self._depth += 1
            self._last = None


def _mean_product(a: Plane, b: Plane) -> float:
    return float(np.vdot(a, b)) / a.size


def _stripe(frame: VideoFrame, lines: int) -> Plane:
    """The structure of the frame's top, free of the lamp (see likeness), 160 pixels wide."""
    plane = frame.planes[0]
    rows = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
    pick = max(1, frame.width // (2 * _WIDTH_PX))
    top = np.ascontiguousarray(rows[:lines:pick, : frame.width : pick])
    height = max(4, round(top.shape[0] * _WIDTH_PX / top.shape[1]))
    small = cv2.resize(top, (_WIDTH_PX, height), interpolation=cv2.INTER_AREA).astype(np.float32)
    grey = cv2.GaussianBlur(small, (0, 0), 1.2)
    high = grey - cv2.blur(grey, (_LOCAL_PX, _LOCAL_PX))
    local = cv2.blur(high * high, (_LOCAL_PX, _LOCAL_PX))
    return np.asarray(high / np.sqrt(local + NOISE_LEVELS**2), np.float32)


def _context(extradata: bytes | None) -> VideoCodecContext:
    """A decoder of its own that shows what it has and mends nothing."""
    context = av.CodecContext.create("h264", "r")
    assert isinstance(context, VideoCodecContext)
    context.extradata = extradata
    context.thread_count = 1
    context.options = {"skip_loop_filter": "all", "ec": "0", "flags": "+output_corrupt"}
    return context


def _length_bytes(extradata: bytes | None) -> int | None:
    """Bytes of a unit's length, from the decoder's set-up record (ISO/IEC 14496-15); None: no such."""
    if not extradata or len(extradata) < 7 or extradata[0] != 1:
        return None
    return (extradata[4] & 3) + 1
