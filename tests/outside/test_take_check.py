"""The take check's figures against what we did not make.

- Peak, level and DC offset: the filter ``astats`` of the ffmpeg program (libavfilter), on the same
  file.
- How far the quietest frames of noise lie below their mean: the chi-squared distribution of scipy.
- How broad a round top can be: the arc cosine of the sine, a textbook integral, and the same sine
  through another program's gain and limiter (sox ``gain -h`` keeps it round, sox clips at full scale).
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from annotate.sound.steadyrules import _QUIETEST, _ROOM_FRAMES, _low_by_chance_db
from annotate.sound.takecheck import check_file
from annotate.sound.tops import TopCounts, TopFinder
from tests.annotate.sound.clips import Floats, ffmpeg, needed, sine, write_wav
from tests.annotate.sound.defects import RATE_HZ, clean_take

pytestmark = pytest.mark.outside


def astats(file: Path) -> dict[str, float]:
    """Overall figures of ffmpeg's astats, by their names."""
    command = [ffmpeg(), "-nostdin", "-i", str(file), "-af", "astats", "-f", "null", "-"]
    said = subprocess.run(command, check=True, capture_output=True, timeout=60).stderr.decode()
    overall = said.split("Overall")[-1]
    return {
        name.strip(): float(value)
        for name, value in re.findall(r"\] ([A-Z][^:\n]*): (-?[0-9.]+)\s*$", overall, re.MULTILINE)
    }


def test_peak_and_offset_are_those_that_another_program_reads(tmp_path: Path) -> None:
    """A narration shifted by 2.5 %: peak to 0.01 dB, offset to 0.1 % of full scale."""
    file = write_wav(tmp_path / "take.wav", clean_take("flite:slt", 4) + 0.025, RATE_HZ)
    theirs = astats(file)

    report = check_file(file, "take.wav")

    assert report.peak_dbfs == pytest.approx(theirs["Peak level dB"], abs=0.01)
    shifted = [fault.sentence for fault in report.faults if fault.kind == "DC offset"]
    assert len(shifted) == 1
    found = re.search(r"([+-][0-9.]+) %", shifted[0])
    assert found is not None
    assert float(found[1]) / 100 == pytest.approx(theirs["DC offset"], abs=0.001)


def test_the_level_of_a_tone_is_what_another_program_reads(tmp_path: Path) -> None:
    """A tone throughout: the voice's level is the RMS level of the file to 0.1 dB."""
    file = write_wav(tmp_path / "tone.wav", sine(440, 6.0, -17.3, channels=2), RATE_HZ)

    report = check_file(file, "tone.wav")

    assert report.speech_dbfs == pytest.approx(astats(file)["RMS level dB"], abs=0.1)


def test_quiet_frames_of_noise_lie_as_low_as_chi_squared_says() -> None:
    """Quantiles for 3 to 300 degrees of freedom to 0.7 dB (the formula is an approximation)."""
    freedom = np.array([3.0, 4.0, 8.0, 20.0, 60.0, 300.0])
    share = stats.chi2.ppf((_QUIETEST + 0.5) / _ROOM_FRAMES, freedom) / freedom

    assert _low_by_chance_db(freedom) == pytest.approx(-10 * np.log10(share), abs=0.7)


def test_a_sines_top_is_as_broad_as_the_arc_cosine_says() -> None:
    """38.5 % of the time above half the height lies above 92 % of it; cut by 1 dB it is 55.0 %."""

    def share(over: float) -> float:
        return float(np.arccos(0.92 / over) / np.arccos(0.5 / over))

    assert share(1.0) == pytest.approx(0.3846, abs=1e-4)
    assert share(10 ** (1 / 20)) == pytest.approx(0.5496, abs=1e-4)
    wave = np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ)
    for over, cut in ((1.0, 0), (10 ** (1 / 20), 200)):
        assert cut_tops(np.clip(over * wave, -1, 1)) == pytest.approx(cut, abs=2)


def test_another_programs_clipping_is_seen_and_its_gain_is_not(tmp_path: Path) -> None:
    """A tone of -3 dBFS raised by 2 dB and by 6 dB with sox: only the second is cut."""
    if shutil.which("sox") is None:
        needed("sox", "apt-get install sox")
    tone = write_wav(tmp_path / "tone.wav", sine(150, 2.0, -3), RATE_HZ)
    for gain_db, cut in ((2, 0), (6, 600)):
        loud = tmp_path / "loud.wav"
        subprocess.run(
            ["sox", str(tone), str(loud), "gain", str(gain_db)],
            check=True,
            capture_output=True,
            timeout=60,
        )
        pcm = np.frombuffer(loud.read_bytes()[-2 * 2 * RATE_HZ :], "<i2")
        assert cut_tops(pcm / 32768) == pytest.approx(cut, abs=3)


def cut_tops(wave: Floats) -> int:
    """How many tops count as cut."""
    return len(TopFinder(RATE_HZ, TopCounts()).feed(wave.astype(np.float32))[0])
