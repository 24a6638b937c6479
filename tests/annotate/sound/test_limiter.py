"""Gain towards a target, and a limiter under which no peak passes."""

from __future__ import annotations

import numpy as np
import pytest

from annotate.sound.limiter import MOST_GAIN_DB, TARGETS, Limiter, plan_gain
from annotate.sound.loudness import Meter, Reading
from tests.annotate.sound.clips import Floats, sine


def limited(sound: Floats, ceiling_dbtp: float, block: int = 4096) -> Floats:
    limiter = Limiter(ceiling_dbtp, sound.shape[1])
    out = [limiter.feed(sound[start : start + block]) for start in range(0, len(sound), block)]
    return np.concatenate([*out, limiter.finish()])


def true_peak(sound: Floats) -> float:
    meter = Meter(sound.shape[1])
    meter.feed(sound.astype(np.float32))
    peak = meter.read().true_peak_dbtp
    assert peak is not None
    return peak


@pytest.mark.parametrize("seed", range(4))
def test_no_true_peak_passes_the_ceiling(seed: int) -> None:
    """Noise with bursts 12 dB over full scale comes out at or below -1 dBTP, sample for sample."""
    rng = np.random.default_rng(seed)
    sound = rng.normal(0, 0.2, (48_000, 2)).astype(np.float32)
    for at in rng.integers(0, 47_000, 6):
        sound[at : at + rng.integers(1, 900)] *= 8.0

    out = limited(sound, -1.0, block=int(rng.integers(100, 9000)))

    assert len(out) == len(sound)
    assert true_peak(out) <= -1.0 + 0.05


def test_sound_below_the_ceiling_passes_untouched_and_unmoved() -> None:
    """A tone of -6 dBFS comes out as it went in, to the bit."""
    sound = sine(500, 1.0, -6, channels=2)

    np.testing.assert_array_equal(sound, limited(sound, -1.0, block=1000))


def test_the_blocks_do_not_matter() -> None:
    """The same sound in one block and in small ones is limited alike."""
    sound = np.random.default_rng(3).normal(0, 0.6, (20_000, 2)).astype(np.float32)

    np.testing.assert_allclose(limited(sound, -1.0, 20_000), limited(sound, -1.0, 333), atol=1e-5)


def test_far_from_a_peak_the_level_is_back() -> None:
    """A second after one loud click the tone is as loud as before it."""
    sound = sine(500, 3.0, -10, channels=2)
    sound[48_000] = 4.0

    out = limited(sound, -1.0)

    np.testing.assert_allclose(sound[:47_000], out[:47_000], atol=1e-6)
    np.testing.assert_allclose(sound[96_000:], out[96_000:], atol=1e-6)
    assert np.abs(out[48_000]).max() < 0.9


def reading(lufs: float | None) -> Reading:
    return Reading(10.0, lufs, lufs, lufs, 1.0, -6.0)


def test_gain_goes_from_the_reading_to_the_target() -> None:
    """-31 LUFS needs 8 dB to -23 and 13 dB to the web's -18."""
    assert plan_gain(reading(-31.0), TARGETS["ebu-r128"].integrated_lufs).gain_db == 8.0
    assert plan_gain(reading(-31.0), TARGETS["web-speech"].integrated_lufs).gain_db == 13.0


def test_silence_is_never_lifted_and_quiet_takes_only_so_far() -> None:
    """No reading means no gain and a remark; 40 dB too quiet is lifted by the most there is."""
    silent = plan_gain(reading(None), -23.0, "take isolate.wav")
    quiet = plan_gain(reading(-63.0), -23.0, "take isolate.wav")

    assert silent.gain_db == 0.0
    assert "take isolate.wav is too quiet or too short to measure" in silent.remark
    assert quiet.gain_db == MOST_GAIN_DB
    assert "40 dB below the target" in quiet.remark
