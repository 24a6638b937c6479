"""The shape of tops: round stays round, cut is found, whatever is done to it afterwards."""

from __future__ import annotations

import numpy as np
import pytest

from annotate.sound.tops import TopCounts, TopFinder
from tests.annotate.sound.clips import Floats

RATE_HZ = 48_000


def counted(wave: Floats, block: int = 7001) -> tuple[TopCounts, Floats, Floats]:
    """Counts, and place and height of every cut top, of a wave fed in blocks."""
    counts = TopCounts()
    finder = TopFinder(RATE_HZ, counts)
    found = [
        finder.feed(wave[at : at + block].astype(np.float32)) for at in range(0, len(wave), block)
    ]
    return counts, np.concatenate([a for a, _ in found]), np.concatenate([h for _, h in found])


def voice_like(seconds: float = 4.0) -> Floats:
    """A tone of 150 Hz with two harmonics, its loudness swelling and falling, noise under it."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tone = sum(a * np.sin(2 * np.pi * 150 * k * t) for k, a in ((1, 0.5), (2, 0.2), (3, 0.15)))
    swell = 0.4 + 0.6 * np.sin(2 * np.pi * 0.7 * t) ** 2
    return np.asarray(tone * swell + np.random.default_rng(2).normal(0, 1e-3, len(t)))


@pytest.mark.parametrize("over_db", [1.5, 4.0, 12.0])
def test_a_cut_sine_is_cut_at_its_level(over_db: float) -> None:
    """Each half wave counts as cut, and the level is the one it was cut at, to 0.1 dB."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    top = 0.5 * 10 ** (-over_db / 20)

    counts, at, heights = counted(np.clip(0.5 * np.sin(2 * np.pi * 200 * t), -top, top))

    assert len(at) == pytest.approx(800, abs=4)
    assert heights == pytest.approx(np.full(len(at), top), rel=1e-3)
    level = counts.level()
    assert level is not None
    assert 20 * np.log10(level / top) == pytest.approx(0, abs=0.1)


def test_round_waves_are_never_cut() -> None:
    """A sine, a swelling tone with harmonics, and noise: no top counts as cut, no level is found."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    for wave in (0.5 * np.sin(2 * np.pi * 200 * t), voice_like()):
        counts, at, _ = counted(wave)
        assert len(at) == 0
        assert counts.level() is None
    noise = np.random.default_rng(1).normal(0, 0.1, 2 * RATE_HZ)
    assert counted(noise)[0].level() is None


def test_lowered_and_bent_tops_are_still_cut() -> None:
    """Clipped by 6 dB, lowered by 10 dB and filtered to 5 kHz, as a coder may do: still found."""
    wave = voice_like()
    top = np.abs(wave).max() * 10 ** (-6 / 20)
    spectrum = np.fft.rfft(np.clip(wave, -top, top))
    spectrum[np.fft.rfftfreq(len(wave), 1 / RATE_HZ) > 5000] = 0
    bent = np.fft.irfft(spectrum, len(wave)) * 10 ** (-10 / 20)

    level = counted(bent)[0].level()

    assert level is not None
    assert 20 * np.log10(level / top) == pytest.approx(-10, abs=0.5)


def test_blocks_of_any_size_give_the_same_tops() -> None:
    """One block, many, or single samples near a crossing: same places and heights."""
    wave = np.clip(voice_like(0.5), -0.4, 0.4)

    whole = counted(wave, len(wave))
    for block in (1, 480, 5003):
        part = counted(wave, block)
        assert np.array_equal(part[1], whole[1])
        assert np.array_equal(part[0].every, whole[0].every)


def test_sound_that_never_crosses_zero_is_held_for_a_moment_only() -> None:
    """An offset larger than the sound leaves no tops, and nothing piles up."""
    counts = TopCounts()
    finder = TopFinder(RATE_HZ, counts)
    for _ in range(20):
        at, _ = finder.feed(np.full(RATE_HZ, 0.3, np.float32))
        assert len(at) == 0
    assert len(finder._held) <= RATE_HZ // 40
