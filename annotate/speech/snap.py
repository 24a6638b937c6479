"""Word borders that swallowed a pause, moved to where the sound begins or ends.

A recognised word after a pause often takes the pause in. Where 120 ms or more at a word's start lie
below the threshold between room and voice, its start moves to the first frame above; its end alike.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from annotate.speech.sound import FRAME_S

#: This much quiet at a word's start is no stop consonant's closure but a pause.
_QUIET = round(0.12 / FRAME_S)
#: A voice's onset rises for so long before it passes the threshold.
_ONSET_S = 0.01


def snapped(start_s: float, end_s: float, quiet: NDArray[np.bool_]) -> tuple[float, float]:
    """The word's start and end without swallowed pauses; ``quiet`` has one flag per 10 ms frame."""
    first, last = round(start_s / FRAME_S), round(end_s / FRAME_S)
    loud = np.flatnonzero(~quiet[first:last])
    if not len(loud):
        return start_s, end_s
    if loud[0] >= _QUIET:
        start_s = (first + int(loud[0])) * FRAME_S - _ONSET_S
    if last - first - 1 - loud[-1] >= _QUIET:
        end_s = (first + int(loud[-1]) + 1) * FRAME_S + _ONSET_S
    return start_s, end_s
