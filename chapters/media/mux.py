"""Coded packets to an MP4 film, and a finished film read back by its own streams.

The film carries its title and its chapters and nothing else that names anything: no creation
time, no writing application, no metadata of any source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, Protocol, cast

import av
from av.audio.stream import AudioStream
from av.container import InputContainer, OutputContainer
from av.subtitles.stream import SubtitleStream
from av.video.stream import VideoStream

from chapters.errors import EncoderError, RecordingError
from chapters.media.encode import (
    SOUND_RATE_HZ,
    CodedPacket,
    EncoderSettings,
    set_up_sound,
    set_up_video,
)
from chapters.media.files import naming_full_disk
from chapters.media.opening import open_recording
from chapters.media.packets import is_end
from chapters.times import milliseconds

_MS = Fraction(1, 1000)
#: index at the front, no writing application, edit lists exact to 1/90000 s instead of 1 ms
_TEXT_STYLE = (
    b"[Script Info]\nScriptType: v4.00+\nPlayResX: 384\nPlayResY: 288\n\n[V4+ Styles]\n"
    b"Format: Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour, "
    b"Bold, Italic, Underline, StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline, "
    b"Shadow, Alignment, MarginL, MarginR, MarginV, Encoding\n"
    b"Style: Default,sans-serif,16,&Hffffff,&Hffffff,&H0,&H0,0,0,0,0,100,100,0,0,1,1,0,1,10,10,10,1"
    b"\n\n[Events]\nFormat: Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text"
    b"\n"
)
_OPTIONS = {"movflags": "+faststart", "fflags": "+bitexact", "movie_timescale": "90000"}


class ChapterLike(Protocol):
    """A chapter in cut time; see chapters.markers for the value itself."""

    @property
    def start(self) -> Fraction: ...
    @property
    def end(self) -> Fraction: ...
    @property
    def title(self) -> str: ...


def refuse_unsafe(chapters: Sequence[ChapterLike]) -> None:
    """Raise ValueError unless chapters start at 0, are sorted, contiguous and of some length.

    MP4 closes gaps and moves a late first chapter to 0 without a word.
    """
    at = Fraction(0)
    for number, chapter in enumerate(chapters, 1):
        if chapter.start != at or chapter.end <= chapter.start:
            raise ValueError(
                f"chapter {number} runs {chapter.start} to {chapter.end}, not from {at}"
            )
        at = chapter.end


@dataclass(frozen=True, slots=True)
class Copying:
    """What a film needs in which pictures of the recording are copied, with its clock as a track.

    The recording's own parameter sets (Annex B) stand beside the encoder's; ``delay`` is the
    number of frames by which its decoding runs ahead of showing.
    """

    parameter_sets: bytes
    delay: int


@dataclass(frozen=True, slots=True)
class TextTrack:
    """Captions as a track of the film (3GPP TS 26.245). ``language`` is an ISO 639-2 code.

    ``cues`` are (start, end, text) in whole milliseconds of the film, in order, none overlapping.
    """

    language: str
    cues: tuple[tuple[int, int, str], ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """What a film may hold beside picture and sound: copied pictures with their clock, captions."""

    copying: Copying | None = None
    captions: tuple[TextTrack, ...] = ()


class FilmMuxer:
    """Writes packets of one picture stream and at most one sound stream into an MP4.

    With pictures copied ``beside`` it has a timed-text track for the clock, and one more for each
    track of captions. The file is only valid after ``close``. Raises EncoderError, DiskFull.
    """

    def __init__(
        self,
        path: Path,
        size_px: tuple[int, int],
        fps: Fraction,
        settings: EncoderSettings,
        title: str = "",
        chapters: Sequence[ChapterLike] = (),
        sound: bool = False,
        beside: Beside | None = None,
    ) -> None:
        beside = beside or Beside()
        copying, captions = beside.copying, beside.captions
        refuse_unsafe(chapters)
        self._path, self._fps, self._copying = path, fps, copying
        self._box: OutputContainer | None = av.open(str(path), "w", format="mp4", options=_OPTIONS)
        self._segment = self._written = 0
        video = cast(VideoStream, self._box.add_stream(settings.codec, rate=fps))
        # opened for its parameter sets alone, so one thread and no pictures of its own
        set_up_video(video.codec_context, size_px, fps, settings)
        video.codec_context.thread_count = 1
        self._video = video
        self._sound: AudioStream | None = None
        if sound:
            self._sound = self._box.add_stream("aac", rate=SOUND_RATE_HZ)
            set_up_sound(self._sound.codec_context, settings)
        self._clock = None if copying is None else _text_stream(self._box)
        texts = [_text_stream(self._box, track.language) for track in captions]
        if title:
            self._box.metadata["title"] = title
        self._box.set_chapters(
            [
                {
                    "id": number,
                    "start": milliseconds(chapter.start),
                    "end": milliseconds(chapter.end),
                    "time_base": _MS,
                    "metadata": {"title": " ".join(chapter.title.split())},
                }
                for number, chapter in enumerate(chapters)
            ]
        )
        try:
            with naming_full_disk(path.name):
                video.codec_context.open()
                self._own_sets = video.codec_context.extradata or b""
                if copying is not None:
                    video.codec_context.extradata = self._own_sets + copying.parameter_sets
                self._box.start_encoding()
        except (av.error.FFmpegError, ValueError) as error:
            self.abort()
            raise EncoderError(path.name, str(error)) from error
        for stream, track in zip(texts, captions, strict=True):
            self._write_captions(stream, track)

    def _write_captions(self, stream: SubtitleStream, track: TextTrack) -> None:
        """All of a track's samples at once: they are few, and small. Gaps are empty samples."""
        at = 0
        for start, end, text in track.cues:
            if start > at:
                self._mux(stream, _text_sample("", at, start - at), at, at, _MS)
            self._mux(stream, _text_sample(text, start, end - start), start, start, _MS)
            at = end

    @property
    def parameter_sets(self) -> bytes:
        """The parameter sets that every picture packet must have been coded with."""
        return self._own_sets

    def write_packets(
        self, packets: Iterable[CodedPacket], offset: int = 0, parameter_sets: bytes | None = None
    ) -> None:
        """Picture packets of a segment that begins at film frame ``offset``."""
        if parameter_sets is not None and parameter_sets != self.parameter_sets:
            raise EncoderError(self._path.name, "a segment was coded with other settings")
        if offset != self._segment:
            if offset != self._written:
                raise EncoderError(
                    self._path.name,
                    f"a segment begins at frame {offset}, the one before ends at {self._written}",
                )
            self._segment = offset
        for coded in packets:
            # a run of few pictures has its own idea of decode times: they are laid anew for all
            dts = self._written - self._delay
            if coded.pts + offset < dts:
                raise EncoderError(self._path.name, "a picture comes later than it is shown")
            self._mux(self._video, coded, coded.pts + offset, dts, 1 / self._fps)
            self._written += 1

    @property
    def _delay(self) -> int:
        """Frames by which decoding runs ahead of showing, the same in every segment."""
        own = self._video.codec_context.reorder_depth
        return own if self._copying is None else max(own, self._copying.delay)

    def write_sound_packets(self, packets: Iterable[CodedPacket]) -> None:
        """Sound packets of the film's one sound encoder."""
        if self._sound is None:
            raise ValueError("this film was begun without sound")
        for coded in packets:
            self._mux(self._sound, coded, coded.pts, coded.dts, Fraction(1, SOUND_RATE_HZ))

    def write_clock(self, text: str, first: int, frames: int) -> None:
        """Timed text shown for ``frames`` frames of the film from frame ``first`` on."""
        if self._clock is None:
            raise ValueError("this film was begun without a clock track")
        self._mux(self._clock, _text_sample(text, first, frames), first, first, 1 / self._fps)

    def _mux(
        self,
        stream: VideoStream | AudioStream | SubtitleStream,
        coded: CodedPacket,
        pts: int,
        dts: int,
        unit: Fraction,
    ) -> None:
        if self._box is None:
            raise ValueError("the film is closed")
        packet: av.Packet[Any] = av.Packet(coded.data)
        packet.stream = stream
        packet.time_base = unit
        packet.pts, packet.dts, packet.duration = pts, dts, coded.duration
        packet.is_keyframe = coded.key
        try:
            with naming_full_disk(self._path.name):
                self._box.mux_one(packet)
        except av.error.FFmpegError as error:
            raise EncoderError(self._path.name, str(error)) from error

    def close(self) -> None:
        """Write the index at the front; the file is valid afterwards."""
        box, self._box = self._box, None
        if box is None:
            return
        try:
            with naming_full_disk(self._path.name):
                box.close()
        except av.error.FFmpegError as error:
            self._path.unlink(missing_ok=True)
            raise EncoderError(self._path.name, str(error)) from error

    def abort(self) -> None:
        """Stop and remove what was written."""
        box, self._box = self._box, None
        if box is not None:
            with suppress(av.error.FFmpegError, OSError, ValueError):  # the file goes away anyway
                box.close()
        self._path.unlink(missing_ok=True)


