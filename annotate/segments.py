"""The film cut into segments that are drawn and encoded independently, each with the key of its content.

Segments never straddle a step, a still, a card or a jump of the recording, and are counted from
the start of what they lie in. A key is made of what is seen, never of where in the film it is:
an edit that moves a segment by whole frames leaves its key as it was.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from annotate.faces import Faces
from chapters.timemap import Piece, TimeMap
from chapters.times import RecordingTime

#: Frames of the longest segment: eight seconds at 30 frames a second, a few groups of pictures.
MOST_FRAMES = 240
#: A segment shows no more of the recording than this: fast steps cost decoding, not encoding, and
#: segments of one cost fill all cores to the end.
MOST_RECORDING_S = Fraction(24)
#: A last segment shorter than this joins the one before.
LEAST_FRAMES = 60


@dataclass(frozen=True, slots=True)
class Segment:
    """Frames ``first`` (included) to ``last`` (not) of the film."""

    first: int
    last: int

    @property
    def frames(self) -> int:
        """How many frames."""
        return self.last - self.first


def _flows(before: Piece, after: Piece) -> bool:
    """Whether two pieces show one stretch of one step without an interruption."""
    if before.kind != "footage" or after.kind != "footage" or before.step != after.step:
        return False
    assert before.recording is not None and after.recording is not None
    assert before.clinical is not None and after.clinical is not None
    same_r = before.recording.end == after.recording.start
    return same_r and before.clinical.end == after.clinical.start


def _first_frame(piece: Piece, fps: Fraction) -> int:
    frames = piece.cut.start * fps
    return -((-frames.numerator) // frames.denominator)


def split(film: TimeMap, key_times: Sequence[Fraction] = ()) -> tuple[Segment, ...]:
    """The film's segments in order: every frame in exactly one.

    ``key_times``: recording times, in order, at which decoding can begin. A long stretch is split
    at frames that show them, so that no segment decodes what only the one before it shows, and an
    edit of a step's start leaves the later segments as they were.
    """
    edges = [0]
    for before, after in pairwise(film.pieces):
        if not _flows(before, after):
            edges.append(_first_frame(after, film.fps))
    edges.append(film.frame_count)
    keys = sorted({j for piece in film.footage for j in _key_frames(piece, film.fps, key_times)})
    out: list[Segment] = []
    for start, end in pairwise(edges):
        out.extend(_chunks(film, start, end, keys))
    return tuple(out)


def _key_frames(piece: Piece, fps: Fraction, key_times: Sequence[Fraction]) -> Iterator[int]:
    """Frames of the film that are the first to show a key frame of the recording, or what follows it."""
    assert piece.recording is not None
    low = bisect_left(key_times, piece.recording.start)
    high = bisect_left(key_times, piece.recording.end)
    for r in key_times[low:high]:
        frames = piece.cut_at(RecordingTime(r)) * fps
        yield -((-frames.numerator) // frames.denominator)


def _chunks(film: TimeMap, start: int, end: int, keys: Sequence[int]) -> Iterator[Segment]:
    while end - start >= (most := _most_frames(film, start, end)) + LEAST_FRAMES:
        place = bisect_right(keys, start + most) - 1
        on_key = place >= 0 and keys[place] >= start + LEAST_FRAMES
        stop = keys[place] if on_key else start + most
        yield Segment(start, stop)
        start = stop
    if end > start:
        yield Segment(start, end)


def _most_frames(film: TimeMap, start: int, end: int) -> int:
    """How many frames a segment that begins at ``start`` may have."""
    begins = film.recording_at(start / film.fps)
    if begins is None:
        return MOST_FRAMES
    low, high = LEAST_FRAMES, max(LEAST_FRAMES, min(MOST_FRAMES, end - start))
    while low < high:
        middle = (low + high + 1) // 2
        shown = film.recording_at((start + middle - 1) / film.fps)
        if shown is not None and shown - begins <= MOST_RECORDING_S:
            low = middle
        else:
            high = middle - 1
    return low


def segment_key(
    segment: Segment,
    faces: Faces,
    picture_of: Callable[[Piece, Fraction], str],
    base: str,
) -> str:
    """SHA-256 of everything that is seen in a segment and of how it is encoded.

    ``picture_of(piece, t)`` names the clean picture at cut time ``t`` by its content; ``base``
    stands for what all segments share: size, rate, encoder settings, versions, fonts.
    """
    digest = hashlib.sha256(base.encode())
    film = faces.film
    for j in range(segment.first, segment.last):
        t = j / film.fps
        piece = film.piece_at(t)
        digest.update(f"{picture_of(piece, t)}|{faces.at(t)!r}\n".encode())
    return digest.hexdigest()
