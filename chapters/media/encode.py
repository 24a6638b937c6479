"""Pictures and sound to coded packets, apart from any file.

Packets are plain values (bytes and stamps), so that they can come from segments encoded apart,
in any order of work, and be joined by ``FilmMuxer``: equal settings give equal parameter sets.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, cast

import av
import numpy as np
from av.audio.codeccontext import AudioCodecContext
from av.video.codeccontext import VideoCodecContext
from av.video.frame import PictureType, VideoFrame
from numpy.typing import NDArray

from chapters.errors import EncoderError

SOUND_RATE_HZ = 48000
SOUND_FRAME = 1024
Plane = NDArray[np.uint8]
_BT709 = 1  # ITU-T H.273: matrix, primaries and transfer alike
_LIMITED = 1
_X264_NOTE = bytes.fromhex("dc45e9bde6d948b7962cd820d923eeef")


@dataclass(frozen=True, slots=True)
class EncoderSettings:
    """How a film is coded. ``threads`` 0: the encoder chooses. ``extra``: its options by name.

    ``preset`` and ``crf`` are those of x264 and SVT-AV1; other encoders are told by ``extra`` alone.
    """

    codec: str = "libx264"
    preset: str = "veryfast"
    crf: float = 20
    threads: int = 0
    extra: tuple[tuple[str, str], ...] = ()
    sound_bit_rate: int = 160_000
    key_every_s: Fraction = Fraction(4)


@dataclass(frozen=True, slots=True)
class CodedPacket:
    """One coded frame: stamps in frames (picture) or samples (sound) from the encoder's start."""

    data: bytes
    pts: int
    dts: int
    duration: int
    key: bool


def set_up_video(
    context: VideoCodecContext, size_px: tuple[int, int], fps: Fraction, settings: EncoderSettings
) -> None:
    """Put size, exact rate, BT.709 limited tags and settings into an encoder not yet open."""
    context.width, context.height = size_px
    context.pix_fmt = "yuv420p"
    context.framerate = fps
    context.time_base = 1 / fps
    context.sample_aspect_ratio = Fraction(1)
    context.color_range = _LIMITED
    context.colorspace = context.color_primaries = context.color_trc = _BT709
    context.gop_size = max(1, round(settings.key_every_s * fps))
    context.thread_count = settings.threads
    options: dict[str, str] = {}
    if settings.codec.startswith("lib"):
        options = {"preset": settings.preset, "crf": f"{settings.crf:g}"}
    if settings.codec == "libx264":
        options |= {"forced-idr": "1", "profile": "high"}
        options |= {"x264-params": "8x8dct=1:cabac=1:open-gop=0"}
    context.options = {**options, **dict(settings.extra)}


def without_settings_note(data: bytes) -> bytes:
    """An H.264 packet (Annex B) without the message in which x264 writes its version and options.

    It is an SEI unit (ITU-T H.264, D.1.7) marked by x264's own identifier, at the stream's start.
    """
    at = data.find(_X264_NOTE)
    if at < 0:
        return data
    start = data.rfind(b"\x00\x00\x01\x06", 0, at)
    end = data.find(b"\x00\x00\x01", at)
    if start < 0 or end < 0:
        return data
    if data[start - 1 : start] == b"\x00":
        start -= 1
    if data[end - 1] == 0:
        end -= 1
    return data[:start] + data[end:]


def _coded(packets: list[av.Packet[Any]], unit: Fraction) -> list[CodedPacket]:
    out = []
    for packet in packets:
        pts, dts, lasts = packet.pts or 0, packet.dts or 0, packet.duration or 0
        if packet.time_base != unit:
            scale = Fraction(packet.time_base) / unit
            pts, dts, lasts = round(pts * scale), round(dts * scale), round(lasts * scale)
        out.append(CodedPacket(bytes(memoryview(packet)), pts, dts, lasts or 1, packet.is_keyframe))
    return out


