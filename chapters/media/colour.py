"""From a decoded frame to planes: upright, square pixels, BT.709 limited range, 8-bit 4:2:0.

A frame that already is all that, at the size asked for, is copied plane by plane and nothing
else; this is the common case and decides the cost of a render.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from av.video.frame import VideoFrame
from av.video.reformatter import ColorRange, Colorspace, Interpolation, VideoReformatter
from numpy.typing import NDArray

from chapters.media.hdr import ToneDown
from chapters.media.picture import Matrix, Plane, Range, VideoInfo, even, usable_sar

BLACK = (16, 128, 128)
_HOW = (
    Interpolation.BICUBIC
    | Interpolation.ACCURATE_RND
    | Interpolation.FULL_CHR_H_INT
    | Interpolation.FULL_CHR_H_INP
)
_SPACES: dict[Matrix, Colorspace] = {
    "bt601": Colorspace.ITU601,
    "bt709": Colorspace.ITU709,
    "bt2020": Colorspace.BT2020,
    "other": Colorspace.ITU709,
}
_RANGES: dict[Range, ColorRange] = {"limited": ColorRange.MPEG, "full": ColorRange.JPEG}


@dataclass(frozen=True, slots=True)
class Placing:
    """Where the picture lies in the planes asked for: (x, y, w, h), all even."""

    x: int
    y: int
    width: int
    height: int


def place(display_px: tuple[int, int], size_px: tuple[int, int]) -> Placing:
    """The largest centred rectangle of the display's shape inside ``size_px`` (black around it)."""
    width, height = size_px
    shape = Fraction(display_px[0], display_px[1])
    if abs(shape * height - width) < 2 or abs(width / shape - height) < 2:
        return Placing(0, 0, width, height)
    inner_w = min(width, even(shape * height))
    inner_h = min(height, even(Fraction(width) / shape))
    x, y = (width - inner_w) // 4 * 2, (height - inner_h) // 4 * 2
    return Placing(x, y, inner_w, inner_h)


def plane_view(frame: VideoFrame, index: int) -> Plane:
    """Plane ``index`` of an 8-bit planar frame as (h, w), a view into the frame: do not write."""
    plane = frame.planes[index]
    flat = np.frombuffer(memoryview(plane), np.uint8)
    return flat.reshape(plane.height, plane.line_size)[:, : plane.width]


class Converter:
    """Makes the planes of one recording's frames; sizes may change in mid-recording."""

    def __init__(
        self,
        info: VideoInfo,
        size_px: tuple[int, int],
        matrix: Matrix | None = None,
        colour_range: Range | None = None,
    ) -> None:
        if size_px[0] % 2 or size_px[1] % 2 or min(size_px) < 2:
            raise ValueError(f"a picture of {size_px[0]} x {size_px[1]} pixels cannot be 4:2:0")
        self._info, self._size = info, size_px
        self._matrix: Matrix = matrix or info.matrix
        self._range: Range = colour_range or info.colour_range
        self._reformatter = VideoReformatter()
        wide = info.hdr or (info.wide_primaries and self._matrix == "bt2020")
        self._tone_down = ToneDown(info.transfer) if wide else None
        direct = self._matrix in ("bt709", "other") and self._range == "limited"
        self._direct = direct and self._tone_down is None

    def planes(
        self, frame: VideoFrame, into: tuple[Plane, Plane, Plane] | None = None
    ) -> tuple[Plane, Plane, Plane]:
        """Y (h, w), U and V (h/2, w/2) that the caller may write into: fresh arrays, or ``into``."""
        info = self._info
        coded = (frame.width, frame.height)
        display = (even(coded[0] * usable_sar(info.sar)), even(coded[1]))
        if info.turn.transpose:
            display = (display[1], display[0])
        placing = place(display, self._size)
        inner = (placing.width, placing.height)
        if info.turn.transpose:
            inner = (inner[1], inner[0])
        if not (self._direct and coded == inner and frame.format.name == "yuv420p"):
            frame = self._reformat(frame, inner)
        turned = [info.turn.apply(plane_view(frame, i)) for i in range(3)]
        out = into or self._fresh()
        for whole, plane, black, part in zip(out, turned, BLACK, (1, 2, 2), strict=True):
            if plane.shape != whole.shape:
                whole.fill(black)
            x, y = placing.x // part, placing.y // part
            np.copyto(whole[y : y + plane.shape[0], x : x + plane.shape[1]], plane)
        return out

    def _fresh(self) -> tuple[Plane, Plane, Plane]:
        width, height = self._size
        half = (height // 2, width // 2)
        return (
            np.empty((height, width), np.uint8),
            np.empty(half, np.uint8),
            np.empty(half, np.uint8),
        )

    def _reformat(self, frame: VideoFrame, inner: tuple[int, int]) -> VideoFrame:
        if self._tone_down is not None:
            return self._toned(frame, inner)
        space = None if self._matrix == "rgb" else _SPACES[self._matrix]
        return self._reformatter.reformat(
            frame,
            *inner,
            "yuv420p",
            src_colorspace=space,
            dst_colorspace=Colorspace.ITU709,
            src_color_range=_RANGES[self._range],
            dst_color_range=ColorRange.MPEG,
            interpolation=_HOW,
            threads=1,
        )

    def _toned(self, frame: VideoFrame, inner: tuple[int, int]) -> VideoFrame:
        assert self._tone_down is not None
        rgb = self._reformatter.reformat(
            frame,
            *inner,
            "rgb48le",
            src_colorspace=_SPACES["bt2020" if self._matrix == "rgb" else self._matrix],
            src_color_range=_RANGES[self._range],
            dst_color_range=ColorRange.JPEG,
            interpolation=_HOW,
            threads=1,
        )
        flat: NDArray[np.uint16] = np.frombuffer(memoryview(rgb.planes[0]), np.uint16)
        lines = flat.reshape(inner[1], -1)[:, : inner[0] * 3].reshape(inner[1], inner[0], 3)
        small = VideoFrame.from_ndarray(self._tone_down(lines), format="rgb24")
        return VideoReformatter().reformat(
            small,
            *inner,
            "yuv420p",
            dst_colorspace=Colorspace.ITU709,
            src_color_range=ColorRange.JPEG,
            dst_color_range=ColorRange.MPEG,
            interpolation=_HOW,
            threads=1,
        )
