"""Files around media: is an input fit to be opened, and how a result gets its finished name.

Inputs are only ever opened for reading. Results are made in a hidden folder beside the target
and moved into place one by one, the marker file last, so that neither a kill nor a full disk
leaves a half-made file under a finished name.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import secrets
import shutil
import stat
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from chapters.errors import DiskFull, RecordingError, WorkError

MARKER = "made.json"
_CHUNK = 1 << 20
_NETWORK = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+:/")  # two letters or more: a drive letter has one
_FULL = {errno.ENOSPC, errno.EDQUOT} if hasattr(errno, "EDQUOT") else {errno.ENOSPC}
_FULL_WINDOWS = {39, 112}  # ERROR_HANDLE_DISK_FULL, ERROR_DISK_FULL
_LISTS = (b"ffconcat", b"#EXTM3U", b"[playlist]", b"<smil", b"<ASX", b"<asx", b"<MPD")
_PICTURES = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"BM", b"II*\x00", b"MM\x00*")


def check_input(path: Path, shown_as: str) -> Path:
    """The real path of a recording that may be opened: a plain, non-empty, local file.

    Network addresses, folders, pipes, devices, empty files, playlists, text and still pictures
    are refused with a RecordingError before any media library sees them (a pipe would block for
    ever, a playlist would open other files). ``shown_as`` is the name the user wrote.
    """
    if _NETWORK.match(str(path)) or _NETWORK.match(shown_as):
        raise RecordingError(
            shown_as, "is a network address", "copy the recording to this computer first"
        )
    try:
        real = path.resolve(strict=True)
        status = real.stat()
    except FileNotFoundError:
        raise RecordingError(shown_as, "is not there", "check the name and the folder") from None
    except (OSError, RuntimeError, ValueError) as error:
        why = getattr(error, "strerror", None) or "the name is not usable"
        raise RecordingError(shown_as, f"cannot be reached: {why}", "check the name") from None
    if stat.S_ISDIR(status.st_mode):
        raise RecordingError(shown_as, "is a folder", "name the recording inside it")
    if not stat.S_ISREG(status.st_mode):
        raise RecordingError(shown_as, "is a pipe or a device, not a file", "name a recorded file")
    if status.st_size == 0:
        raise RecordingError(shown_as, "is empty (0 bytes)", "copy it again from the recorder")
    _refuse_other_kinds(real, shown_as)
    return real


def _refuse_other_kinds(real: Path, shown_as: str) -> None:
    try:
        with real.open("rb") as file:
            head = file.read(4096)
    except OSError as error:
        raise RecordingError(
            shown_as, f"cannot be read: {error.strerror}", "check the permissions of the file"
        ) from None
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if text.startswith(_LISTS) or b"<MPD" in head[:1000]:
        raise RecordingError(
            shown_as, "is a list that points to other files", "name the recording itself"
        )
    if head.startswith(_PICTURES):
        raise RecordingError(shown_as, "is a still picture", "use it as a still in a step instead")
    if _is_text(head):
        raise RecordingError(shown_as, "is text, not a recording", "name the recorded file")


def _is_text(head: bytes) -> bool:
    """Whether the first bytes hold nothing but printable characters and line ends."""
    if any(byte < 9 or 13 < byte < 32 for byte in head):
        return False
    with suppress(UnicodeDecodeError):
        head[: len(head) - 3].decode("utf-8")
        return True
    return False


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes as 64 hex digits, read in pieces of one megabyte."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def refuse_same_file(inputs: Iterable[tuple[Path, str]], output: Path) -> None:
    """Refuse an output that is one of the inputs, by whatever link it is reached.

    ``inputs`` are (path, name as the user wrote it). Raises RecordingError.
    """
    for path, shown_as in inputs:
        same = path.resolve() == output.resolve()
        if not same and path.exists() and output.exists():
            same = path.samefile(output)
        if same:
            raise RecordingError(
                shown_as,
                "is also where the result would be written",
                "choose another output folder; the recording is left as it is",
            )


def is_disk_full(error: BaseException) -> bool:
    """Whether an error (PyAV's are OSErrors too) says that the disk or the quota is full."""
    if not isinstance(error, OSError):
        return False
    return error.errno in _FULL or getattr(error, "winerror", None) in _FULL_WINDOWS


@contextmanager
def naming_full_disk(place: str) -> Iterator[None]:
    """Turn "no space left" of any library into DiskFull, which says where and what to do."""
    try:
        yield
    except OSError as error:
        if is_disk_full(error):
            raise DiskFull(place) from error
        raise


class Staging:
    """A hidden folder beside ``target`` in which results are made, then published by renaming.

    ``with Staging(target) as made: write to made.path("x.vtt"); made.publish()``. The folder
    goes away on any exit, Ctrl-C included, and so do folders above it that were made for nothing. A folder left by a run that was killed is removed by
    the next run for the same target: each run holds a lock that dies with it, so a living run is
    never disturbed, not even on another machine's clock. Errors: DiskFull, WorkError.
    """

    def __init__(self, target: Path, marker: str = MARKER) -> None:
        self.target = target.resolve()
        self.marker = marker
        self._names: list[str] = []
        self._folder: Path | None = None
        self._lock_path: Path | None = None
        self._lock: IO[bytes] | None = None
        self._new_folders: list[Path] = []

    def __enter__(self) -> Self:
        with naming_full_disk(str(self.target)), _named_os_errors(str(self.target)):
            beside = self.target.parent
            self._new_folders = [f for f in (beside, *beside.parents) if not f.exists()]
            beside.mkdir(parents=True, exist_ok=True)
            if self.target.exists() and not self.target.is_dir():
                raise WorkError(f"{self.target}: is a file; a folder of that name is needed")
            if self.target.is_dir() and self.target.stat().st_dev != beside.stat().st_dev:
                beside = self.target  # a mount point: only inside it is on the same volume
            stem = f".{self.target.name}.part-"
            _remove_dead(beside, stem)
            self._take_lock(beside, stem)
        return self

    def _take_lock(self, beside: Path, stem: str) -> None:
        while self._lock is None:
            name = stem + secrets.token_hex(8)
            lock_path = beside / f"{name}.lock"
            lock = lock_path.open("xb")
            if try_lock(lock) and lock_path.exists():
                self._lock, self._lock_path, self._folder = lock, lock_path, beside / name
            else:
                lock.close()
        assert self._folder is not None
        self._folder.mkdir()

    def path(self, name: str) -> Path:
        """Where to write the result that will be called ``name`` (a plain relative name)."""
        if self._folder is None:
            raise ValueError("Staging is used outside its with block")
        parts = Path(name).parts
        if not parts or Path(name).is_absolute() or ".." in parts:
            raise ValueError(f"{name!r} is no name inside the target folder")
        if name not in self._names:
            self._names.append(name)
        place = self._folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        return place

    def publish(self, remove: Iterable[str] = ()) -> None:
        """Give every file written so far its finished name: the old marker off first, ours last.

        ``remove``: names of an earlier run that this one no longer makes. A published file
        replaces its forerunner in one step; nothing else in the target is touched.
        """
        with naming_full_disk(str(self.target)), _named_os_errors(str(self.target)):
            self.target.mkdir(parents=True, exist_ok=True)
            for old in (self.marker, *remove):
                (self.target / old).unlink(missing_ok=True)
            written = [name for name in self._names if self.path(name).is_file()]
            for name in sorted(written, key=lambda name: name == self.marker):
                _flush_to_disk(self.path(name))
                (self.target / name).parent.mkdir(parents=True, exist_ok=True)
                self.path(name).replace(self.target / name)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._folder = None
        if self._lock is not None and self._lock_path is not None:
            self._lock.close()
            with suppress(OSError):
                self._lock_path.unlink()
            self._lock = None
        with suppress(OSError):  # folders made for nothing; one that holds something stays
            for folder in self._new_folders:
                folder.rmdir()
        if error is not None and is_disk_full(error):
            raise DiskFull(str(self.target)) from error


@contextmanager
def _named_os_errors(place: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if is_disk_full(error):
            raise
        raise WorkError(
            f"{place}: cannot be written: {error.strerror or error}; check the folder and its permissions"
        ) from error


def _remove_dead(beside: Path, stem: str) -> None:
    for lock_path in sorted(beside.glob(f"{_literal(stem)}*.lock")):
        with suppress(OSError), lock_path.open("r+b") as lock:
            if not try_lock(lock):
                continue
            shutil.rmtree(lock_path.with_suffix(""), ignore_errors=True)
            if os.name != "nt":
                lock_path.unlink(missing_ok=True)
        if os.name == "nt":
            with suppress(OSError):  # still held by a living run: stays
                lock_path.unlink()


def _literal(text: str) -> str:
    return re.sub(r"([*?[])", r"[\1]", text)


def try_lock(file: IO[bytes]) -> bool:
    """Take an exclusive lock that ends with the process; False when another run holds it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        # a volume that cannot lock is treated as free for ourselves, as held by others
        return error.errno in (errno.ENOTSUP, errno.ENOLCK) and file.mode.startswith("x")
    return True


def _flush_to_disk(path: Path) -> None:
    with path.open("r+b") as file:
        os.fsync(file.fileno())
