"""Loudness against the signals of EBU Tech 3341 and 3342 and two programs we did not make.

The signals are made here from the two documents' tables (the published wav files may not be
passed on). Expected values and tolerances: EBU Tech 3341 (2023), table 1; EBU Tech 3342, table 1;
ITU-R BS.1770-5 Annex 1. All sines 1 kHz at 48 kHz unless stated.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest

from annotate.sound.loudness import Meter, Reading
from tests.annotate.sound.clips import Floats, ffmpeg, needed, sine, write_wav

pytestmark = pytest.mark.outside
RATE_HZ = 48_000


def read(sound: Floats, true_peak: bool = False, block: int = 48_000) -> Reading:
    meter = Meter(sound.shape[1], true_peak)
    for start in range(0, len(sound), block):
        meter.feed(sound[start : start + block])
    return meter.read()


def stereo(*parts: tuple[float, float]) -> Floats:
    """Sines of (seconds, dBFS) in a row, equal in both channels."""
    return np.concatenate([sine(1000, seconds, dbfs, channels=2) for seconds, dbfs in parts])


def surround() -> Floats:
    """Tech 3341 case 6: 20 s of L, R -28, C -24, Ls, Rs -30 dBFS, order L R C LFE Ls Rs."""
    levels = (-28.0, -28.0, -24.0, -10.0, -30.0, -30.0)
    return np.concatenate([sine(1000, 20, dbfs) for dbfs in levels], axis=1)


INTEGRATED = {
    "3341-1": (stereo, ((20, -23),), -23.0),
    "3341-2": (stereo, ((20, -33),), -33.0),
    "3341-3": (stereo, ((10, -36), (60, -23), (10, -36)), -23.0),
    "3341-4": (stereo, ((10, -72), (10, -36), (60, -23), (10, -36), (10, -72)), -23.0),
    "3341-5": (stereo, ((20, -26), (20.1, -20), (20, -26)), -23.0),
    "3341-6": (surround, (), -23.0),
}


@pytest.mark.parametrize("case", INTEGRATED)
def test_integrated_loudness_of_the_published_signals(case: str) -> None:
    """Tech 3341 cases 1 to 6 read their published loudness within 0.1 LU."""
    make, parts, expected = INTEGRATED[case]

    assert read(make(*parts)).integrated_lufs == pytest.approx(expected, abs=0.1)


def test_momentary_and_short_term_of_a_steady_tone() -> None:
    """Tech 3341 case 1: momentary and short-term loudness are -23.0 too."""
    reading = read(stereo((20, -23)))

    assert reading.momentary_max_lufs == pytest.approx(-23.0, abs=0.1)
    assert reading.short_term_max_lufs == pytest.approx(-23.0, abs=0.1)


def test_short_term_stays_constant_over_a_three_second_pattern() -> None:
    """Tech 3341 case 9: five times 1.34 s at -20 and 1.66 s at -30 read -23.0 after 3 s."""
    meter = Meter(2)
    meter.feed(stereo(*[(1.34, -20), (1.66, -30)] * 5))

    np.testing.assert_allclose(meter.short_term_lufs(), -23.0, atol=0.1)


def test_momentary_stays_constant_over_a_400_ms_pattern() -> None:
    """Tech 3341 case 12: 25 times 0.18 s at -20 and 0.22 s at -30 read -23.0 after 1 s."""
    meter = Meter(2)
    meter.feed(stereo(*[(0.18, -20), (0.22, -30)] * 25))

    np.testing.assert_allclose(meter.momentary_lufs()[60:], -23.0, atol=0.1)


@pytest.mark.parametrize("shift", [0, 3, 7, 11, 19])
def test_maxima_do_not_depend_on_where_the_tone_lies(shift: int) -> None:
    """Tech 3341 cases 10 and 13: 3 s shifted by i x 150 ms, 0.4 s by i x 20 ms, read -23.0."""
    short = stereo((0.15 * shift + 0.001, -120), (3, -23), (1, -120))
    momentary = stereo((0.02 * shift + 0.001, -120), (0.4, -23), (1, -120))

    assert read(short).short_term_max_lufs == pytest.approx(-23.0, abs=0.1)
    assert read(momentary).momentary_max_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(
    ("case", "divisor", "phase_deg", "amplitude", "expected"),
    [
        ("3341-15", 4, 0.0, 0.5, -6.0),
        ("3341-16", 4, 45.0, 0.5, -6.0),
        ("3341-17", 6, 60.0, 0.5, -6.0),
        ("3341-18", 8, 67.5, 0.5, -6.0),
        ("3341-19", 4, 45.0, 1.41, 3.0),
    ],
)
def test_true_peak_of_the_published_signals(
    case: str, divisor: int, phase_deg: float, amplitude: float, expected: float
) -> None:
    """Tech 3341 cases 15 to 19: sines of fs/4, fs/6, fs/8 read within +0.2 and -0.4 dB."""
    at = np.arange(RATE_HZ)
    one = amplitude * np.sin(2 * np.pi * at / divisor + np.radians(phase_deg))
    fade = np.minimum(1, np.minimum(at, at[::-1]) / 480)  # the published files fade in and out

    peak = read((one * fade)[:, None].repeat(2, axis=1).astype(np.float32), True).true_peak_dbtp

    assert peak is not None
    assert expected - 0.4 <= peak <= expected + 0.2, case


@pytest.mark.parametrize(
    ("case", "levels", "expected"),
    [
        ("3342-1", (-20, -30), 10),
        ("3342-2", (-20, -15), 5),
        ("3342-3", (-40, -20), 20),
        ("3342-4", (-50, -35, -20, -35, -50), 15),
    ],
)
def test_loudness_range_of_the_published_signals(
    case: str, levels: tuple[float, ...], expected: float
) -> None:
    """Tech 3342 cases 1 to 4: tones of 20 s each read their loudness range within 1 LU."""
    reading = read(stereo(*[(20, level) for level in levels]))

    assert reading.range_lu == pytest.approx(expected, abs=1.0), case


def test_one_channel_of_a_full_scale_sine_reads_minus_three() -> None:
    """BS.1770-5 Annex 1: 0 dBFS at 997 Hz in one front channel is -3.01 LKFS."""
    sound = np.zeros((5 * RATE_HZ, 2), np.float32)
    sound[:, :1] = sine(997, 5, 0.0)

    assert read(sound).integrated_lufs == pytest.approx(-3.01, abs=0.02)


@pytest.mark.parametrize(
    ("hz", "gain_db"), [(25, -10.39), (100, -1.13), (997, 0.691), (2000, 3.07), (10_000, 4.04)]
)
def test_the_weighting_curve(hz: float, gain_db: float) -> None:
    """K-weighting at five frequencies, from the published 48 kHz coefficients, within 0.05 dB."""
    level = read(sine(hz, 5, -20, channels=2)).integrated_lufs

    assert level == pytest.approx(-20 - 0.691 + gain_db, abs=0.05)


def programme() -> Floats:
    """Speech-like bursts of coloured noise in stereo, seeded, 25 s."""
    rng = np.random.default_rng(8)
    noise = np.cumsum(rng.normal(0, 0.02, (25 * RATE_HZ, 2)), axis=0)
    noise = np.diff(noise, axis=0, prepend=0) + 0.3 * rng.normal(0, 0.02, noise.shape)
    at = np.arange(len(noise)) / RATE_HZ
    envelope = np.clip(np.sin(2 * np.pi * 0.31 * at) + 0.4 * np.sin(2 * np.pi * 1.7 * at), 0, 1)
    return (noise * envelope[:, None] * np.array([1.0, 0.6])).astype(np.float32)


def test_a_programme_reads_as_in_pyloudnorm() -> None:
    """Integrated loudness of moving noise agrees with pyloudnorm within 0.05 LU."""
    try:
        import pyloudnorm
    except ImportError:
        needed("pyloudnorm", "pip install pyloudnorm")
    sound = programme()

    theirs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(sound.astype(float))

    assert read(sound).integrated_lufs == pytest.approx(theirs, abs=0.05)


def test_a_programme_reads_as_in_ffmpeg(tmp_path: Path) -> None:
    """Integrated loudness, range and true peak agree with FFmpeg's ebur128 filter."""
    file = write_wav(tmp_path / "programme.wav", programme(), RATE_HZ)
    command = [ffmpeg(), "-nostdin", "-hide_banner", "-i", str(file), "-af"]
    command += ["ebur128=peak=true", "-f", "null", "-"]
    log = subprocess.run(command, check=True, capture_output=True, text=True, timeout=60).stderr
    summary = log[log.rindex("Summary:") :]
    theirs = {
        name: float(re.search(rf"\b{name}:\s+(-?[\d.]+)", summary)[1])  # type: ignore[index]
        for name in ("I", "LRA", "Peak")
    }

    reading = read(programme(), True)

    assert reading.integrated_lufs == pytest.approx(theirs["I"], abs=0.1)
    assert reading.range_lu == pytest.approx(theirs["LRA"], abs=0.3)
    assert reading.true_peak_dbtp == pytest.approx(theirs["Peak"], abs=0.2)