class VideoEncoder:
    """H.264 High, 8-bit 4:2:0, for one run of pictures at a constant exact rate.

    ``key_frames``: numbers of pictures that must be key frames besides the regular ones (chapter
    starts, so that a jump lands at once). Raises EncoderError.
    """

    def __init__(
        self,
        size_px: tuple[int, int],
        fps: Fraction,
        settings: EncoderSettings,
        key_frames: Collection[int] = (),
    ) -> None:
        if size_px[0] % 2 or size_px[1] % 2 or min(size_px) < 2:
            raise EncoderError("film", f"{size_px[0]} x {size_px[1]} pixels cannot be 4:2:0")
        self._size, self._unit, self._keys = size_px, 1 / fps, frozenset(key_frames)
        context = cast(VideoCodecContext, av.CodecContext.create(settings.codec, "w"))
        set_up_video(context, size_px, fps, settings)
        context.flags |= av.codec.context.Flags.global_header
        self._context = context
        self._count, self._begun = 0, False
        # x264 copies a picture before it hands back control, so one frame serves for all
        self._frame = VideoFrame(*size_px, "yuv420p") if settings.codec == "libx264" else None
        try:
            context.open()
        except (av.error.FFmpegError, OSError, ValueError) as error:
            raise EncoderError("film", str(error)) from error

    @property
    def parameter_sets(self) -> bytes:
        """The parameter sets that all segments of one film must share."""
        return self._context.extradata or b""

    def canvas(self) -> tuple[Plane, Plane, Plane] | None:
        """Y, U and V of the next picture, to be filled and given to ``encode``: saves it a copy.

        They hold the picture before. None where the encoder may still be reading that one.
        """
        if self._frame is None:
            return None
        self._frame.make_writable()
        return _planes(self._frame)

    def encode(self, y: Plane, u: Plane, v: Plane) -> list[CodedPacket]:
        """One picture in; the packets that are ready out. Planes as in frames.Picture."""
        frame = VideoFrame(*self._size, "yuv420p") if self._frame is None else self._frame
        frame.make_writable()
        for own, plane in zip(_planes(frame), (y, u, v), strict=True):
            if plane.shape != own.shape or plane.dtype != np.uint8:
                raise ValueError(f"a plane is {plane.shape} {plane.dtype}, not {own.shape} uint8")
            if plane.ctypes.data != own.ctypes.data:
                np.copyto(own, plane)
        frame.pts, frame.time_base = self._count, self._unit
        frame.pict_type = PictureType.I if self._count in self._keys else PictureType.NONE
        self._count += 1
        return self._run(frame)

    def finish(self) -> list[CodedPacket]:
        """The packets still held back; the encoder is spent afterwards."""
        return self._run(None)

    def _run(self, frame: VideoFrame | None) -> list[CodedPacket]:
        try:
            packets = _coded(self._context.encode(frame), self._unit)
        except av.error.FFmpegError as error:
            raise EncoderError("film", str(error)) from error
        if packets and not self._begun:
            self._begun = True
            packets[0] = replace(packets[0], data=without_settings_note(packets[0].data))
        return packets


def _planes(frame: VideoFrame) -> tuple[Plane, Plane, Plane]:
    """Views into a 4:2:0 frame of even size."""
    views = []
    for plane, part in zip(frame.planes, (1, 2, 2), strict=True):
        flat = np.frombuffer(memoryview(plane), np.uint8)
        views.append(flat.reshape(plane.height, plane.line_size)[:, : frame.width // part])
    return views[0], views[1], views[2]


def set_up_sound(context: AudioCodecContext, settings: EncoderSettings) -> None:
    """Put AAC-LC, 48 kHz, stereo and the bit rate into an encoder not yet open."""
    context.rate = SOUND_RATE_HZ
    context.layout = "stereo"
    context.format = "fltp"
    context.bit_rate = settings.sound_bit_rate
    context.flags |= av.codec.context.Flags.bitexact  # or it writes its own name and version
    context.time_base = Fraction(1, SOUND_RATE_HZ)


class SoundEncoder:
    """AAC-LC, 48 kHz stereo, one run for the whole film (each run has its own priming)."""

    def __init__(self, settings: EncoderSettings) -> None:
        context = av.CodecContext.create("aac", "w")
        set_up_sound(context, settings)
        context.flags |= av.codec.context.Flags.global_header
        self._context = context
        self._count = 0
        self._rest = np.empty((0, 2), np.float32)

    def encode(self, samples: NDArray[np.float32]) -> list[CodedPacket]:
        """Any number of samples, float32 (n, 2) in −1..1; the packets that are ready out."""
        self._rest = np.concatenate([self._rest, samples])
        packets: list[CodedPacket] = []
        whole = len(self._rest) // SOUND_FRAME * SOUND_FRAME
        for at in range(0, whole, SOUND_FRAME):
            packets += self._run(self._rest[at : at + SOUND_FRAME])
        self._rest = self._rest[whole:]
        return packets

    def finish(self) -> list[CodedPacket]:
        """What is left, the last frame as short as it is; the encoder is spent afterwards."""
        packets = self._run(self._rest) if len(self._rest) else []
        return packets + self._run(None)

    def _run(self, block: NDArray[np.float32] | None) -> list[CodedPacket]:
        frame = None
        if block is not None:
            planar = np.ascontiguousarray(np.clip(block.T, -1, 1), np.float32)
            frame = av.AudioFrame.from_ndarray(planar, format="fltp", layout="stereo")
            frame.sample_rate = SOUND_RATE_HZ
            frame.pts, frame.time_base = self._count, Fraction(1, SOUND_RATE_HZ)
            self._count += len(block)
        try:
            packets = self._context.encode(frame)
        except av.error.FFmpegError as error:
            raise EncoderError("film", str(error)) from error
        return _coded(list(packets), Fraction(1, SOUND_RATE_HZ))
