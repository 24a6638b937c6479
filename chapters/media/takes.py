"""Narration takes and other sound files, opened with care and read as blocks of samples.

A take is a sound-only file (wav, flac, mp3, m4a, opus in ogg or matroska) or the sound of a
video file. Its time zero is the first sample a player would present: encoder delay that the
file declares is dropped by the decoder. Samples are laid by their presentation time stamps; a
hole in the time stamps is filled with silence, so that what follows stays in its place.

Only local regular files of the listed containers are opened, so that a play list or a script
with a borrowed file name can never name another file or a host.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType

import av
import numpy as np
from av.stream import Discard
from numpy.typing import NDArray

from chapters.errors import RecordingError

Samples = NDArray[np.float32]

#: Containers a take may come in (FFmpeg demuxer names).
CONTAINERS = (
    "wav,w64,flac,mp3,ogg,aac,aiff,mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,mxf"
)
#: File name endings named to the user when a file cannot be opened.
WRITE_ONE_OF = "use a wav, flac, mp3, m4a, opus or ogg file, or a video file that has sound"
#: No take lasts longer; guards against a header that lies.
LONGEST_S = 12 * 3600
HIGHEST_RATE_HZ = 384_000
MOST_CHANNELS = 8
#: A time stamp this far from the running sample count is a hole or an overlap, not rounding.
STAMP_TOLERANCE_S = Fraction(1, 50)
#: What PyAV raises on bytes it cannot make sense of (some errors have no class of their own).
UNREADABLE = (av.error.FFmpegError, OSError, ValueError)
_OPTIONS = {"protocol_whitelist": "file", "format_whitelist": CONTAINERS}


@dataclass(frozen=True, slots=True)
class TakeInfo:
    """What the header says: rate in Hz, number of channels, codec and container names."""

    rate_hz: int
    channels: int
    codec: str
    container: str


class TakeReader:
    """One take, read forward in blocks; use it as a context manager.

    ``rate_hz`` None keeps the file's own rate. ``shown_as`` is the name used in messages.
    ``damage`` grows while reading: (seconds along the take, what was wrong).
    Raises RecordingError when the file cannot be opened or holds no sound.
    """

    def __init__(self, path: Path, shown_as: str, rate_hz: int | None = None) -> None:
        self._path = path
        self._name = shown_as
        self.damage: list[tuple[float, str]] = []
        self._container = _open(path, shown_as)
        try:
            self.info = _info(self._container, shown_as)
        except BaseException:
            self._container.close()
            raise
        self.rate_hz = rate_hz or self.info.rate_hz
        self._blocks: Iterator[Samples] | None = None
        self._held = np.zeros((0, self.info.channels), np.float32)
        self._held_start = 0
        self._begun = False

    def __enter__(self) -> TakeReader:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; reading after this fails."""
        self._blocks = None
        self._container.close()

    def blocks(self) -> Iterator[Samples]:
        """Every sample from the start as float32 blocks of shape (n, channels), full scale 1."""
        if self._begun:
            self._container.close()
            self._container = _open(self._path, self._name)
            self.damage.clear()
        self._begun = True
        yield from _contiguous(self._frames(), self.info.channels, self.rate_hz, self._name)

    def read(self, start: int, count: int) -> Samples:
        """``count`` stereo samples from sample ``start`` on, float32 (count, 2).

        Zeros stand before sample 0 and after the end. Reading onward costs nothing extra;
        reading back begins the file anew.
        """
        out = np.zeros((count, 2), np.float32)
        lead = max(0, -start)
        filled = lead
        for block in self._from(start + lead, count - lead):
            out[filled : filled + len(block)] = stereo(block)
            filled += len(block)
        return out

    def _from(self, start: int, count: int) -> Iterator[Samples]:
        if self._blocks is None or start < self._held_start:
            self._blocks = self.blocks()
            self._held, self._held_start = self._held[:0], 0
        end = start + count
        while start < end:
            held_end = self._held_start + len(self._held)
            if start < held_end:
                stop = min(end, held_end)
                yield self._held[start - self._held_start : stop - self._held_start]
                start = stop
                continue
            following = next(self._blocks, None)
            if following is None:
                return
            self._held, self._held_start = following, held_end

    def _frames(self) -> Iterator[tuple[Fraction | None, Samples]]:
        """(presentation time in seconds or None, samples at the asked rate) frame by frame."""
        stream = self._container.streams.audio[0]
        resampler = av.AudioResampler(format="flt", rate=self.rate_hz)
        channels = self.info.channels
        for frame in _decode(self._container, stream, self.damage):
            at = None if frame.pts is None or not frame.time_base else frame.pts * frame.time_base
            try:
                for piece in resampler.resample(frame):
                    yield _time_of(piece, at), _array(piece, channels, self._name)
                    at = None
            except ValueError as error:
                raise RecordingError(
                    self._name,
                    "the sound changes its format in the middle of the file",
                    "export the take again as one wav file",
                ) from error
        for piece in resampler.resample(None):
            yield None, _array(piece, channels, self._name)


