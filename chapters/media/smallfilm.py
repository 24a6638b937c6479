"""A second, small file of a finished film for the page: AV1 picture, the film's own sound.

Read from the finished film and coded anew by SVT-AV1; chapters and title stay, nothing else.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import av
from av.audio.stream import AudioStream
from av.container import InputContainer, OutputContainer
from av.video.stream import VideoStream

from chapters.errors import EncoderError
from chapters.media.files import naming_full_disk
from chapters.media.opening import open_recording
from chapters.media.packets import is_end

CODEC = "libsvtav1"
#: Speed and quality of the small file, measured on real clips; see DEVELOPERS.md.
PRESET, CRF = 10, 36
_KEY_EVERY_S = 4

#: ``step(done, total)`` frames; may raise to stop.
Step = Callable[[int, int], None]


def small_film_possible() -> bool:
    """Whether this installation can write AV1."""
    return CODEC in av.codecs_available


def small_film(
    film: Path,
    out: Path,
    step: Step = lambda done, total: None,
    *,
    preset: int = PRESET,
    crf: int = CRF,
    threads: int = 1,
) -> None:
    """Write ``out`` (the caller stages it) from the finished ``film``.

    ``threads``: SVT-AV1's level of parallelism; 1 costs least in all and still uses two cores, for
    the film is read beside it. Raises EncoderError, DiskFull, RecordingError; nothing is
    left under ``out`` then.
    """
    if not small_film_possible():
        raise EncoderError(out.name, "AV1 cannot be written by this installation")
    os.environ.setdefault("SVT_LOG", "1")  # errors only; it writes past every other door
    try:
        with naming_full_disk(out.name), open_recording(film, film.name) as source:
            options = {"movflags": "+faststart", "fflags": "+bitexact", "movie_timescale": "90000"}
            with av.open(str(out), "w", format="mp4", options=options) as target:
                _Recoding(source, target, (preset, crf, threads), step).run()
    except av.error.FFmpegError as error:
        out.unlink(missing_ok=True)
        raise EncoderError(out.name, str(error)) from error
    except BaseException:
        with suppress(OSError):
            out.unlink(missing_ok=True)
        raise


class _Recoding:
    """One film on its way from one container to another."""

    def __init__(
        self,
        source: InputContainer,
        target: OutputContainer,
        how: tuple[int, int, int],
        step: Step,
    ) -> None:
        self._source, self._target, self._step = source, target, step
        self._picture = source.streams.video[0]
        self._picture.codec_context.thread_count = 1
        self._total, self._done = self._picture.frames, 0
        rate = Fraction(self._picture.average_rate or 30)
        self._out = cast(VideoStream, target.add_stream(CODEC, rate=rate))
        self._set_up(rate, how)
        self._sound: AudioStream | None = None
        if source.streams.audio:
            self._sound = target.add_stream_from_template(source.streams.audio[0])
        title = source.metadata.get("title")
        if title:
            target.metadata["title"] = title
        target.set_chapters(source.chapters())

    def _set_up(self, rate: Fraction, how: tuple[int, int, int]) -> None:
        preset, crf, threads = how
        read, context = self._picture.codec_context, self._out.codec_context
        context.width, context.height = read.width, read.height
        context.pix_fmt = "yuv420p"
        context.framerate, context.time_base = rate, 1 / rate
        context.color_range, context.colorspace = read.color_range, read.colorspace
        context.color_primaries, context.color_trc = read.color_primaries, read.color_trc
        context.gop_size = max(1, round(_KEY_EVERY_S * rate))
        params = f"lp={threads}"
        context.options = {"preset": str(preset), "crf": str(crf), "svtav1-params": params}

    def run(self) -> None:
        """Recode everything."""
        streams = [self._picture, *self._source.streams.audio[:1]]
        for packet in self._source.demux(*streams):
            if is_end(packet):
                continue
            if packet.stream_index == self._picture.index:
                self._recode(packet)
            else:
                self._copy(packet)
        self._recode(None)
        self._write(self._out.encode(None))

    def _recode(self, packet: av.Packet[Any] | None) -> None:
        for frame in self._picture.codec_context.decode(packet):
            frame.pict_type = 0
            frame.pts, frame.time_base = self._done, self._out.codec_context.time_base
            self._write(self._out.encode(frame))
            self._done += 1
            self._step(self._done, self._total)

    def _copy(self, packet: av.Packet[Any]) -> None:
        if self._sound is not None:
            packet.stream = self._sound
            self._target.mux_one(packet)

    def _write(self, packets: list[av.Packet[Any]]) -> None:
        for packet in packets:
            self._target.mux_one(packet)