def _text_sample(text: str, at: int, lasts: int) -> CodedPacket:
    """One sample of timed text (3GPP TS 26.245, 5.17): length in two bytes, then the text."""
    data = text.encode("utf-8")[:0xFFFF]
    return CodedPacket(len(data).to_bytes(2, "big") + data, at, at, lasts, True)


def _text_stream(box: OutputContainer, language: str = "") -> SubtitleStream:
    """A timed-text stream (3GPP TS 26.245) in a plain style."""
    stream = box.add_stream("mov_text")
    if language:
        stream.metadata["language"] = language
    context = stream.codec_context
    context.subtitle_header = _TEXT_STYLE
    context.time_base = _MS
    return stream


@dataclass(frozen=True, slots=True)
class StreamRead:
    """One stream of a finished film as an independent demux pass finds it; times in seconds."""

    kind: str
    codec: str
    packets: int
    start: Fraction
    duration: Fraction


@dataclass(frozen=True, slots=True)
class ChapterRead:
    """One chapter as read back, in seconds."""

    start: Fraction
    end: Fraction
    title: str


@dataclass(frozen=True)
class FilmRead:
    """What reading a finished film finds. Colour codes are those of ITU-T H.273."""

    streams: tuple[StreamRead, ...]
    size_px: tuple[int, int]
    frame_count: int
    fps: Fraction
    constant_rate: bool
    pix_fmt: str
    profile: str
    matrix: int
    primaries: int
    transfer: int
    colour_range: int
    sound_rate_hz: int
    sound_channels: int
    sound_profile: str
    chapters: tuple[ChapterRead, ...]
    metadata: dict[str, str]
    stream_metadata: tuple[dict[str, str], ...]

    def duration(self, kind: str) -> Fraction:
        """Seconds of the first stream of that kind ("video", "audio"); 0 without one."""
        return next((s.duration for s in self.streams if s.kind == kind), Fraction(0))