def _time_of(piece: av.AudioFrame, decoded_at: Fraction | None) -> Fraction | None:
    if decoded_at is None:
        return None
    if piece.pts is not None and piece.time_base:
        return Fraction(piece.pts * piece.time_base)
    return Fraction(decoded_at)


def _open(path: Path, shown_as: str) -> av.container.InputContainer:
    if path.is_dir():
        raise RecordingError(shown_as, "is a folder", WRITE_ONE_OF)
    if not path.exists():
        raise RecordingError(shown_as, "is not there", "check the name in the case file")
    if not path.is_file():
        raise RecordingError(shown_as, "is not a regular file", WRITE_ONE_OF)
    if path.stat().st_size == 0:
        raise RecordingError(shown_as, "is empty (0 bytes)", "record the take again")
    try:
        return av.open(str(path.resolve()), mode="r", options=dict(_OPTIONS))
    except PermissionError as error:
        raise RecordingError(shown_as, "may not be read", "change its permissions") from error
    except UNREADABLE as error:
        raise RecordingError(shown_as, "is no sound file that can be read", WRITE_ONE_OF) from error


def _info(container: av.container.InputContainer, shown_as: str) -> TakeInfo:
    if not container.streams.audio:
        raise RecordingError(shown_as, "holds no sound", WRITE_ONE_OF)
    stream = container.streams.audio[0]
    rate, channels = stream.rate or 0, stream.channels or 0
    if not 1000 <= rate <= HIGHEST_RATE_HZ or not 1 <= channels <= MOST_CHANNELS:
        raise RecordingError(
            shown_as,
            f"has sound of {rate} Hz in {channels} channels",
            "export it as 48 kHz mono or stereo",
        )
    for other in container.streams:
        if other is not stream:
            other.discard = Discard.all
    return TakeInfo(rate, channels, stream.codec_context.name, container.format.name)


def _decode(
    container: av.container.InputContainer,
    stream: av.audio.stream.AudioStream,
    damage: list[tuple[float, str]],
) -> Iterator[av.AudioFrame]:
    packets = container.demux(stream)
    at = 0.0
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except UNREADABLE:
            damage.append((at, "the file cannot be read beyond this place"))
            return
        try:
            for frame in packet.decode():
                if frame.time is not None:
                    at = float(frame.time)
                yield frame
        except UNREADABLE:
            damage.append((at, "a damaged packet was left out"))


def _array(frame: av.AudioFrame, channels: int, shown_as: str) -> Samples:
    flat = frame.to_ndarray()
    if flat.size != frame.samples * channels:
        raise RecordingError(
            shown_as,
            "the number of channels changes in the middle of the file",
            "export the take again as one wav file",
        )
    block = flat.reshape(-1, channels).astype(np.float32, copy=False)
    return np.nan_to_num(block, copy=False, nan=0.0, posinf=1.0, neginf=-1.0)


