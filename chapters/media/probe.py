"""What a recording is: its streams, its exact times, its oddities in plain words.

One pass over the packets without decoding, then a few frames decoded for what only frames say
(turn, fields, colour). Part time zero is the first frame that is *shown*, after edit lists and
after what cannot be decoded; ``frames`` and ``samples`` count from the same instant.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import TypedDict

import numpy as np
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.stream import Disposition
from av.video.stream import VideoStream

from chapters.errors import RecordingError
from chapters.media.decode import Source
from chapters.media.head import hide_after, read_head, tail_loss
from chapters.media.opening import MAX_PIXELS, open_recording
from chapters.media.packets import Demuxed, demux_all
from chapters.media.picture import VideoInfo, describe
from chapters.media.timeline import NONE, PacketTable, Timeline, holes, lay_out
from chapters.spans import Span
from chapters.times import clock_text, duration_text

_EARLIEST = datetime(2005, 1, 1, tzinfo=UTC)  # older than any recorder that writes such files


@dataclass(frozen=True, slots=True)
class SoundInfo:
    """The sound track in use; ``start`` is the time of its first packet on the part's clock."""

    rate_hz: int
    channels: int
    layout: str
    start: Fraction
    codec: str
    stream_index: int


@dataclass(frozen=True, slots=True)
class Damage:
    """A stretch of part time and what is wrong with it, in plain words."""

    span: Span
    what: str


@dataclass(frozen=True)
class Probe:
    """One recording as found. Times are exact seconds on the part's own clock."""

    container: str
    video: VideoInfo
    sound: SoundInfo | None
    length: Fraction
    frame_count: int
    average_fps: Fraction
    shortest_gap: Fraction
    longest_gap: Fraction
    variable: bool
    key_times: tuple[Fraction, ...]
    creation_time: datetime | None
    gaps: tuple[Span, ...]
    damage: tuple[Damage, ...]
    notices: tuple[str, ...]
    shown_as: str
    source: Source = field(compare=False, repr=False)
    timeline: Timeline = field(compare=False, repr=False)


def probe(path: Path, shown_as: str) -> Probe:
    """Look at a checked recording (see ``files.check_input``). Raises RecordingError."""
    with open_recording(path, shown_as) as container:
        streams = _pictures(container, shown_as)
        found = demux_all(container, streams, path.stat().st_size, shown_as)
        stream = _chosen(streams, found, shown_as)
        source = Source(path, shown_as, stream.index, found.tables[stream.index], seekable=False)
        head = read_head(source, container.format.name)
        line = lay_out(source.table, by_order=head.by_order, first=head.first)
        source = replace(source, seekable=line.steady and head.keys_hold)
        unseen = int(np.count_nonzero(~source.table.hidden & (source.table.size > 0)))
        unseen -= int(np.count_nonzero(line.ticks != NONE))
        promised = _promised_length(container, stream)
        short = _cut_short(promised, line.length, container)
        lost = tail_loss(source, line, suspicious=short or bool(found.broke_off))
        if lost is not None:
            line = lay_out(hide_after(source.table, lost), by_order=head.by_order, first=head.first)
        video, notes = describe(stream, head.frames)
        sound = _sound(container, line)
        notes += _stream_notes(container, stream, streams, found, sound)
        damage = _damage(source.table, line, promised if short else None, unseen)
        gaps = holes(line)
        return Probe(
            container=container.format.name,
            video=video,
            sound=sound,
            length=line.length,
            frame_count=len(line.shown),
            **_rates(line),
            key_times=_key_times(source.table, line, trusted=head.keys_hold),
            creation_time=_creation_time(container, datetime.now(UTC)),
            gaps=gaps,
            damage=damage,
            notices=tuple(notes + _time_notes(line, gaps)),
            shown_as=shown_as,
            source=source,
            timeline=line,
        )


def _pictures(container: InputContainer, shown_as: str) -> list[VideoStream]:
    """The video streams that can be a recording: no cover picture, a known codec, a sane size."""
    streams = []
    for stream in container.streams.video:
        if stream.disposition & (Disposition.attached_pic | Disposition.still_image):
            continue
        if stream.codec_context is None or not stream.time_base:
            continue
        if stream.codec_context.width * stream.codec_context.height > MAX_PIXELS:
            raise RecordingError(
                shown_as,
                f"claims pictures of {stream.codec_context.width} x "
                f"{stream.codec_context.height} pixels, over the limit of 40 megapixels",
                "export it at a smaller size",
            )
        streams.append(stream)
    if not streams:
        raise RecordingError(
            shown_as, "holds no video that can be read", "name the file with the picture"
        )
    return streams


def _chosen(streams: list[VideoStream], found: Demuxed, shown_as: str) -> VideoStream:
    """The first default stream that has packets, else the first that has any."""
    filled = [s for s in streams if s.index in found.tables]
    if not filled:
        raise RecordingError(
            shown_as,
            "has a video track without a single picture in the file",
            "copy it again from the recorder",
        )
    default = [s for s in filled if s.disposition & Disposition.default]
    return (default or filled)[0]


def _promised_length(container: InputContainer, stream: VideoStream) -> Fraction | None:
    """The length in seconds that the header states for the picture; None where it states none.

    A length of the whole file may be the sound's, so with sound it is not taken at its word.
    """
    if stream.duration:
        return stream.duration * Fraction(stream.time_base or 1)
    if container.duration:
        return Fraction(container.duration, 1_000_000)
    return None


