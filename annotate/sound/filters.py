"""Recursive filters over blocks of samples, without a loop over samples.

A biquad cascade is a linear state space x' = A x + B u, y = C x + D u. Over a chunk of N samples
the answer to the input is one product with a triangular matrix, and the states at the chunks'
borders follow a recurrence that is summed by doubling. Exact to rounding, state kept between
blocks, so that any division into blocks gives the same samples.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: (b0, b1, b2, a1, a2) with a0 = 1.
Biquad = tuple[float, float, float, float, float]
_CHUNK = 64


class Cascade:
    """Biquads one after the other over float blocks (n, channels)."""

    def __init__(self, biquads: Sequence[Biquad], channels: int) -> None:
        a, b, c, d = _state_space(biquads)
        order = len(a)
        powers = [np.eye(order)]
        for _ in range(_CHUNK):
            powers.append(a @ powers[-1])
        impulse = np.array([d, *(float(c @ powers[k] @ b) for k in range(_CHUNK - 1))])
        lag = np.arange(_CHUNK)[:, None] - np.arange(_CHUNK)[None, :]
        self._respond = np.where(lag >= 0, impulse[np.maximum(lag, 0)], 0.0)
        self._observe = np.array([c @ powers[k] for k in range(_CHUNK)])
        self._drive = np.array([powers[_CHUNK - 1 - k] @ b for k in range(_CHUNK)])
        self._step = powers[_CHUNK]
        self._small = (a, b, c, d)
        self._state = np.zeros((channels, order))

    def feed(self, block: NDArray[np.floating]) -> Floats:
        """The filtered samples of one block, float64 (n, channels)."""
        whole = len(block) // _CHUNK * _CHUNK
        out = np.empty(block.shape, np.float64)
        if whole:
            sides = np.ascontiguousarray(block[:whole].T, dtype=np.float64)
            chunks = sides.reshape(len(sides), -1, _CHUNK)
            states = self._scan(chunks @ self._drive)
            answer = chunks @ self._respond.T
            answer += states @ self._observe.T
            out[:whole] = answer.reshape(len(sides), whole).T
        for index in range(whole, len(block)):
            out[index] = self._one(block[index])
        return out

    def _scan(self, driven: Floats) -> Floats:
        """State before each chunk, (channels, chunks, order); moves the kept state to the end."""
        sums = np.concatenate([self._state[:, None, :], driven], axis=1)
        matrix, reach = self._step, 1
        while reach < sums.shape[1] and np.abs(matrix).max() > 1e-20:
            later = sums[:, reach:] + sums[:, :-reach] @ matrix.T
            sums = np.concatenate([sums[:, :reach], later], axis=1)
            matrix, reach = matrix @ matrix, 2 * reach
        self._state = sums[:, -1].copy()
        return sums[:, :-1]

    def _one(self, sample: NDArray[np.floating]) -> Floats:
        a, b, c, d = self._small
        out: Floats = self._state @ c + d * sample
        self._state = self._state @ a.T + np.outer(sample, b)
        return out


def _state_space(biquads: Sequence[Biquad]) -> tuple[Floats, Floats, Floats, float]:
    """Transposed direct form II of each biquad, chained: (A, B, C, D)."""
    order = 2 * len(biquads)
    a, b = np.zeros((order, order)), np.zeros(order)
    c, d = np.zeros(order), 1.0
    for index, (b0, b1, b2, a1, a2) in enumerate(biquads):
        row = 2 * index
        into = np.array([b1 - a1 * b0, b2 - a2 * b0])
        a[row : row + 2] += np.outer(into, c)
        a[row : row + 2, row : row + 2] += np.array([[-a1, 1.0], [-a2, 0.0]])
        b[row : row + 2] = into * d
        c, d = b0 * c, b0 * d
        c[row] += 1.0
    return a, b, c, d