def _contiguous(
    frames: Iterator[tuple[Fraction | None, Samples]], channels: int, rate_hz: int, shown_as: str
) -> Iterator[Samples]:
    """Lay frames by their time stamps: holes become silence, repeated sound is dropped."""
    origin: Fraction | None = None
    written = 0
    limit = LONGEST_S * rate_hz
    for at, samples in frames:
        block = samples
        if at is not None:
            if origin is None:
                origin = at - Fraction(written, rate_hz)
            ahead = round((at - origin) * rate_hz) - written
            if ahead > STAMP_TOLERANCE_S * rate_hz:
                ahead = min(ahead, limit - written)
                written += ahead
                yield from _silence(ahead, channels, rate_hz)
            elif ahead < -STAMP_TOLERANCE_S * rate_hz:
                block = block[-ahead:]
        written += len(block)
        if written > limit:
            raise RecordingError(shown_as, "claims more than 12 hours", "check the file")
        if len(block):
            yield block


def _silence(count: int, channels: int, rate_hz: int) -> Iterator[Samples]:
    while count > 0:
        part = min(count, rate_hz)
        yield np.zeros((part, channels), np.float32)
        count -= part


def stereo(samples: Samples) -> Samples:
    """Lay any number of channels (n, ch) to two: mono to both, more than two by ITU-R BS.775.

    The fold-down takes L/R + 0.707 C + 0.707 Ls/Rs of the FFmpeg channel order
    (L R C LFE Ls Rs) and leaves the low-frequency channel out.
    """
    channels = samples.shape[1]
    if channels == 2:
        return samples
    if channels == 1:
        return np.repeat(samples, 2, axis=1)
    out = samples[:, :2].copy()
    half_power = np.float32(0.7071068)
    if channels in (3, 5, 6, 7, 8):
        out += half_power * samples[:, 2:3]
    surround = {4: (2, 3), 5: (3, 4), 6: (4, 5), 7: (4, 5), 8: (4, 5)}.get(channels)
    if surround:
        out += half_power * samples[:, list(surround)]
    return out


def mono(samples: Samples) -> Samples:
    """One channel of shape (n,) for listening machines: the louder one where they differ much.

    The plain mean would cancel a pair wired out of phase, so the mean is taken only where the
    sum keeps at least half of the louder channel's energy.
    """
    if samples.shape[1] == 1:
        return samples[:, 0]
    pair = samples[:, :2]
    energy = np.einsum("ij,ij->j", pair, pair)
    mean = pair.mean(axis=1)
    if float(mean @ mean) >= 0.5 * float(energy.max()):
        return np.asarray(mean, np.float32)
    loud: Samples = np.ascontiguousarray(pair[:, int(energy.argmax())])
    return loud


class Spool:
    """A take at a fixed rate as 16-bit mono on disk, for reading here and there in flat memory.

    The temporary file has no name that survives: it is gone when the spool is closed.
    """

    def __init__(self, reader: TakeReader) -> None:
        self.rate_hz = reader.rate_hz
        self._file = tempfile.TemporaryFile()  # noqa: SIM115  (closed by __exit__)
        self.count = 0
        for block in reader.blocks():
            one = np.clip(mono(block) * 32768.0, -32768, 32767).astype("<i2")
            self._file.write(one.tobytes())
            self.count += len(one)
        self._file.flush()

    def __enter__(self) -> Spool:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def read(self, start: int, stop: int) -> NDArray[np.int16]:
        """Samples ``start`` to ``stop`` (clipped to what there is), int16 of shape (n,)."""
        start, stop = max(0, start), min(self.count, stop)
        if stop <= start:
            return np.zeros(0, np.int16)
        self._file.seek(2 * start)
        return np.frombuffer(self._file.read(2 * (stop - start)), "<i2").astype(np.int16)