def read_back(path: Path) -> FilmRead:
    """Open a finished film and report what is in it, counted packet by packet.

    Raises RecordingError when it cannot be opened or holds no picture.
    """
    with open_recording(path, path.name) as box:
        if not box.streams.video:
            raise RecordingError(path.name, "holds no picture")
        spans, stamps = _count(box)
        video = box.streams.video[0]
        context = video.codec_context
        frame = next(iter(box_frames(path)), None)
        audio = box.streams.audio[0].codec_context if box.streams.audio else None
        steps = {b - a for a, b in pairwise(stamps)}
        return FilmRead(
            streams=tuple(spans),
            size_px=(context.width, context.height),
            frame_count=len(stamps),
            fps=Fraction(video.average_rate or 0),
            constant_rate=len(steps) <= 1,
            pix_fmt=context.pix_fmt or "",
            profile=context.profile or "",
            matrix=int(context.colorspace),
            primaries=int(context.color_primaries),
            transfer=int(context.color_trc),
            colour_range=int(context.color_range) if frame is None else int(frame.color_range),
            sound_rate_hz=audio.sample_rate if audio else 0,
            sound_channels=audio.layout.nb_channels if audio else 0,
            sound_profile=(audio.profile or "") if audio else "",
            chapters=tuple(_chapter(entry) for entry in box.chapters()),
            metadata=dict(box.metadata),
            stream_metadata=tuple(dict(stream.metadata) for stream in box.streams),
        )


def box_frames(path: Path) -> list[av.VideoFrame]:
    """The first decoded frame of a film in a list, empty when none decodes."""
    with open_recording(path, path.name) as box:
        try:
            return [next(box.decode(video=0))]
        except (StopIteration, av.error.FFmpegError):
            return []


def _count(box: InputContainer) -> tuple[list[StreamRead], list[int]]:
    shown: dict[int, list[tuple[int, int]]] = {stream.index: [] for stream in box.streams}
    for packet in box.demux():
        if not is_end(packet) and packet.pts is not None and not packet.is_discard:
            shown[packet.stream_index].append((packet.pts, packet.duration or 0))
    out: list[StreamRead] = []
    stamps: list[int] = []
    for stream in box.streams:
        packets = sorted(shown[stream.index])
        unit = Fraction(stream.time_base or 1)
        start = max(0, packets[0][0]) if packets else 0
        end = max((pts + lasts for pts, lasts in packets), default=0)
        if stream.type == "audio" and stream.duration:
            end = start + stream.duration
        codec = stream.codec_context.name if stream.codec_context else ""
        out.append(StreamRead(stream.type, codec, len(packets), start * unit, (end - start) * unit))
        if stream.type == "video" and not stamps:
            stamps = [pts for pts, _ in packets]
    return out, stamps


def _chapter(entry: Any) -> ChapterRead:
    unit = Fraction(entry["time_base"])
    title = str(entry.get("metadata", {}).get("title", ""))
    return ChapterRead(entry["start"] * unit, entry["end"] * unit, title)
