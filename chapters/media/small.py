"""From a decoded frame to a small luma picture and its tint: for signals only, never shown."""

from __future__ import annotations

from typing import TypeAlias

import cv2
import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from chapters.media.picture import VideoInfo

Plane: TypeAlias = NDArray[np.uint8]
#: Mean colour differences Cb and Cr of a picture, 0 without colour; None where it has none.
Tint: TypeAlias = tuple[float, float] | None


def shrink(frame: VideoFrame, video: VideoInfo, width_px: int) -> Plane:
    """The frame's luma, upright, small, limited range: samples picked, then averaged by area."""
    height_px = max(2, round(width_px * video.height_px / video.width_px))
    flat = (height_px, width_px) if video.turn.transpose else (width_px, height_px)
    small = cv2.resize(_picked(frame, width_px), flat, interpolation=cv2.INTER_AREA)
    if video.colour_range == "full":
        small = cv2.LUT(small, np.rint(np.arange(256) * (219 / 255) + 16).astype(np.uint8))
    return np.ascontiguousarray(video.turn.apply(np.asarray(small, np.uint8)))


def tint(frame: VideoFrame) -> Tint:
    """Mean Cb and Cr about their middle, from every 16th sample of 8-bit planar pictures."""
    if len(frame.planes) != 3 or not frame.format.name.startswith(("yuv4", "yuvj")):
        return None
    if frame.format.components[0].bits != 8:
        return None
    means = []
    for plane in frame.planes[1:]:
        rows = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
        means.append(float(rows[::16, : plane.width : 16].mean()) - 128)
    return means[0], means[1]


def _picked(frame: VideoFrame, width_px: int) -> Plane:
    """Every n-th sample of every n-th line as 8 bits, so that twice the width or more is left."""
    step = max(1, frame.width // (2 * width_px))
    name, depth = frame.format.name, frame.format.components[0].bits
    if name.startswith(("yuv4", "yuvj", "nv12", "gray")) and depth == 8:
        plane = frame.planes[0]
        rows = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
        return np.ascontiguousarray(rows[step // 2 :: step, : frame.width][:, step // 2 :: step])
    if name.startswith(("yuv4", "gray")) and name.endswith("le"):
        plane = frame.planes[0]
        deep = np.frombuffer(memoryview(plane), np.uint16).reshape(plane.height, -1)
        picked = deep[step // 2 :: step, : frame.width][:, step // 2 :: step]
        return np.ascontiguousarray(picked >> (depth - 8)).astype(np.uint8)
    grey = np.asarray(frame.to_ndarray(format="gray"), np.uint8)
    return np.ascontiguousarray(grey[step // 2 :: step, step // 2 :: step])
