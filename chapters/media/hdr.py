"""High dynamic range to standard range, in light. Pure: arrays in, arrays out.

Signal -> light on a display in cd/m² (ITU-R BT.2100-2, tables 4 and 5) -> highlights compressed
(the EETF of ITU-R BT.2390, section 5.4.1) -> BT.709 primaries (ITU-R BT.2087) -> signal for a
BT.1886 display. Diffuse white, 203 cd/m² (ITU-R BT.2408), comes out at 90 % signal, so that
highlights above it keep some room.
"""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

PEAK_NITS = 1000.0  # mastering peak assumed; brighter parts clip
WHITE_NITS = 203.0  # HDR reference white, made the top of the standard range
_LEVELS = 4096

# SMPTE ST 2084 / BT.2100 table 4
_M1, _M2 = 2610 / 16384, 2523 / 4096 * 128
_C1, _C2, _C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
# BT.2100 table 5
_A = 0.17883277
_B, _C = 1 - 4 * _A, 0.5 - _A * float(np.log(4 * _A))

#: linear light, BT.2020 primaries to BT.709 primaries (BT.2087; rows R, G, B)
TO_709 = np.array(
    [[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]],
    np.float32,
)
_LUMINANCE_2020 = np.array([[0.2627, 0.6780, 0.0593]], np.float32)


def pq_to_nits(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """PQ EOTF: signal 0..1 to cd/m²."""
    power = np.power(np.clip(signal, 0, 1), 1 / _M2)
    light = np.maximum(power - _C1, 0) / (_C2 - _C3 * power)
    return np.asarray(10000 * np.power(light, 1 / _M1))


def nits_to_pq(nits: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inverse PQ EOTF: cd/m² to signal 0..1."""
    y = np.power(np.clip(nits, 0, 10000) / 10000, _M1)
    return np.asarray(np.power((_C1 + _C2 * y) / (1 + _C3 * y), _M2))


def hlg_to_scene(signal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inverse HLG OETF: signal 0..1 to scene light 0..1."""
    low = np.square(signal) / 3
    high = (np.exp((signal - _C) / _A) + _B) / 12
    return np.asarray(np.where(signal <= 0.5, low, high))


def compress_nits(nits: NDArray[np.float64]) -> NDArray[np.float64]:
    """BT.2390 EETF from PEAK_NITS to WHITE_NITS, black at zero: identity up to the knee."""
    top = float(nits_to_pq(np.array(PEAK_NITS)))
    e1 = np.clip(nits_to_pq(nits) / top, 0, 1)
    max_lum = float(nits_to_pq(np.array(WHITE_NITS))) / top
    knee = 1.5 * max_lum - 0.5
    t = np.maximum(e1 - knee, 0) / (1 - knee)
    spline = (
        (2 * t**3 - 3 * t**2 + 1) * knee
        + (t**3 - 2 * t**2 + t) * (1 - knee)
        + (-2 * t**3 + 3 * t**2) * max_lum
    )
    return pq_to_nits(np.where(e1 < knee, e1, spline) * top)


class ToneDown:
    """R'G'B' of BT.2020 as uint16 (h, w, 3) to R'G'B' of BT.709 as uint8, by small tables."""

    def __init__(self, transfer: Literal["sdr", "pq", "hlg"]) -> None:
        self._transfer = transfer
        signal = np.linspace(0, 1, _LEVELS)
        if transfer == "pq":
            light = pq_to_nits(signal) / PEAK_NITS
        elif transfer == "hlg":
            light = hlg_to_scene(signal)
        else:
            light = np.power(signal, 2.4)
        self._light = light.astype(np.float32)
        self._ratio = self._ratios()
        self._code = np.rint(255 * np.power(np.square(signal), 1 / 2.4)).astype(np.uint8)

    def _ratios(self) -> Floats:
        """Factor from stored light to light of 0..1, by the square root of the luminance."""
        if self._transfer == "sdr":
            return np.ones(_LEVELS, np.float32)
        luminance = np.square(np.linspace(0, 1, _LEVELS))
        luminance[0] = luminance[1]
        # HLG: BT.2100 OOTF, gamma 1.2 at a peak of 1000 cd/m²
        nits = PEAK_NITS * (np.power(luminance, 1.2) if self._transfer == "hlg" else luminance)
        return (compress_nits(nits) / WHITE_NITS / luminance).astype(np.float32)

    def __call__(self, rgb: NDArray[np.uint16]) -> NDArray[np.uint8]:
        """Tone down one picture; the result has the same height and width."""
        light = np.minimum(self._light[rgb >> 4], 1)
        luminance = cv2.transform(light, _LUMINANCE_2020)
        index = np.sqrt(luminance, dtype=np.float32) * (_LEVELS - 1)
        light *= self._ratio[np.minimum(index, _LEVELS - 1).astype(np.int32)].reshape(
            *rgb.shape[:2], 1
        )
        light = cv2.transform(light, TO_709)
        np.clip(light, 0, 1, out=light)
        np.sqrt(light, out=light)
        light *= _LEVELS - 1
        out: NDArray[np.uint8] = self._code[light.astype(np.int32)]
        return out
