"""Segments kept by the key of their content, so that an edit makes only what it touches.

A file is written under a name of its own and renamed into place: two runs at once may do the
same work twice, never harm one another. The folder is bounded: what was used longest ago goes
first. Losing any file loses work, not results.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from chapters.media.files import naming_full_disk

#: How much the kept segments of one folder may take: about five hours of film at the club level.
MOST_BYTES = 8 * 1000**3
SUFFIX = ".seg"
#: The folder of kept work beside a case's results, below ``out``; hidden, bounded, safe to delete.
KEPT = ".teachcut-kept"
#: A half-written file this much older than the folder's newest belongs to a run that was killed.
_HALF_STAYS_S = 24 * 3600


def newest_time(folder: Path) -> float:
    """Modification time of the newest file of a folder; 0 without one."""
    return max((path.stat().st_mtime for path in folder.iterdir()), default=0.0)


class SegmentCache:
    """Kept segments in ``folder``. ``most_bytes`` bounds what stays after ``trim``."""

    def __init__(self, folder: Path, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self.most_bytes = most_bytes

    def _path(self, key: str) -> Path:
        return self.folder / (key + SUFFIX)

    def get(self, key: str) -> Path | None:
        """The file kept under ``key``, marked as just used; None where there is none."""
        path = self._path(key)
        try:
            os.utime(path)
        except OSError:
            return None
        return path

    def put(self, key: str, write: Callable[[Path], None]) -> Path:
        """Let ``write`` make the file and keep it under ``key``. Raises what ``write`` raises, and DiskFull."""
        with naming_full_disk(str(self.folder)):
            self.folder.mkdir(parents=True, exist_ok=True)
            half = self.folder / f".{key}.{secrets.token_hex(4)}"
            try:
                write(half)
                half.replace(self._path(key))
            finally:
                half.unlink(missing_ok=True)
        return self._path(key)

    def drop(self, key: str) -> None:
        """Forget one file, because it turned out to be unreadable."""
        with suppress(OSError):
            self._path(key).unlink(missing_ok=True)

    def trim(self) -> None:
        """Remove the files used longest ago until the rest fits the bound, and what a kill left half."""
        self._remove_halves()
        files = []
        for path in self.folder.glob("*" + SUFFIX):
            with suppress(OSError):
                status = path.stat()
                files.append((status.st_mtime_ns, status.st_size, path))
        kept = 0
        for _, size, path in sorted(files, reverse=True):
            kept += size
            if kept > self.most_bytes:
                with suppress(OSError):
                    path.unlink(missing_ok=True)

    def _remove_halves(self) -> None:
        """Half-written files that no run has touched for a day."""
        with suppress(OSError):
            newest = newest_time(self.folder)
            for path in self.folder.glob(".*.*"):
                if path.stat().st_mtime < newest - _HALF_STAYS_S:
                    path.unlink(missing_ok=True)

    def clear(self) -> int:
        """Remove every kept segment; returns how many bytes that freed."""
        freed = 0
        for path in [*self.folder.glob("*" + SUFFIX), *self.folder.glob(".*.*")]:
            with suppress(OSError):
                size = path.stat().st_size
                path.unlink()
                freed += size
        with suppress(OSError):
            self.folder.rmdir()
        return freed
