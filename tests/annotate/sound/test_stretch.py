"""Sound quickened without a change of pitch, never far from its place."""

from __future__ import annotations

import numpy as np
import pytest

from annotate.sound.stretch import ReadSource, stretched
from tests.annotate.sound.clips import Floats, sine

RATE_HZ = 48_000


def reader(sound: Floats) -> ReadSource:
    def read(start: int, count: int) -> Floats:
        out = np.zeros((count, 2), np.float32)
        low, high = max(0, start), min(len(sound), start + count)
        if high > low:
            out[low - start : high - start] = sound[low:high]
        return out

    return read


def quickened(sound: Floats, speed: float, block: int = RATE_HZ) -> Floats:
    count = int(len(sound) / speed)
    course = stretched(reader(sound), lambda n: round(n * speed), count, block)
    out = np.concatenate(list(course))
    assert len(out) == count
    return out


@pytest.mark.parametrize("speed", [1.0, 1.25, 1.5, 1.9, 2.0])
def test_pitch_stays(speed: float) -> None:
    """A tone of 440 Hz is still the strongest at 440 Hz, at its own level."""
    out = quickened(sine(440, 6.0, -10, channels=2), speed)[RATE_HZ : 2 * RATE_HZ, 0]
    spectrum = np.abs(np.fft.rfft(out * np.hanning(len(out))))

    assert abs(int(spectrum.argmax()) - 440) <= 1
    assert 20 * np.log10(np.abs(out).max()) == pytest.approx(-10, abs=1.0)


def test_speed_one_gives_the_sound_back() -> None:
    """At real time the samples are those that went in, to rounding."""
    sound = np.random.default_rng(1).normal(0, 0.1, (RATE_HZ, 2)).astype(np.float32)

    np.testing.assert_allclose(quickened(sound, 1.0), sound, atol=1e-6)


@pytest.mark.parametrize("speed", [1.3, 2.0])
def test_sound_is_never_more_than_twenty_milliseconds_off(speed: float) -> None:
    """Bursts of 0.1 s over noise: the middle of each is heard within 20 ms of its place."""
    sound = np.random.default_rng(2).normal(0, 0.003, (20 * RATE_HZ, 2)).astype(np.float32)
    places = np.arange(2, 18) * RATE_HZ
    for at in places:
        sound[at : at + 4800] += sine(1000, 0.1, -6, channels=2)

    power = quickened(sound, speed)[:, 0].astype(float) ** 2

    for at in places:
        due = round((at + 2400) / speed)
        near = power[due - 4800 : due + 4800]
        middle = float(np.arange(-4800, 4800) @ near / near.sum())
        assert abs(middle) <= 0.020 * RATE_HZ


def test_the_blocks_do_not_matter() -> None:
    """Small and large blocks hold the same samples."""
    sound = np.random.default_rng(3).normal(0, 0.1, (2 * RATE_HZ, 2)).astype(np.float32)

    np.testing.assert_array_equal(quickened(sound, 1.7, 1000), quickened(sound, 1.7, 10**6))


def test_nothing_and_next_to_nothing() -> None:
    """No samples wished gives no block; seven samples give seven."""
    read = reader(np.zeros((100, 2), np.float32))

    assert list(stretched(read, lambda n: n, 0)) == []
    assert sum(len(block) for block in stretched(read, lambda n: 2 * n, 7)) == 7
