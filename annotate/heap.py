"""Memory of pictures handed back to the system as soon as it is free."""

from __future__ import annotations

import ctypes
import sys

#: ``M_MMAP_THRESHOLD`` of glibc's ``mallopt``: blocks from this size on come from the system one by one.
_MMAP_THRESHOLD = -3
_LARGE_BYTES = 1 << 18


def give_back_large_blocks() -> bool:
    """Have the C library return every freed block of a picture's size; False where it cannot.

    glibc raises its threshold whenever a large block is freed, and later pictures then lie between
    small blocks that keep their pages from being returned: an encoder's memory would stay after it.
    To be called by a program before it works, not by a library.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        return bool(ctypes.CDLL(None).mallopt(_MMAP_THRESHOLD, _LARGE_BYTES))
    except (OSError, AttributeError):  # another C library
        return False
