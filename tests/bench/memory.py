"""The most memory that this process has taken so far."""

from __future__ import annotations

import resource
import sys
from pathlib import Path


def most_mb() -> float:
    """Resident memory at its highest, MB."""
    status = Path("/proc/self/status")
    if status.is_file():  # getrusage would tell of the process that began this one, too
        return int(status.read_text("ascii").split("VmHWM:")[1].split()[0]) / 1e3
    unit = 1e6 if sys.platform == "darwin" else 1e3  # bytes there, kilobytes elsewhere
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
