"""Meter: blocks do not matter, mono is measured as heard, silence has no reading."""

from __future__ import annotations

import numpy as np
import pytest

from annotate.sound.loudness import Meter
from tests.annotate.sound.clips import sine


def test_the_reading_does_not_depend_on_the_blocks() -> None:
    """One block and blocks of 777 samples give the same reading."""
    sound = np.random.default_rng(1).normal(0, 0.1, (5 * 48_000, 2)).astype(np.float32)
    whole, pieces = Meter(2), Meter(2)
    whole.feed(sound)
    for start in range(0, len(sound), 777):
        pieces.feed(sound[start : start + 777])

    one, other = whole.read(), pieces.read()

    assert one.integrated_lufs == pytest.approx(other.integrated_lufs, abs=1e-6)
    assert one.true_peak_dbtp == pytest.approx(other.true_peak_dbtp, abs=1e-4)
    assert one.length_s == other.length_s == 5.0


def test_mono_reads_as_the_same_tone_in_both_channels() -> None:
    """A mono tone of -23 dBFS reads -23.0, not -26.0."""
    mono, both = Meter(1), Meter(2)
    mono.feed(sine(1000, 5, -23))
    both.feed(sine(1000, 5, -23, channels=2))

    assert mono.read().integrated_lufs == pytest.approx(-23.0, abs=0.1)
    assert mono.read().integrated_lufs == pytest.approx(both.read().integrated_lufs, abs=1e-6)


def test_silence_and_next_to_nothing_have_no_reading() -> None:
    """Zeros, a hiss below the gate, and less than 0.4 s give None, never a number."""
    silent, hiss, short = Meter(2), Meter(2), Meter(2)
    silent.feed(np.zeros((5 * 48_000, 2), np.float32))
    hiss.feed(np.random.default_rng(1).normal(0, 1e-5, (5 * 48_000, 2)).astype(np.float32))
    short.feed(sine(1000, 0.3, -10, channels=2))

    assert silent.read().integrated_lufs is None
    assert silent.read().momentary_max_lufs is None
    assert silent.read().true_peak_dbtp is None
    assert hiss.read().integrated_lufs is None
    assert short.read().integrated_lufs is None
    assert Meter(2).read().integrated_lufs is None


def test_a_number_of_channels_without_weights_is_refused() -> None:
    """Three channels have no weights here; the message says which numbers do."""
    with pytest.raises(ValueError, match="give 1, 2, 5 or 6"):
        Meter(3)
