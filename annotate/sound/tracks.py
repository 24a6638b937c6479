"""Rows of numbers written one after the other and read here and there, in flat memory.

A short track stays in memory; a long one goes to a file that has no name and is gone when the
track is.
"""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

#: Bytes kept in memory before a track goes to disk.
_IN_MEMORY = 1 << 20
#: Rows in one piece of ``pieces``.
PIECE = 30_000


class Track:
    """Rows of ``width`` numbers of one type; ``len`` counts the rows."""

    def __init__(self, width: int, dtype: DTypeLike = np.float32) -> None:
        self.width = width
        self._type: np.dtype[Any] = np.dtype(dtype)
        self._rows = 0
        self._file = tempfile.SpooledTemporaryFile(_IN_MEMORY)  # noqa: SIM115  (finalised)
        weakref.finalize(self, self._file.close)

    def __len__(self) -> int:
        return self._rows

    def append(self, rows: NDArray[Any]) -> None:
        """Add rows, shape (n, width)."""
        self._file.seek(0, 2)
        self._file.write(np.ascontiguousarray(rows, self._type).tobytes())
        self._rows += len(rows)

    def read(self, start: int, stop: int) -> NDArray[Any]:
        """Rows ``start`` to ``stop``, clipped to what there is, shape (n, width)."""
        start = min(max(0, start), self._rows)
        stop = min(max(start, stop), self._rows)
        size = self.width * self._type.itemsize
        self._file.seek(start * size)
        data = self._file.read((stop - start) * size)
        return np.frombuffer(data, self._type).reshape(-1, self.width)

    def around(self, start: int, stop: int, margin: int, mode: Any = "reflect") -> NDArray[Any]:
        """Rows ``start - margin`` to ``stop + margin``; what lies outside as ``np.pad`` makes it."""
        found = self.read(start - margin, stop + margin)
        before = max(0, margin - start)
        after = max(0, stop + margin - self._rows)
        if mode == "reflect" and max(before, after) >= len(found):
            mode = "edge"
        return np.pad(found, ((before, after), (0, 0)), mode=mode) if before or after else found

    def pieces(self, step: int = PIECE) -> Iterator[tuple[int, int]]:
        """Half-open [start, stop) of pieces that cover the track."""
        for start in range(0, self._rows, step):
            yield start, min(start + step, self._rows)
