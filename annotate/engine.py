"""The film encoded: segments by a pool of workers, kept by what is seen, joined with the sound.

Each worker decodes, draws and encodes one segment at a time; decoder and encoder let go of the
interpreter, so threads fill the cores and share the inserts. Segments are joined without
encoding again, the sound is encoded once over the whole. A segment that the cache holds is not
drawn. Memory is that of the workers, however long the film.
"""

from __future__ import annotations

import gc
import os
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annotate.cache import SegmentCache
from annotate.captions.cues import Cue
from annotate.decide import Decided
from annotate.faces import Faces
from annotate.inserts import FilmInserts
from annotate.picture.cardwords import closing_card, title_card
from annotate.picture.fonts import FontChain
from annotate.picture.overlay import Overlay, OverlayFace
from annotate.progress import DRAWING, Report, tell_film_rate
from annotate.recording import Pictures
from annotate.render import SOUND_RATE_HZ, Renderer
from annotate.segments import Segment, segment_key, split
from annotate.version import VERSION
from chapters.errors import EncoderError
from chapters.markers import Chapter
from chapters.media.encode import CodedPacket, EncoderSettings, SoundEncoder, VideoEncoder
from chapters.media.mux import Beside, Copying, FilmMuxer, TextTrack
from chapters.media.segmentfile import (
    CodedSegment,
    UnreadableSegment,
    read_segment,
    write_segment,
)
from chapters.timemap import Piece
from chapters.times import round_half_up

#: How often a waiting engine reports, seconds.
_REPORT_EVERY_S = 0.5


@dataclass(frozen=True)
class Job:
    """One film to be encoded. ``mark`` stands on every face of a film not for publication.

    A ``bare`` film has no overlay: its clock travels beside the picture. ``burnt`` captions are
    drawn into the picture, ``captions`` are tracks of the film.
    """

    decided: Decided
    inserts: FilmInserts
    fonts: FontChain
    settings: EncoderSettings
    mark: str
    workers: int = field(default_factory=lambda: os.cpu_count() or 1)
    bare: bool = False
    burnt: tuple[Cue, ...] = ()
    captions: tuple[TextTrack, ...] = ()

    @property
    def faces(self) -> Faces:
        """What the overlay says: nothing on a bare film."""
        plan = self.decided.plan
        kind = NoFaces if self.bare else Faces
        return kind(plan.film, plan.rows, self.mark, self.burnt)

    def key_base(self) -> str:
        """What every segment's key shares: size, rate, settings, versions, fonts."""
        decided = self.decided
        values = (
            VERSION,
            decided.library_versions,
            decided.size_px,
            decided.plan.film.fps,
            replace(self.settings, threads=1),
            decided.plan.case.language,
            decided.font_hashes,
            (decided.plan.case.colour, decided.plan.case.colour_range),
        )
        return repr(values)

    def picture_of(self, piece: Piece, t: Fraction) -> str:
        """The clean picture at ``t`` named by its content."""
        decided, plan = self.decided, self.decided.plan
        if piece.card == "title":
            return f"{title_card(plan.case)!r} {t - piece.cut.start}"
        if piece.card == "closing":
            return f"{closing_card(plan.ledger, self.mark)!r} {t - piece.cut.start}"
        if piece.still is not None:
            return f"{decided.hash_of(piece.still.file)} {piece.still.caption}"
        r = piece.recording_at(t)
        assert r is not None
        part, tick = decided.recording.frame_at(r)
        return f"{decided.hashes[part]} {tick}"


class NoFaces(Faces):
    """The overlay of a bare film."""

    def at(self, t: Fraction) -> OverlayFace | None:
        """Nothing, at any time."""
        return None


