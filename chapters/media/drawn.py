"""Write a plain recording from drawn pictures with given time stamps: the demo's and tests' camera.

The file is what a microscope's recorder leaves behind: H.264 in 4:2:0 BT.709 with whatever
frame gaps the time stamps say, AAC sound, MP4. Nothing here knows what is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.audio.stream import AudioStream
from av.container import OutputContainer
from av.video.reformatter import ColorRange, Colorspace
from av.video.stream import VideoStream
from numpy.typing import NDArray

from chapters.errors import EncoderError
from chapters.media.files import naming_full_disk

SOUND_RATE_HZ = 48000
_SOUND_BLOCK = 1024
_KEY_EVERY_S = 2
Frame = tuple[int, NDArray[np.uint8]]


def write_recording(
    path: Path,
    frames: Iterable[Frame],
    *,
    size_px: tuple[int, int],
    time_base: Fraction,
    length_ticks: int,
    sound: Iterable[NDArray[np.float32]] | None = None,
    quality: int = 23,
) -> None:
    """Write ``frames`` (time stamp in ticks of ``time_base``, picture) and ``sound``.

    A picture is uint8: RGB (h, w, 3), or planar 4:2:0 BT.709 limited (3h/2, w), Y then Cb then Cr.
    Time stamps must rise; the last frame lasts until ``length_ticks``. ``sound`` yields float32
    blocks of shape (n, 2) at 48 kHz in -1..1. Raises EncoderError when the encoder refuses,
    DiskFull when there is no space left.
    """
    try:
        with naming_full_disk(path.name), av.open(str(path), "w", format="mp4") as out:
            film = _film_stream(out, size_px, time_base, quality)
            tone = _sound_stream(out) if sound is not None else None
            blocks = _sound_frames(sound) if sound is not None else iter(())
            ends: dict[int, int] = {}
            for at, upto, rgb in _with_ends(frames, length_ticks):
                ends[at] = upto - at
                _mux_picture(out, film, at, rgb, ends)
                _mux_sound(out, tone, blocks, upto * time_base)
            _mux_rest(out, film, ends)
            _mux_sound(out, tone, blocks, None)
    except av.error.FFmpegError as fault:
        raise EncoderError(path.name, str(fault)) from fault


def _film_stream(
    out: OutputContainer, size_px: tuple[int, int], time_base: Fraction, quality: int
) -> VideoStream:
    options = {
        "preset": "ultrafast",
        "crf": str(quality),
        "threads": "1",
        "x264-params": "cabac=1:deblock=0,0:scenecut=0",
    }
    film = out.add_stream("libx264", rate=30, options=options)
    film.width, film.height = size_px
    film.pix_fmt = "yuv420p"
    film.time_base = film.codec_context.time_base = time_base
    film.codec_context.gop_size = 30 * _KEY_EVERY_S
    context = film.codec_context
    context.color_primaries = context.color_trc = context.colorspace = 1  # ITU-T H.273: BT.709
    context.color_range = ColorRange.MPEG
    return film


def _sound_stream(out: OutputContainer) -> AudioStream:
    tone = out.add_stream("aac", rate=SOUND_RATE_HZ, layout="stereo")
    tone.bit_rate = 96000
    return tone


def _with_ends(
    frames: Iterable[Frame], length_ticks: int
) -> Iterator[tuple[int, int, NDArray[np.uint8]]]:
    """Each frame with the time stamp at which the next one replaces it."""
    held: Frame | None = None
    for frame in frames:
        if held is not None:
            yield held[0], frame[0], held[1]
        held = frame
    if held is not None:
        yield held[0], length_ticks, held[1]


def _mux_picture(
    out: OutputContainer, film: VideoStream, at: int, rgb: NDArray[np.uint8], ends: dict[int, int]
) -> None:
    picture = _in_420(rgb)
    picture.pts = at
    picture.time_base = film.codec_context.time_base
    for packet in film.encode(picture):
        if packet.pts is not None:
            packet.duration = ends.pop(packet.pts)
        out.mux(packet)


def _in_420(picture: NDArray[np.uint8]) -> av.VideoFrame:
    if picture.ndim == 2:
        return av.VideoFrame.from_ndarray(picture, format="yuv420p")
    return av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(
        format="yuv420p",
        src_colorspace=Colorspace.ITU709,
        dst_colorspace=Colorspace.ITU709,
        dst_color_range=ColorRange.MPEG,
    )


def _mux_rest(out: OutputContainer, film: VideoStream, ends: dict[int, int]) -> None:
    for packet in film.encode(None):
        if packet.pts is not None:
            packet.duration = ends.pop(packet.pts)
        out.mux(packet)


def _sound_frames(sound: Iterable[NDArray[np.float32]]) -> Iterator[av.AudioFrame]:
    """The sound in encoder-sized frames of planar float, time stamps in samples."""
    left = np.zeros((0, 2), np.float32)
    at = 0
    for block in sound:
        left = np.concatenate([left, block])
        while len(left) >= _SOUND_BLOCK:
            yield _sound_frame(left[:_SOUND_BLOCK], at)
            left, at = left[_SOUND_BLOCK:], at + _SOUND_BLOCK
    if len(left):
        yield _sound_frame(left, at)


def _sound_frame(samples: NDArray[np.float32], at: int) -> av.AudioFrame:
    planes = np.ascontiguousarray(samples.T)
    frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout="stereo")
    frame.sample_rate = SOUND_RATE_HZ
    frame.time_base = Fraction(1, SOUND_RATE_HZ)
    frame.pts = at
    return frame


def _mux_sound(
    out: OutputContainer,
    tone: AudioStream | None,
    blocks: Iterator[av.AudioFrame],
    upto_s: Fraction | None,
) -> None:
    """Encode sound until it has caught up with the picture, or all that is left."""
    if tone is None:
        return
    for frame in blocks:
        out.mux(tone.encode(frame))
        if upto_s is not None and Fraction(frame.pts or 0, SOUND_RATE_HZ) >= upto_s:
            return
    if upto_s is None:
        out.mux(tone.encode(None))