def _cut_short(promised: Fraction | None, length: Fraction, container: InputContainer) -> bool:
    """Whether the header promises clearly more than there is."""
    if promised is None:
        return False
    whole_file = container.format.name.startswith(("matroska", "flv", "asf"))
    loose = whole_file and bool(container.streams.audio)
    return promised - length > (max(Fraction(2), promised / 20) if loose else Fraction(1, 2))


def _sound(container: InputContainer, line: Timeline) -> SoundInfo | None:
    """The first default sound track that can be decoded; its start on the part's clock."""
    usable = [
        s
        for s in container.streams.audio
        if s.codec_context is not None and s.codec_context.sample_rate and s.time_base
    ]
    if not usable:
        return None
    default = [s for s in usable if s.disposition & Disposition.default]
    stream: AudioStream = (default or usable)[0]
    start = Fraction(stream.start_time or 0) * Fraction(stream.time_base or 1)
    return SoundInfo(
        rate_hz=stream.codec_context.sample_rate,
        channels=stream.codec_context.layout.nb_channels,
        layout=stream.codec_context.layout.name,
        start=start - line.seconds(line.zero),
        codec=stream.codec_context.codec.canonical_name,
        stream_index=stream.index,
    )


class _Rates(TypedDict):
    average_fps: Fraction
    shortest_gap: Fraction
    longest_gap: Fraction
    variable: bool


def _rates(line: Timeline) -> _Rates:
    """Average rate and the range of the steps. Variable: steps differ by over a tenth and 2 ms.

    (Containers that store whole milliseconds make 33 and 34 of a constant rate.)
    """
    steps = np.diff(line.shown)
    if not len(steps):
        gap = line.seconds(line.last)
        return _Rates(average_fps=1 / gap, shortest_gap=gap, longest_gap=gap, variable=False)
    shortest, longest = line.seconds(int(steps.min())), line.seconds(int(steps.max()))
    span = line.seconds(int(line.shown[-1] - line.shown[0]))
    return _Rates(
        average_fps=len(steps) / span,
        shortest_gap=shortest,
        longest_gap=longest,
        variable=longest - shortest > max(shortest / 10, Fraction(2, 1000)),
    )


def _key_times(table: PacketTable, line: Timeline, *, trusted: bool) -> tuple[Fraction, ...]:
    """Part times of the key frames; only the first frame where the file's marks are wrong."""
    if not trusted or line.by_order:
        return (Fraction(0),)
    ticks = line.ticks[table.key & (line.ticks != NONE)]
    return tuple(line.seconds(int(tick)) for tick in np.unique(ticks))


def _creation_time(container: InputContainer, now: datetime) -> datetime | None:
    """The recorder's date in UTC where it is plausible: from 2005 on, not in the future."""
    text = container.metadata.get("creation_time", "")
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    when = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
    return when if _EARLIEST <= when <= now + timedelta(days=1) else None


def _damage(
    table: PacketTable, line: Timeline, promised: Fraction | None, unseen: int
) -> tuple[Damage, ...]:
    """What the demux pass and the first frames show to be damaged, on the part's clock."""
    out: list[Damage] = []
    for ordinal in np.flatnonzero(table.corrupt & (line.ticks != NONE)).tolist():
        at = line.seconds(int(line.ticks[ordinal]))
        end = min(line.length, at + line.seconds(line.last))
        if out and at <= out[-1].span.end:
            out[-1] = Damage(Span(out[-1].span.start, max(out[-1].span.end, end)), out[-1].what)
        else:
            out.append(Damage(Span(at, end), "part of the data is missing"))
    if unseen:
        what = f"begins with {unseen} pictures that cannot be decoded"
        out.insert(0, Damage(Span(Fraction(0), Fraction(0)), what))
    if promised is not None:
        what = f"the picture ends here; the header promises {duration_text(promised)}"
        out.append(Damage(Span(line.length, promised), what))
    return tuple(out)


def _stream_notes(
    container: InputContainer,
    chosen: VideoStream,
    streams: list[VideoStream],
    found: Demuxed,
    sound: SoundInfo | None,
) -> list[str]:
    notes = []
    others = [s for s in streams if s is not chosen and s.index in found.tables]
    if others:
        notes.append(f"has {len(others) + 1} video tracks; track {chosen.index + 1} is used")
    if len(container.streams.audio) > 1 and sound is not None:
        count = len(container.streams.audio)
        notes.append(f"has {count} sound tracks; track {sound.stream_index + 1} is used")
    if sound is None:
        notes.append("has no sound that can be read")
    elif sound.start > Fraction(1, 10):
        notes.append(f"has sound from {float(sound.start):.2f} s on; kept in step")
    return notes


def _time_notes(line: Timeline, gaps: tuple[Span, ...]) -> list[str]:
    notes = []
    rates = _rates(line)
    if rates["variable"]:
        low, high = float(rates["shortest_gap"]) * 1000, float(rates["longest_gap"]) * 1000
        notes.append(f"has a variable frame rate: frames {low:.0f} to {high:.0f} ms apart")
    if line.by_order:
        notes.append("stores no presentation times; frames are timed in the order they decode")
    for kind, what in (
        ("back", "its clock was set back {n}; the time is taken to run on"),
        ("stray", "has stray time stamps {n}; laid between their neighbours"),
    ):
        count = sum(jump.kind == kind for jump in line.jumps)
        if count:
            notes.append(what.format(n="once" if count == 1 else f"{count} times"))
    for gap in gaps[:5]:
        notes.append(f"has no picture for {float(gap.length):.1f} s from {clock_text(gap.start)}")
    if len(gaps) > 5:
        notes.append(f"and {len(gaps) - 5} more gaps")
    return notes