class _Counter:
    """Frames done by all workers together."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.done = 0

    def add(self, frames: int) -> None:
        with self._lock:
            self.done += frames


class _Workers:
    """One decoder and one overlay for each thread of the pool."""

    def __init__(self, job: Job, counter: _Counter) -> None:
        self._job, self._counter = job, counter
        self._local = threading.local()
        self._stack = ExitStack()
        self._lock = threading.Lock()
        self.stop = threading.Event()

    def close(self) -> None:
        """Close every worker's decoder; no worker may be running."""
        self._stack.close()

    def _mine(self) -> tuple[Renderer, Pictures]:
        if not hasattr(self._local, "renderer"):
            job = self._job
            decided = job.decided
            # each worker fills a core by itself: more decoder threads would only hold more frames
            pictures = Pictures(
                decided.recording, decided.size_px, decided.plan.case, decoder_threads=1
            )
            with self._lock:
                self._stack.enter_context(pictures)
            overlay = Overlay(job.decided.size_px, job.fonts)
            self._local.pictures = pictures
            self._local.renderer = Renderer(job.faces, pictures, job.inserts, overlay)
        return self._local.renderer, self._local.pictures

    def encode(self, segment: Segment) -> CodedSegment:
        """Draw and encode one segment."""
        renderer, pictures = self._mine()
        job = self._job
        settings = replace(job.settings, threads=1)
        encoder = VideoEncoder(job.decided.size_px, job.decided.plan.film.fps, settings)
        packets: list[CodedPacket] = []
        known = len(pictures.damage)
        for planes in renderer.frames(segment.first, segment.last, encoder.canvas):
            if self.stop.is_set():
                raise KeyboardInterrupt
            packets += encoder.encode(*planes)
            self._counter.add(1)
        packets += encoder.finish()
        notes = tuple(pictures.damage_values()[known:])
        return CodedSegment(encoder.parameter_sets, tuple(packets), notes)


def encode_film(
    job: Job,
    path: Path,
    chapters: tuple[Chapter, ...],
    sound: Iterator[NDArray[np.float32]],
    cache: SegmentCache,
    report: Report,
) -> tuple[Any, ...]:
    """Write the finished film to ``path``. Returns notes of damage met, as the segments hold them.

    Raises EncoderError, DiskFull, RecordingError; nothing is left under ``path`` then.
    """
    segments = split(job.decided.plan.film, job.decided.recording.key_times)
    muxer = open_muxer(job, path, chapters)
    coded = encode_segments(job, segments, cache, report)
    notes = join(job, muxer, sound, coded, report)
    cache.trim()
    return notes


def encode_film_surely(
    job: Job,
    path: Path,
    chapters: tuple[Chapter, ...],
    make_sound: Callable[[], Iterator[NDArray[np.float32]]],
    cache: SegmentCache,
    report: Report,
    fallback: EncoderSettings,
) -> tuple[tuple[Any, ...], EncoderError | None]:
    """Write the film; where its encoder fails midway, begin again with the ``fallback`` settings.

    A film has one set of parameters, so it is begun anew; ``make_sound`` gives the sound from
    its start each time. Returns the notes, and the error that made it fall back.
    """
    try:
        return encode_film(job, path, chapters, make_sound(), cache, report), None
    except EncoderError as error:
        if job.settings == fallback:
            raise
        again = replace(job, settings=fallback)
        return encode_film(again, path, chapters, make_sound(), cache, report), error


def encode_segments(
    job: Job, segments: Sequence[Segment], cache: SegmentCache, report: Report
) -> Generator[tuple[int, CodedSegment]]:
    """Each segment with the film's frame it begins at, in order, from the cache or made by the pool."""
    base, faces = job.key_base(), job.faces
    counter = _Counter()
    total = sum(segment.frames for segment in segments)
    tell_film_rate(report, float(job.decided.plan.film.fps))
    workers = _Workers(job, counter)
    gc.collect()  # decoders that read the recording before hang in circles with their frames
    pool = ThreadPoolExecutor(job.workers, thread_name_prefix="segment")
    try:
        coming: deque[tuple[Segment, str, Future[None]]] = deque()
        for segment in segments:
            key = segment_key(segment, faces, job.picture_of, base)
            work = pool.submit(_make_kept, segment, key, workers, cache, counter)
            coming.append((segment, key, work))
        while coming:
            segment, key, work = coming.popleft()
            while not wait([work], timeout=_REPORT_EVERY_S).done:
                report(DRAWING, counter.done, total)
            work.result()
            report(DRAWING, counter.done, total)
            yield segment.first, _read_kept(segment, key, workers, cache)
    finally:
        workers.stop.set()
        pool.shutdown(wait=True, cancel_futures=True)
        workers.close()


