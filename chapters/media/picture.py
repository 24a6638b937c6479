"""What the picture of a recording is and how it must be turned, stretched and coloured.

Values from the container and from the first decoded frames are joined here; where a file says
nothing, the rule of practice is applied and kept visible (``matrix_tagged``).
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
from av.sidedata.sidedata import SideData
from av.sidedata.sidedata import Type as SideDataType
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

Matrix = Literal["bt601", "bt709", "bt2020", "rgb", "other"]
Range = Literal["limited", "full"]
Transfer = Literal["sdr", "pq", "hlg"]
Plane = NDArray[np.uint8]

# ITU-T H.273, tables 2, 3 and 4
_MATRICES: dict[int, Matrix] = {
    0: "rgb", 1: "bt709", 4: "bt601", 5: "bt601", 6: "bt601", 9: "bt2020", 10: "bt2020",
}  # fmt: skip
_UNSPECIFIED = 2
_TRANSFERS: dict[int, Transfer] = {16: "pq", 18: "hlg"}
_WIDE_PRIMARIES = 9
_FULL = 2


@dataclass(frozen=True, slots=True)
class Turn:
    """One of the eight ways a picture can lie: transpose first, then flip columns, then rows."""

    transpose: bool = False
    flip_x: bool = False
    flip_y: bool = False

    @property
    def mirrored(self) -> bool:
        """Whether the turn swaps left and right hands."""
        return self.transpose ^ self.flip_x ^ self.flip_y

    @property
    def rotation_deg(self) -> int:
        """Degrees clockwise, to be applied after a left-right mirroring if ``mirrored``."""
        sign = -1 if self.mirrored else 1
        a = 0 if self.transpose else sign * (-1 if self.flip_x else 1)
        b = sign * (-1 if self.flip_y else 1) if self.transpose else 0
        return {(1, 0): 0, (0, 1): 90, (-1, 0): 180, (0, -1): 270}[a, b]

    def apply(self, plane: Plane) -> Plane:
        """The plane (h, w) as it is to be seen; a view where possible."""
        if self.transpose:
            plane = plane.T
        if self.flip_x:
            plane = plane[:, ::-1]
        if self.flip_y:
            plane = plane[::-1]
        return plane


def turn_of(matrix: bytes) -> tuple[Turn, str]:
    """The turn of a display matrix (ISO/IEC 14496-12, 8.5.3: nine int32, a b u c d v x y w).

    A point (x, y) goes to (a·x + c·y, b·x + d·y), y downward. Returns the turn and a word on
    what is odd about the matrix ("" when nothing is): no turn at all, or not a quarter turn.
    """
    a, b, _, c, d, _, _, _, _ = struct.unpack("=9i", matrix[:36])
    if a * d - b * c == 0:
        return Turn(), "a turning matrix without meaning"
    straight, across = abs(a) + abs(d), abs(b) + abs(c)
    odd = "" if min(straight, across) * 100 < max(straight, across) else "a turn by no right angle"
    if straight >= across:
        return Turn(False, a < 0, d < 0), odd
    return Turn(True, c < 0, b < 0), odd


@dataclass(frozen=True, slots=True)
class VideoInfo:
    """The picture: ``width_px`` × ``height_px`` upright, with square pixels, both even.

    ``coded_px`` is the size as stored. ``matrix``, ``colour_range`` and ``transfer`` are what is
    used; ``matrix_tagged`` says whether the file itself names the matrix.
    """

    width_px: int
    height_px: int
    coded_px: tuple[int, int]
    rotation_deg: int
    mirrored: bool
    sar: Fraction
    codec: str
    pix_fmt: str
    bit_depth: int
    interlaced: bool
    matrix: Matrix
    matrix_tagged: bool
    colour_range: Range
    transfer: Transfer
    wide_primaries: bool
    hdr: bool
    turn: Turn


def even(value: Fraction | int) -> int:
    """The nearest even number of pixels, at least two (4:2:0 has one colour sample for four)."""
    return max(2, 2 * math.floor(Fraction(value) / 2 + Fraction(1, 2)))


def display_size(coded_px: tuple[int, int], sar: Fraction, turn: Turn) -> tuple[int, int]:
    """Upright size with square pixels: the width is stretched by the sample aspect ratio."""
    width, height = even(coded_px[0] * sar), even(coded_px[1])
    return (height, width) if turn.transpose else (width, height)


def usable_sar(sar: Fraction | None) -> Fraction:
    """A sample aspect ratio from a file, 1 where it says nothing or nothing possible."""
    if not sar or not Fraction(1, 8) <= sar <= 8:
        return Fraction(1)
    return Fraction(sar)


def turn_of_frame(frame: VideoFrame) -> tuple[Turn, str]:
    """The turn a decoded frame carries, none if it carries none."""
    for data in frame.side_data:
        if isinstance(data, SideData) and data.type == SideDataType.DISPLAYMATRIX:
            return turn_of(bytes(data))
    return Turn(), ""


def describe(stream: VideoStream, frames: list[VideoFrame]) -> tuple[VideoInfo, list[str]]:
    """What stream and first frames (at least one) say about the picture, with notices."""
    first = frames[0]
    turn, odd = turn_of_frame(first)
    coded = (first.width, first.height)
    sar = usable_sar(stream.sample_aspect_ratio)
    width, height = display_size(coded, sar, turn)
    matrix, tagged = matrix_of(first)
    transfer = _TRANSFERS.get(int(first.color_trc), "sdr")
    info = VideoInfo(
        width_px=width,
        height_px=height,
        coded_px=coded,
        rotation_deg=turn.rotation_deg,
        mirrored=turn.mirrored,
        sar=sar,
        codec=stream.codec_context.codec.canonical_name,
        pix_fmt=first.format.name,
        bit_depth=max(part.bits for part in first.format.components),
        interlaced=any(frame.interlaced_frame for frame in frames),
        matrix=matrix,
        matrix_tagged=tagged,
        colour_range=range_of(first),
        transfer=transfer,
        wide_primaries=int(first.color_primaries) == _WIDE_PRIMARIES,
        hdr=transfer != "sdr",
        turn=turn,
    )
    return info, _notices(info, odd, frames)


def matrix_of(frame: VideoFrame) -> tuple[Matrix, bool]:
    """The colour matrix of a frame and whether it is tagged.

    Untagged: BT.709 from 720 lines or 1280 columns up, else BT.601 (common practice: HD systems
    are BT.709, SD systems BT.601); BT.2020 when the transfer is that of HDR.
    """
    if frame.format.name.startswith(("rgb", "bgr", "gbr", "pal", "argb", "abgr", "0rgb", "0bgr")):
        return "rgb", True
    code = int(frame.colorspace)
    if code != _UNSPECIFIED:
        return _MATRICES.get(code, "other"), True
    if int(frame.color_trc) in _TRANSFERS:
        return "bt2020", False
    return ("bt709" if frame.height >= 720 or frame.width >= 1280 else "bt601"), False


def range_of(frame: VideoFrame) -> Range:
    """Full when tagged so, when a "j" pixel format says so, and for RGB; else limited."""
    name = frame.format.name
    full = int(frame.color_range) == _FULL or name.startswith(("yuvj", "rgb", "bgr", "gbr"))
    return "full" if full else "limited"


def _notices(info: VideoInfo, odd: str, frames: list[VideoFrame]) -> list[str]:
    notes: list[str] = []
    if odd:
        notes.append(f"carries {odd}; the nearest right angle is used")
    if info.rotation_deg or info.mirrored:
        mirrored = "mirrored, " if info.mirrored else ""
        notes.append(f"is stored {mirrored}turned by {info.rotation_deg} degrees; shown upright")
    if info.sar != 1:
        notes.append(f"has pixels that are not square ({info.sar}); stretched to their true shape")
    if info.interlaced:
        notes.append("is interlaced; its fields are joined to whole pictures")
    if info.hdr:
        name = {"pq": "PQ", "hlg": "HLG"}[info.transfer]
        notes.append(f"is high dynamic range ({name}); toned down to standard range")
    elif info.bit_depth > 8:
        notes.append(f"has {info.bit_depth} bits a sample; reduced to 8")
    if not info.matrix_tagged:
        notes.append(f"does not say its colour matrix; {_NAMES[info.matrix]} is assumed")
    elif info.matrix == "other":
        notes.append("uses a colour matrix that is not known here; BT.709 is assumed")
    if info.colour_range == "limited" and _looks_full(frames):
        notes.append("looks like full range without saying so; write range: full if it is")
    return notes


_NAMES = {"bt601": "BT.601", "bt709": "BT.709", "bt2020": "BT.2020", "rgb": "RGB", "other": ""}


def _looks_full(frames: list[VideoFrame]) -> bool:
    """Whether over one pixel in a hundred lies far outside 16..235 in an 8-bit luma plane."""
    if not frames[0].format.name.startswith(("yuv420p", "yuv422p", "yuv444p", "nv12")):
        return False
    if frames[0].format.components[0].bits != 8:
        return False
    outside = total = 0
    for frame in frames:
        y = luma_view(frame)[::4, ::4]
        outside += int(np.count_nonzero((y <= 8) | (y >= 249)))
        total += y.size
    return outside * 100 > total


def luma_view(frame: VideoFrame) -> NDArray[np.uint8]:
    """The first plane of an 8-bit planar frame as (h, w), a view into the frame: do not write."""
    plane = frame.planes[0]
    flat = np.frombuffer(memoryview(plane), np.uint8)
    return flat.reshape(plane.height, plane.line_size)[:, : frame.width]
