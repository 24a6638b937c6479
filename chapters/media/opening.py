"""Opening a recording: allowed containers only, local bytes only, and a named reason on failure.

Everything that reads media goes through ``open_recording``; no other place calls ``av.open`` on
an input. A file that cannot be opened is looked at box by box (ISO/IEC 14496-12, section 4.2)
so that the message can say what is missing.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import av
from av.container import InputContainer

from chapters.errors import RecordingError

#: Largest picture that is decoded; a header may claim any size, and memory follows the claim.
MAX_PIXELS = 40_000_000

#: FFmpeg's names of the containers that recorders write; lists and device inputs are not here.
CONTAINERS = (
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,mxf,asf,flv,dv,ogg"  # one string
)
_KINDS = "mp4, mov, mkv, webm, avi, mpg, ts, mts, mxf, wmv, flv"
_SPARE_POWER = "recording to MKV, TS or fragmented MP4 survives a power cut"


@dataclass(frozen=True, slots=True)
class Box:
    """One top-level box of an MP4/MOV file: its type, place and claimed size in bytes."""

    kind: str
    at: int
    size: int


class _Head(io.RawIOBase):
    """The first ``size`` bytes of a file, as a file."""

    def __init__(self, file: BinaryIO, size: int) -> None:
        super().__init__()
        self._file, self._size = file, size

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def read(self, count: int = -1) -> bytes:
        left = max(0, self._size - self._file.tell())
        return self._file.read(left if count < 0 else min(count, left))

    def seek(self, offset: int, whence: int = 0) -> int:
        if whence == io.SEEK_END:
            return self._file.seek(self._size + offset)
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()


@contextmanager
def open_recording(path: Path, shown_as: str) -> Iterator[InputContainer]:
    """Open a checked input for reading. Raises RecordingError, naming the cause where it shows.

    Only containers on the allow list and only the file protocol are let through, so that a list
    of other files or of network addresses opens nothing. A fragmented MP4 that was cut inside
    its last fragment is read up to the last whole one.
    """
    options = {
        "format_whitelist": CONTAINERS,
        "protocol_whitelist": "file",
        "max_pixels": str(MAX_PIXELS),  # for the pictures that opening itself decodes
    }
    with _opened(path, shown_as) as file:
        size = file.seek(0, io.SEEK_END)
        boxes = top_boxes(file)
        cut = _whole_fragments(boxes, size)
        source: str | _Head = str(path) if cut is None else _Head(file, cut)
        file.seek(0)
        if cut is not None:
            options["protocol_whitelist"] = ""
        try:
            container = av.open(source, "r", options=options, metadata_errors="replace")
        except av.error.FFmpegError as error:
            raise _named(error, boxes, shown_as, size) from None
        except (OSError, ValueError) as error:
            raise RecordingError(shown_as, f"cannot be opened: {error}") from None
        try:
            yield container
        finally:
            with suppress(av.error.FFmpegError):
                container.close()


def _opened(path: Path, shown_as: str) -> BinaryIO:
    try:
        return path.open("rb")
    except OSError as error:
        raise RecordingError(
            shown_as, f"cannot be opened: {error.strerror}", "check that it is still there"
        ) from None


def _whole_fragments(boxes: tuple[Box, ...], size: int) -> int | None:
    """Where the last whole fragment ends, if the file is fragmented and cut inside a ``moof``."""
    if not boxes or not any(box.kind == "moof" for box in boxes):
        return None
    last = boxes[-1]
    return last.at if last.kind == "moof" and last.at + last.size > size else None


def top_boxes(file: BinaryIO) -> tuple[Box, ...]:
    """The top-level boxes of an MP4/MOV file; empty when the file is no such file.

    The last box may claim more bytes than there are. Reads headers only.
    """
    out: list[Box] = []
    size = file.seek(0, io.SEEK_END)
    at = 0
    while at + 8 <= size and len(out) < 100_000:
        file.seek(at)
        header = file.read(16)
        kind = header[4:8]
        if not (kind.isalnum() or kind.strip(b" \xa9").isalnum()) or len(header) < 8:
            break
        length = int.from_bytes(header[:4], "big")
        if length == 1:
            length = int.from_bytes(header[8:16], "big")
        elif length == 0:
            length = size - at
        if length < 8:
            break
        out.append(Box(kind.decode("latin-1"), at, length))
        at += length
    if not out or out[0].kind not in ("ftyp", "moov", "mdat", "free", "wide", "skip", "styp"):
        return ()
    return tuple(out)


def _named(
    error: av.error.FFmpegError, boxes: tuple[Box, ...], shown_as: str, size: int
) -> RecordingError:
    kinds = {box.kind for box in boxes}
    if boxes and "moov" not in kinds:
        return RecordingError(
            shown_as,
            "has no index (moov): the recorder was stopped before it closed the file",
            f"try the recorder's own repair function; {_SPARE_POWER}",
        )
    moov = next((box for box in boxes if box.kind == "moov"), None)
    if moov is not None and moov.at + moov.size > size:
        return RecordingError(
            shown_as, "breaks off inside its index (moov)", "copy it again from the recorder"
        )
    if moov is not None:
        return RecordingError(
            shown_as, "has a damaged index (moov)", "copy it again from the recorder"
        )
    if isinstance(error, PermissionError):
        return RecordingError(shown_as, "cannot be read", "check the permissions of the file")
    return RecordingError(
        shown_as,
        "is no recording that can be read, or its beginning is damaged",
        f"recordings are {_KINDS}",
    )