def _make_kept(
    segment: Segment, key: str, workers: _Workers, cache: SegmentCache, counter: _Counter
) -> None:
    """See to it that the cache holds the segment; its packets are read when their turn comes."""
    if cache.get(key) is not None:
        counter.add(segment.frames)
        return
    coded = workers.encode(segment)
    cache.put(key, lambda path: write_segment(path, coded))


def _read_kept(segment: Segment, key: str, workers: _Workers, cache: SegmentCache) -> CodedSegment:
    """The segment from the cache; made once more where it has gone or is not whole."""
    kept = cache.get(key)
    if kept is not None:
        try:
            return read_segment(kept)
        except (UnreadableSegment, OSError):
            cache.drop(key)
    coded = workers.encode(segment)
    cache.put(key, lambda path: write_segment(path, coded))
    return coded


def open_muxer(
    job: Job, path: Path, chapters: tuple[Chapter, ...], copying: Copying | None = None
) -> FilmMuxer:
    """The muxer of the job's film."""
    decided = job.decided
    film, title = decided.plan.film, decided.plan.case.title
    beside = Beside(copying, job.captions)
    return FilmMuxer(path, decided.size_px, film.fps, job.settings, title, chapters, True, beside)


def join(
    job: Job,
    muxer: FilmMuxer,
    sound: Iterator[NDArray[np.float32]],
    coded: Generator[tuple[int, CodedSegment]],
    report: Report,
) -> tuple[Any, ...]:
    """Write segments as they come, the sound beside them, and close the film; the segments' notes.

    A segment without parameter sets of its own is copied, not encoded. On any error nothing is
    left of the film, and nobody makes segments any more, so that no thread still decodes when
    Python itself is closing.
    """
    film = job.decided.plan.film
    track = _SoundTrack(muxer, sound, job.settings, round_half_up(film.length * SOUND_RATE_HZ))
    notes: list[Any] = []
    try:
        with closing(coded):
            for first, segment in coded:
                for packet in segment.packets:
                    muxer.write_packets([packet], first, segment.parameter_sets or None)
                    track.write_until((packet.pts + first + 1) / film.fps)
                notes += segment.notes
        track.finish()
        report("closing the film", 0, 0)
        muxer.close()
    except BaseException:
        muxer.abort()
        raise
    return tuple(notes)


class _SoundTrack:
    """The film's sound, handed to the muxer beside the picture and never far ahead of it."""

    def __init__(
        self,
        muxer: FilmMuxer,
        sound: Iterator[NDArray[np.float32]],
        settings: EncoderSettings,
        samples: int,
    ) -> None:
        self._muxer, self._sound, self._total = muxer, sound, samples
        self._encoder = SoundEncoder(settings)
        self._given = 0

    def write_until(self, t: Fraction) -> None:
        """Hand over sound up to cut time ``t`` at least, as far as there is any."""
        while self._given < self._total and self._given < t * SOUND_RATE_HZ:
            block = next(self._sound, None)
            if block is None:
                block = np.zeros((self._total - self._given, 2), np.float32)
            block = block[: self._total - self._given]
            self._given += len(block)
            self._muxer.write_sound_packets(self._encoder.encode(block))

    def finish(self) -> None:
        """The rest, cut or filled with silence to the film's exact length."""
        self.write_until(Fraction(self._total, SOUND_RATE_HZ))
        self._muxer.write_sound_packets(self._encoder.finish())
