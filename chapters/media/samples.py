"""Sound of a recording by time: float32 stereo at one rate, sample 0 at the instant asked for.

Part time zero is the picture's, so the offset between picture and sound is kept. Samples are
placed by their time stamps; containers round those and codecs with blocks of two lengths shift
them by some milliseconds for a moment, so a run of packets is taken as unbroken until stamp and
sample count part by most of a packet, or by ``_LITTLE_S`` for a whole second. Gaps, damage and
everything outside the track come out as silence. Nothing longer than a packet waits in memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from fractions import Fraction
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import Self, cast

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.stream import Discard
from numpy.typing import NDArray

from chapters.media.opening import open_recording
from chapters.media.packets import PacketFeed
from chapters.media.probe import Probe
from chapters.media.timeline import BACK_S
from chapters.times import round_half_up

Samples = NDArray[np.float32]

_MUCH_S = Fraction(15, 1000)
_LITTLE_S = Fraction(5, 1000)
_NONE_S = Fraction(0)
_MOST_OF_ONE = Fraction(3, 4)
_RUN_IN_S = Fraction(1, 2)  # decoded before the start, so that filters and codecs have settled
_SIDE = 2**-0.5

# ITU-R BS.775-3, annex 4, table 2: weights of (left, right); the low-frequency channel is left out
_WEIGHTS = {
    "FL": (1.0, 0.0), "FR": (0.0, 1.0), "FC": (_SIDE, _SIDE), "LFE": (0.0, 0.0),
    "BL": (_SIDE, 0.0), "BR": (0.0, _SIDE), "SL": (_SIDE, 0.0), "SR": (0.0, _SIDE),
    "BC": (0.5, 0.5), "FLC": (_SIDE, 0.0), "FRC": (0.0, _SIDE), "DL": (1.0, 0.0), "DR": (0.0, 1.0),
}  # fmt: skip


def downmix_matrix(channels: tuple[str, ...]) -> NDArray[np.float32]:
    """Weights (n, 2) from named channels to left and right, never adding up to more than 1.

    One channel goes to both sides at full level, two unnamed ones are left and right. More are
    weighted as ITU-R BS.775 says and scaled down so that a full-scale signal cannot clip.
    """
    if len(channels) == 1:
        return np.ones((1, 2), np.float32)
    if not any(name in _WEIGHTS for name in channels):
        channels = ("FL", "FR") + ("LFE",) * (len(channels) - 2)
    weights = np.array([_WEIGHTS.get(name, (0.0, 0.0)) for name in channels], np.float32)
    most = float(weights.sum(axis=0).max())
    return (weights / max(1.0, most)).astype(np.float32)


class SampleReader:
    """Reads sound of one part forward; a context manager that holds the file open for reading.

    ``read(start, stop)`` may be called any number of times; spans that follow one another are
    read in one pass, others seek.
    """

    def __init__(self, path: Path, probe: Probe, rate_hz: int = 48000) -> None:
        if path != probe.source.path:
            raise ValueError(f"{path} is not the file that was probed")
        self._probe, self._rate = probe, rate_hz
        self._stack = ExitStack()
        self._box: InputContainer | None = None
        self._blocks: Iterator[tuple[int, Samples]] | None = None
        self._held: tuple[int, Samples] | None = None
        self._at = 0
        self.bad_packets = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._close()

    def _close(self) -> None:
        self._stack.close()
        self._box = self._blocks = self._held = None

    def read(self, start: Fraction, stop: Fraction) -> Samples:
        """Float32 (n, 2), n = round((stop − start) · rate), sample 0 at part time ``start``."""
        first = round_half_up(start * self._rate)
        out = np.zeros((max(0, round_half_up((stop - start) * self._rate)), 2), np.float32)
        if self._probe.sound is None or not len(out):
            return out
        if self._blocks is None or first < self._at or first > self._at + 5 * self._rate:
            self._held = None
            self._blocks = self._from(start)
        end = first + len(out)
        while True:
            block = self._held or next(self._blocks, None)
            self._held = None
            if block is None:
                break
            at, samples = block
            if at >= end:
                self._held = block
                break
            low, high = max(at, first), min(at + len(samples), end)
            if low < high:
                out[low - first : high - first] = samples[low - at : high - at]
            if at + len(samples) > end:
                self._held = block
                break
        self._at = end
        return out

    def _from(self, start: Fraction) -> Iterator[tuple[int, Samples]]:
        """Blocks from ``start`` or earlier on: by a seek, from the beginning where that lands late.

        For a seek the file stays open: opening one reads the index of the whole recording.
        """
        assert self._probe.sound is not None
        back = any(jump.kind == "back" for jump in self._probe.timeline.jumps)
        if start > 2 and not back:
            blocks = self._decoded(start - _RUN_IN_S)
            first = next(blocks, None)
            if first is not None and first[0] <= start * self._rate:
                return chain((first,), blocks)
        self._close()
        return self._decoded(None)

    def _decoded(self, start: Fraction | None) -> Iterator[tuple[int, Samples]]:
        """(sample number on the part's clock, stereo block) from about ``start``, or all."""
        placer = _Placer(self._rate)
        for at, frame in self._frames(start):
            try:
                ready = list(placer.push(frame, at))
            except (av.error.FFmpegError, ValueError):  # a layout that cannot be mixed
                self.bad_packets += 1
                continue
            yield from ready
        yield from placer.finish()

    def _frames(self, start: Fraction | None) -> Iterator[tuple[Fraction, AudioFrame]]:
        """Decoded frames with their part times; bad packets are passed over."""
        assert self._probe.sound is not None
        line = self._probe.timeline
        zero = line.seconds(line.zero)
        box, stream = self._opened(self._probe.sound.stream_index)
        base = Fraction(stream.time_base or 1)
        if start is not None:
            try:
                box.seek(round((start + zero) / base), stream=stream)
                stream.codec_context.flush_buffers()
            except (av.error.FFmpegError, OSError):
                return
        shifts = [jump.shift_s for jump in line.jumps if jump.kind == "back"]
        before, shift = Fraction(-(10**9)), Fraction(0)
        for packet in chain(PacketFeed(box, [stream]), (None,)):
            for frame in self._decode(stream, packet):
                at = (frame.pts or 0) * base
                if shifts and at < before - BACK_S:  # the clock was set back for the sound too
                    shift = shifts.pop(0)
                before = at
                yield at + shift - zero, frame

    def _opened(self, index: int) -> tuple[InputContainer, AudioStream]:
        """The file and its sound; packets of the picture are not even read where they can be left."""
        if self._box is None:
            source = self._probe.source
            self._box = self._stack.enter_context(open_recording(source.path, source.shown_as))
            for other in self._box.streams:
                if other.index != index:
                    other.discard = Discard.all
        return self._box, cast(AudioStream, self._box.streams[index])

    def _decode(
        self, stream: AudioStream, packet: av.Packet[AudioStream] | None
    ) -> list[AudioFrame]:
        try:
            frames = stream.codec_context.decode(packet)
        except EOFError:
            return []
        except (av.error.FFmpegError, OSError, ValueError):
            self.bad_packets += 1
            return []
        return [frame for frame in frames if frame.pts is not None]


class _Placer:
    """Decoded frames to stereo blocks at one rate, each with its place on the part's clock."""

    def __init__(self, rate_hz: int) -> None:
        self._rate = rate_hz
        self._resampler: av.AudioResampler | None = None
        self._kind: tuple[str, int] | None = None
        self._matrix = np.ones((1, 2), np.float32)
        self._as_it_is = False  # whether the channels are left and right already
        self._place = 0  # number of the run's first sample on the part's clock
        self._end = Fraction(0)  # part time of its end, by the samples so far
        self._taken = 0  # samples of the run so far, at the track's own rate
        self._given = 0  # samples of the run given out, at the rate asked for
        self._apart_s = Fraction(0)  # how long stamp and count have been a little apart

    def push(self, frame: AudioFrame, at: Fraction) -> Iterator[tuple[int, Samples]]:
        """Take a frame that starts at part time ``at``; yields what is ready."""
        kind = (frame.layout.name, frame.sample_rate)
        apart = abs(at - self._end)
        lasts = Fraction(frame.samples, frame.sample_rate)
        self._apart_s = self._apart_s + lasts if apart > _LITTLE_S else _NONE_S
        far = apart > _MUCH_S and apart > lasts * _MOST_OF_ONE
        if kind != self._kind or far or self._apart_s > 1:
            yield from self.finish()
            self._begin(frame, at)
        frame.pts, frame.time_base = self._taken, Fraction(1, frame.sample_rate)
        self._taken += frame.samples
        self._end += lasts
        assert self._resampler is not None
        for ready in self._resampler.resample(frame):
            yield self._placed(ready)

    def _begin(self, frame: AudioFrame, at: Fraction) -> None:
        layout = frame.layout
        self._kind = (layout.name, frame.sample_rate)
        self._resampler = av.AudioResampler(format="fltp", layout=layout, rate=self._rate)
        self._matrix = downmix_matrix(tuple(channel.name for channel in layout.channels))
        self._as_it_is = np.array_equal(self._matrix, np.eye(2))
        self._end = at
        self._place = round_half_up(at * self._rate)
        self._taken = self._given = 0
        self._apart_s = Fraction(0)

    def finish(self) -> Iterator[tuple[int, Samples]]:
        """What the resampler still holds; the run ends here."""
        resampler, self._resampler, self._kind = self._resampler, None, None
        if resampler is None or not self._taken:
            return
        for ready in resampler.resample(None):
            yield self._placed(ready)

    def _placed(self, frame: AudioFrame) -> tuple[int, Samples]:
        planar = np.asarray(frame.to_ndarray(), np.float32)
        place = self._place + self._given
        self._given += frame.samples
        stereo = planar.T if self._as_it_is else planar.T @ self._matrix
        return place, np.ascontiguousarray(stereo)


def read_samples(
    path: Path, probe: Probe, start: Fraction, stop: Fraction, rate_hz: int = 48000
) -> Samples:
    """Sound of one stretch of a part, float32 (n, 2); see SampleReader.read."""
    with SampleReader(path, probe, rate_hz) as reader:
        return reader.read(start, stop)
