"""Whether an encoder works on this machine: a short run, read back by the decoder and compared."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
from numpy.typing import NDArray

from chapters.errors import EncoderError
from chapters.media.encode import CodedPacket, EncoderSettings, VideoEncoder

#: Pictures of a self-check: over one group, so that a second key frame is seen.
_FRAMES = 24
#: Least agreement of what comes out with what went in, decibels of luma.
LEAST_PSNR_DB = 30.0

Planes = tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]


def encoder_fault(settings: EncoderSettings, size_px: tuple[int, int], fps: Fraction) -> str:
    """Why an encoder cannot be used here, in a few words; empty when it passes.

    It must open twice at once (segments are made side by side) with equal parameter sets, keep
    the number of pictures, begin with a key frame, and give back what it was given.
    """
    if settings.codec not in av.codecs_available:
        return "it is not part of this installation"
    settings = replace(settings, key_every_s=Fraction(_FRAMES // 2) / fps)
    try:
        one, two = VideoEncoder(size_px, fps, settings), VideoEncoder(size_px, fps, settings)
        if one.parameter_sets != two.parameter_sets or not one.parameter_sets:
            return "two runs of it cannot be joined"
        given = [_picture(size_px, n) for n in range(_FRAMES)]
        packets = [p for planes in given for p in one.encode(*planes)] + one.finish()
        two.encode(*given[0])
        two.finish()
    except (EncoderError, av.error.FFmpegError, OSError, ValueError) as error:
        cause = error.__cause__ or error
        return str(getattr(cause, "strerror", "") or cause).lower() or "it does not open"
    return _compare(one.parameter_sets, packets, given)


def _picture(size_px: tuple[int, int], number: int) -> Planes:
    """A soft slope that moves, dark on one side, coloured."""
    width, height = size_px
    row = (np.arange(width) * 160 // width + 20 + 2 * number).astype(np.uint8)
    y = np.repeat(row[None, :], height, axis=0)
    u = np.full((height // 2, width // 2), 110, np.uint8)
    return y, u, np.full_like(u, 145)


def _compare(sets: bytes, packets: list[CodedPacket], given: list[Planes]) -> str:
    if len(packets) != len(given) or not packets[0].key:
        return "it loses pictures"
    decoder = av.CodecContext.create("h264", "r")
    decoder.extradata = sets
    shown: dict[int, NDArray[np.uint8]] = {}
    try:
        for coded in [*packets, None]:
            packet = None
            if coded is not None:
                packet = av.Packet(coded.data)
                packet.pts, packet.dts = coded.pts, coded.dts
            for frame in decoder.decode(packet):
                luma = frame.to_ndarray(format="gray")
                shown[frame.pts or 0] = np.asarray(luma, np.uint8)
    except av.error.FFmpegError:
        return "what it writes cannot be read"
    if sorted(shown) != list(range(len(given))):
        return "it loses pictures"
    worst = min(_psnr_db(shown[n], given[n][0]) for n in range(len(given)))
    return "" if worst >= LEAST_PSNR_DB else f"its pictures are off ({worst:.0f} dB)"


def _psnr_db(one: NDArray[np.uint8], limited: NDArray[np.uint8]) -> float:
    """Of a picture the decoder gave as full-range grey against limited-range luma."""
    full = np.clip((limited.astype(np.float64) - 16) * 255 / 219, 0, 255)
    error = float(np.mean((one - full) ** 2))
    return float(10 * np.log10(255**2 / max(error, 1e-6)))
