"""The film writer: planes and samples in, one finished MP4 out, nothing kept in between."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from chapters.errors import EncoderError
from chapters.media.encode import (
    SOUND_RATE_HZ,
    EncoderSettings,
    Plane,
    SoundEncoder,
    VideoEncoder,
)
from chapters.media.mux import ChapterLike, FilmMuxer, refuse_unsafe
from chapters.times import round_half_up

__all__ = ["SOUND_RATE_HZ", "EncoderSettings", "FilmWriter"]


class FilmWriter:
    """Streams a film to ``path`` (the caller stages it): H.264 High + AAC-LC, chapters inside.

    Pictures and sound are to be written side by side, within some seconds of each other, so that
    little waits in memory. The sound is cut or filled with silence to the picture's exact length.
    As a context manager: closed on success, aborted on any error. Raises EncoderError, DiskFull.
    """

    def __init__(
        self,
        path: Path,
        size_px: tuple[int, int],
        fps: Fraction,
        title: str = "",
        chapters: Sequence[ChapterLike] = (),
        sound: bool = False,
        settings: EncoderSettings | None = None,
    ) -> None:
        settings = settings or EncoderSettings()
        refuse_unsafe(chapters)
        self._path, self._fps = path, fps
        self._film_end = chapters[-1].end if chapters else None
        starts = {round_half_up(chapter.start * fps) for chapter in chapters}
        self._video = VideoEncoder(size_px, fps, settings, starts)
        self._sound = SoundEncoder(settings) if sound else None
        self._muxer = FilmMuxer(path, size_px, fps, settings, title, chapters, sound)
        self._frames = self._samples = 0
        self._ahead: list[NDArray[np.float32]] = []  # sound later than the picture so far
        self._open = True

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abort()

    def write(self, y: Plane, u: Plane, v: Plane) -> None:
        """The next picture: Y (h, w), U and V (h/2, w/2), BT.709 limited range."""
        packets = self._video.encode(y, u, v)
        self._frames += 1
        self._muxer.write_packets(packets)
        if self._ahead:
            waiting, self._ahead = self._ahead, []
            for samples in waiting:
                self.write_sound(samples)

    def write_sound(self, samples: NDArray[np.float32]) -> None:
        """The next samples, float32 (n, 2) at 48 kHz in −1..1."""
        if self._sound is None:
            raise ValueError("this film was begun without sound")
        if samples.ndim != 2 or samples.shape[1] != 2:
            raise ValueError(f"sound is {samples.shape}, not (n, 2)")
        room = self._sound_end() - self._samples
        now, later = samples[: max(0, room)], samples[max(0, room) :]
        if len(later):
            self._ahead.append(later)
        if len(now):
            self._samples += len(now)
            self._muxer.write_sound_packets(self._sound.encode(now))

    def _sound_end(self) -> int:
        """Samples from the film's start to the end of the picture written so far."""
        return round_half_up(self._frames / self._fps * SOUND_RATE_HZ)

    def close(self) -> None:
        """Finish the film; on any error nothing is left under the path."""
        if not self._open:
            return
        try:
            self._finish()
        except BaseException:
            self.abort()
            raise
        self._open = False

    def _finish(self) -> None:
        length = self._frames / self._fps
        if self._frames == 0:
            raise EncoderError(self._path.name, "no picture was written")
        if self._film_end is not None and abs(self._film_end - length) > Fraction(1, 2000):
            raise EncoderError(
                self._path.name,
                f"the picture lasts {float(length):.3f} s, the chapters {float(self._film_end):.3f} s",
            )
        self._muxer.write_packets(self._video.finish(), parameter_sets=self._video.parameter_sets)
        if self._sound is not None:
            self._ahead.clear()
            missing = self._sound_end() - self._samples
            if missing > 0:
                self.write_sound(np.zeros((missing, 2), np.float32))
            self._muxer.write_sound_packets(self._sound.finish())
        self._muxer.close()

    def abort(self) -> None:
        """Stop; nothing is left under the path."""
        if self._open:
            self._open = False
            self._muxer.abort()
