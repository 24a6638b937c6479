"""A clean take and ten and more defects put into it at known places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.annotate.sound.clips import Floats
from tests.annotate.speech.narration import SENTENCES, narrate

RATE_HZ = 48_000
ROOM_DBFS = -66.0


@dataclass(frozen=True)
class Defect:
    """A take with one defect of a kind between two places, seconds."""

    name: str
    kind: str
    sound: Floats
    start_s: float
    end_s: float


def clean_take(voice: str, sentences: int = 6, room_dbfs: float = ROOM_DBFS) -> Floats:
    """Narration in stereo at 48 kHz with its peak at half of full scale."""
    from scipy.signal import resample_poly

    take = narrate(SENTENCES[:sentences], voice, room_dbfs=room_dbfs)
    mono = resample_poly(take.pcm.astype(float) / 32768, 3, 1)
    pair = np.stack([mono, mono], axis=1)
    return np.asarray(0.5 * pair / np.abs(pair).max())


def _loud_after(sound: Floats, at_s: float) -> float:
    level = np.convolve(np.abs(sound[:, 0]), np.ones(480) / 480, "same")
    first = int(at_s * RATE_HZ)
    part = level[first : first + 3 * RATE_HZ]
    return float(first + np.flatnonzero(part > 0.3 * part.max())[0]) / RATE_HZ + 0.05


def _room(count: int, channels: int = 2) -> Floats:
    return np.random.default_rng(5).normal(0, 10 ** (ROOM_DBFS / 20), (count, channels))


def _from(sound: Floats, start_s: float, end_s: float, put: Floats | float) -> Floats:
    out = sound.copy()
    out[int(start_s * RATE_HZ) : int(end_s * RATE_HZ)] = put
    return out


def level_defects(sound: Floats) -> list[Defect]:
    """Sound that dies, starts late, has holes, is cut off."""
    length = len(sound) / RATE_HZ
    dies, late = _loud_after(sound, 0.55 * length), _loud_after(sound, 4.0)
    gap, out = _loud_after(sound, 8.0), _loud_after(sound, 12.0)
    stop = _loud_after(sound, 0.6 * length) - 0.03
    room = _room(len(sound))
    hiss = sound.copy()
    hiss[int(dies * RATE_HZ) :] = room[int(dies * RATE_HZ) :]
    return [
        Defect("dies", "ends early", _from(sound, dies, length, 0.0), dies, length),
        Defect("falls to hiss", "ends early", hiss, dies, length),
        Defect("starts late", "starts late", _from(sound, 0, late, 0.0), 0, late),
        Defect("gap", "gap", _from(sound, gap, gap + 4, 0.0), gap, gap + 4),
        Defect("drop-out", "drop-out", _from(sound, out, out + 0.1, 0.0), out, out + 0.1),
        Defect("cut off", "cut off", sound[: int(stop * RATE_HZ)], stop, stop),
    ]


def wave_defects(sound: Floats) -> list[Defect]:
    """Clipping at the top and below it, a dead, hissing or turned channel, a shifted wave."""
    length = len(sound) / RATE_HZ
    middle = _loud_after(sound, 11.0)
    defects = []
    for over_db in (8, 15):
        top = np.abs(sound).max() * 10 ** (-over_db / 20)
        hit = np.flatnonzero(np.abs(sound).max(axis=1) > top) / RATE_HZ
        clipped = np.clip(sound, -top, top)
        defects.append(Defect(f"clipped {over_db} dB", "clipping", clipped, hit[0], hit[-1]))
    dead, hiss, turned, half = sound.copy(), sound.copy(), sound.copy(), sound.copy()
    dead[:, 1] = 0
    hiss[:, 0] = _room(len(sound), 1)[:, 0]
    turned[:, 1] *= -1
    half[int(middle * RATE_HZ) :, 1] = 0
    shifted = sound + 0.03
    return [
        *defects,
        Defect("dead right", "dead channel", dead, 0, length),
        Defect("only hiss left", "dead channel", hiss, 0, length),
        Defect("right dies", "dead channel", half, middle, length),
        Defect("turned", "out of phase", turned, 0, length),
        Defect("shifted", "DC offset", shifted, 0, length),
    ]


def steady_defects(sound: Floats) -> list[Defect]:
    """Mains hum and room noise, throughout and from 9 to 17 s."""
    length = len(sound) / RATE_HZ
    at = np.arange(len(sound)) / RATE_HZ
    during = ((at >= 9) & (at < 17))[:, None]
    hum = sum(part * np.sin(2 * np.pi * 50 * k * at) for k, part in ((1, 1.0), (2, 0.5), (3, 0.3)))
    hum = 10 ** (-50 / 20) * np.asarray(hum)[:, None]
    level = 10 ** (-12 / 20) * np.sqrt((sound**2).mean())
    noise = np.random.default_rng(6).normal(0, level, (len(sound), 1))
    return [
        Defect("hum", "hum", sound + hum, 0, length),
        Defect("hum for a while", "hum", sound + hum * during, 9, 17),
        Defect("noise", "room noise", sound + noise, 0, length),
        Defect("noise for a while", "room noise", sound + noise * during, 9, 17),
    ]
