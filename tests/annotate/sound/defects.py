"""A clean take and ten and more defects put into it at known places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.annotate.sound.clips import Floats
from tests.annotate.speech.narration import SENTENCES, narrate

RATE_HZ = 48_000
ROOM_DBFS = -66.0
_HALF_DB = 10 ** (0.5 / 20)


@dataclass(frozen=True)
class Defect:
    """A take with one defect of a kind between two places, seconds.

    ``sure_s`` are the places between which it is more than next to nothing, where it fades in. A
    clipped wave begins where it first comes within 0.5 dB of the clipper's level, and surely where
    it goes 0.5 dB over it.
    """

    name: str
    kind: str
    sound: Floats
    start_s: float
    end_s: float
    sure_s: tuple[float, float] | None = None

    def off_s(self, start_s: float, end_s: float) -> float:
        """How far a found place is off: the worse of its two ends."""
        first, last = self.sure_s or (self.start_s, self.end_s)
        start_off = max(self.start_s - start_s, start_s - first, 0.0)
        return float(max(start_off, last - end_s, end_s - self.end_s))


@dataclass(frozen=True)
class Plan:
    """Where defects are put and how strong: seconds, shares of the take, dB.

    Clipping is so far over, the hum's first tone lies at ``hum_dbfs``, the noise so far below the
    whole take's level; both of these last ``during_s``.
    """

    dies: float = 0.55
    stops: float = 0.6
    late_s: float = 4.0
    gap_s: tuple[float, float] = (8.0, 4.0)
    drop_out_s: tuple[float, float] = (12.0, 0.1)
    right_dies_s: float = 11.0
    clipped_db: tuple[int, ...] = (4, 8, 15)
    shift: float = 0.03
    hum_hz: int = 50
    hum_dbfs: float = -50.0
    noise_db: float = -12.0
    during_s: tuple[float, float] = (9.0, 17.0)


TUNED = Plan()


def clean_take(voice: str, sentences: int = 6, room_dbfs: float = ROOM_DBFS) -> Floats:
    """Narration in stereo at 48 kHz with its peak at half of full scale."""
    return spoken_take(SENTENCES[:sentences], voice, room_dbfs)


def spoken_take(sentences: tuple[str, ...], voice: str, room_dbfs: float = ROOM_DBFS) -> Floats:
    """These sentences in stereo at 48 kHz with their peak at half of full scale."""
    from scipy.signal import resample_poly

    take = narrate(sentences, voice, room_dbfs=room_dbfs)
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


def level_defects(sound: Floats, plan: Plan = TUNED) -> list[Defect]:
    """Sound that dies, starts late, has holes, is cut off."""
    length = len(sound) / RATE_HZ
    dies, late = _loud_after(sound, plan.dies * length), _loud_after(sound, plan.late_s)
    gap, out = _loud_after(sound, plan.gap_s[0]), _loud_after(sound, plan.drop_out_s[0])
    gap_end, out_end = gap + plan.gap_s[1], out + plan.drop_out_s[1]
    stop = _loud_after(sound, plan.stops * length) - 0.03
    room = _room(len(sound))
    hiss = sound.copy()
    hiss[int(dies * RATE_HZ) :] = room[int(dies * RATE_HZ) :]
    return [
        Defect("dies", "ends early", _from(sound, dies, length, 0.0), dies, length),
        Defect("falls to hiss", "ends early", hiss, dies, length),
        Defect("starts late", "starts late", _from(sound, 0, late, 0.0), 0, late),
        Defect("gap", "gap", _from(sound, gap, gap_end, 0.0), gap, gap_end),
        Defect("drop-out", "drop-out", _from(sound, out, out_end, 0.0), out, out_end),
        Defect("cut off", "cut off", sound[: int(stop * RATE_HZ)], stop, stop),
    ]


def wave_defects(sound: Floats, plan: Plan = TUNED) -> list[Defect]:
    """Clipping at the top and below it, a dead, hissing or turned channel, a shifted wave."""
    length = len(sound) / RATE_HZ
    middle = _loud_after(sound, plan.right_dies_s)
    defects = []
    for over_db in plan.clipped_db:
        top = np.abs(sound).max() * 10 ** (-over_db / 20)
        size = np.abs(sound).max(axis=1)
        hit, hard = (
            np.flatnonzero(size > over) / RATE_HZ for over in (top / _HALF_DB, top * _HALF_DB)
        )
        name = f"clipped {over_db} dB"
        ends = (hit[0], hit[-1], (hard[0], hard[-1]))
        defects.append(Defect(name, "clipping", np.clip(sound, -top, top), *ends))
    dead, hiss, turned, half = sound.copy(), sound.copy(), sound.copy(), sound.copy()
    dead[:, 1] = 0
    hiss[:, 0] = _room(len(sound), 1)[:, 0]
    turned[:, 1] *= -1
    half[int(middle * RATE_HZ) :, 1] = 0
    return [
        *defects,
        Defect("dead right", "dead channel", dead, 0, length),
        Defect("only hiss left", "dead channel", hiss, 0, length),
        Defect("right dies", "dead channel", half, middle, length),
        Defect("turned", "out of phase", turned, 0, length),
        Defect("shifted", "DC offset", sound + plan.shift, 0, length),
    ]


def steady_defects(sound: Floats, plan: Plan = TUNED) -> list[Defect]:
    """Mains hum and room noise, throughout and for a while."""
    length = len(sound) / RATE_HZ
    start, end = plan.during_s
    at = np.arange(len(sound)) / RATE_HZ
    during = ((at >= start) & (at < end))[:, None]
    tones = ((1, 1.0), (2, 0.5), (3, 0.3))
    hum = sum(part * np.sin(2 * np.pi * plan.hum_hz * k * at) for k, part in tones)
    hum = 10 ** (plan.hum_dbfs / 20) * np.asarray(hum)[:, None]
    level = 10 ** (plan.noise_db / 20) * np.sqrt((sound**2).mean())
    noise = np.random.default_rng(6).normal(0, level, (len(sound), 1))
    return [
        Defect("hum", "hum", sound + hum, 0, length),
        Defect("hum for a while", "hum", sound + hum * during, start, end),
        Defect("noise", "room noise", sound + noise, 0, length),
        Defect("noise for a while", "room noise", sound + noise * during, start, end),
    ]
