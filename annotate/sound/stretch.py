"""Sound slowed or quickened without a change of pitch, along any course of time.

Waveform similarity overlap-add (Verhelst and Roelands 1993): windows of 40 ms are laid every
20 ms; each is taken where the course says, or up to 10 ms beside it where it continues the last
one best. So the sound is never more than 10 ms off the picture, however long it runs, and a
course at speed 1 gives the sound back unchanged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from annotate.sound.scan import Samples

#: Samples at 48 kHz: half a window (the step from one to the next) and the furthest search.
HOP = 960
SEARCH = 480
_COARSE = 6

#: ``read(start, count)``: float32 (count, 2) from source sample ``start`` on (may be negative).
ReadSource = Callable[[int, int], Samples]


def stretched(
    read: ReadSource, source_at: Callable[[int], int], count: int, block: int = 48_000
) -> Iterator[Samples]:
    """``count`` output samples in blocks; output sample n is about source sample source_at(n).

    ``source_at`` must not fall. ``read`` is asked for stretches that move forward, each up to
    60 ms behind the furthest before.
    """
    window = _hann()
    tail = np.zeros((HOP, 2), np.float32)
    held: list[Samples] = []
    previous: int | None = None
    for start in range(-HOP, count, HOP):  # the window's first half reaches back before sample 0
        wished = source_at(start)
        at = wished if previous is None else _best(read, previous + HOP, wished)
        piece = read(at, 2 * HOP) * window[:, None]
        if start >= 0:
            held.append((tail + piece[:HOP])[: count - start])
        tail, previous = piece[HOP:], at
        if len(held) * HOP >= block:
            yield np.concatenate(held)
            held = []
    if held:
        yield np.concatenate(held)


def _hann() -> NDArray[np.float32]:
    """A periodic Hann window: two halves laid over one another sum to one."""
    angle = 2 * np.pi * (np.arange(2 * HOP) + 0.5) / (2 * HOP)
    return (0.5 - 0.5 * np.cos(angle)).astype(np.float32)


def _best(read: ReadSource, natural: int, wished: int) -> int:
    """The source place within SEARCH of ``wished`` that looks most like what naturally follows."""
    if natural == wished:
        return wished
    first = min(natural, wished - SEARCH)
    last = max(natural, wished + SEARCH) + 2 * HOP
    both = read(first, last - first).mean(axis=1)
    template = both[natural - first : natural - first + 2 * HOP]
    field = both[wished - SEARCH - first : wished + SEARCH + 2 * HOP - first]
    coarse = _alike(template[::_COARSE], field[::_COARSE])
    near = int(np.argmax(coarse)) * _COARSE
    low = max(0, near - _COARSE)
    fine = _alike(template, field[low : near + _COARSE + 2 * HOP])
    return wished - SEARCH + low + int(np.argmax(fine))


def _alike(template: NDArray[np.float32], field: NDArray[np.float32]) -> NDArray[np.float32]:
    """Correlation of the template with each place of the field, over the energy there."""
    count = len(field) - len(template) + 1
    dots = np.correlate(field, template, mode="valid")[:count]
    squares = np.concatenate([[0.0], np.cumsum(field.astype(np.float64) ** 2)])
    energy = squares[len(template) :][:count] - squares[:count]
    likeness: NDArray[np.float32] = (dots / np.sqrt(np.maximum(energy, 1e-9))).astype(np.float32)
    return likeness
