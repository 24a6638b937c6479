"""The mix: takes at their samples, the room ducked under them, brought to a named target."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from annotate.sound.limiter import TARGETS
from annotate.sound.loudness import Reading
from annotate.sound.mix import (
    Ducking,
    duck_gain,
    lay,
    match_takes,
    over_room,
    read_loudness,
    room_gain_db,
    to_target,
)
from annotate.sound.takes import Laid
from chapters.spans import Span
from tests.annotate.sound.clips import Floats, coded, sine, write_wav

F = Fraction
RATE_HZ = 48_000


def joined(blocks: Iterator[Floats]) -> Floats:
    return np.concatenate(list(blocks))


def test_a_take_lies_at_its_sample_forty_minutes_into_a_film(tmp_path: Path) -> None:
    """A click 0.5 s into a take at 2399 and 1/3 s is heard at that very sample."""
    sound = np.zeros((RATE_HZ, 1), np.float32)
    sound[RATE_HZ // 2] = 0.9
    file = write_wav(tmp_path / "a.wav", sound, RATE_HZ)
    at = F(2399) + F(1, 3)
    start = 2399 * RATE_HZ

    blocks = lay([Laid("a", "a.wav", at, F(0), F(1))], {"a.wav": file}, 2401 * RATE_HZ)
    where = [
        index * RATE_HZ + int(np.abs(block[:, 0]).argmax())
        for index, block in enumerate(blocks)
        if block.any()
    ]

    assert where == [start + RATE_HZ // 3 + RATE_HZ // 2]


@pytest.mark.parametrize("ending", ["wav", "mp3", "m4a"])
def test_pieces_of_one_file_lie_anew(tmp_path: Path, ending: str) -> None:
    """Two pieces of a file, the later one laid first, each bring their own part of it."""
    sound = np.concatenate([sine(300, 1, -20), sine(900, 1, -20), sine(2000, 1, -20)])
    file = write_wav(tmp_path / "talk.wav", sound, RATE_HZ)
    file = file if ending == "wav" else coded(file, ending, 160)
    laid = [
        Laid("b", "talk", F(1), F("2.2"), F("0.6")),
        Laid("a", "talk", F(3), F("0.2"), F("0.6")),
    ]

    out = joined(lay(laid, {"talk": file}, 5 * RATE_HZ))[:, 0]

    def strongest_hz(start: float) -> float:
        part = out[int(start * RATE_HZ) : int((start + 0.4) * RATE_HZ)]
        return float(np.abs(np.fft.rfft(part)).argmax()) / 0.4

    assert strongest_hz(1.1) == pytest.approx(2000, abs=3)
    assert strongest_hz(3.1) == pytest.approx(300, abs=3)
    assert not out[: RATE_HZ - 10].any()
    assert not out[int(1.61 * RATE_HZ) : 3 * RATE_HZ - 10].any()


def test_the_room_makes_way_for_the_voice_and_comes_back() -> None:
    """-15 dB from the first to the last word, 0 dB a second before and after, no steps."""
    gain = 20 * np.log10(
        duck_gain([Span(F(5), F(6)), Span(F(7), F(8))], 0, 12 * RATE_HZ, Ducking())
    )

    assert gain[int(4.7 * RATE_HZ)] == pytest.approx(0, abs=1e-3)
    for t in (5.0, 5.5, 6.5, 7.9):
        assert gain[int(t * RATE_HZ)] == pytest.approx(-15, abs=0.01)
    assert gain[9 * RATE_HZ] == pytest.approx(0, abs=1e-3)
    assert np.abs(np.diff(gain)).max() < 0.01
    assert duck_gain([], 0, 10, Ducking()) == pytest.approx(np.ones(10))


def test_takes_over_the_room_add_up() -> None:
    """With other block sizes in both streams, the sum is the take plus the ducked room."""
    take, room = sine(300, 4, -20, channels=2), sine(50, 4, -30, channels=2)
    pieces = (room[i : i + 7001] for i in range(0, len(room), 7001))

    out = joined(over_room([take[:1000], take[1000:]], pieces, [Span(F(0), F(4))], -3.0))

    np.testing.assert_allclose(out, take + room * 10 ** (-18 / 20), atol=1e-5)


def test_streams_of_unequal_length_are_refused() -> None:
    """A room that ends before the takes is a fault of the caller, not silence."""
    take = sine(300, 1, -20, channels=2)

    with pytest.raises(ValueError, match="differ in length"):
        joined(over_room([take], [take[:1000]], []))


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_the_mix_reaches_its_target_and_keeps_the_true_peak(name: str) -> None:
    """Bursts of noise at any level end at the target's LUFS with a true peak at most -1 dBTP."""
    rng = np.random.default_rng(4)
    sound = rng.normal(0, 0.02, (12 * RATE_HZ, 2)).astype(np.float32)
    sound[::RATE_HZ] += 0.5
    target = TARGETS[name]

    mastered = to_target(lambda: [sound[:70_000], sound[70_000:]], target)
    out = joined(mastered.blocks)
    after = read_loudness([out])

    assert len(out) == len(sound)
    assert after.integrated_lufs == pytest.approx(target.integrated_lufs, abs=0.3)
    assert after.true_peak_dbtp is not None
    assert after.true_peak_dbtp <= target.true_peak_dbtp


def test_silence_stays_silence() -> None:
    """A film without any sound has no reading, no gain and a remark that says so."""
    silent = np.zeros((3 * RATE_HZ, 2), np.float32)

    mastered = to_target(lambda: [silent], TARGETS["web-speech"])

    assert mastered.before.integrated_lufs is None
    assert mastered.gain.gain_db == 0
    assert "too quiet or too short" in mastered.gain.remark
    assert not joined(mastered.blocks).any()


def test_takes_are_matched_to_one_loudness(tmp_path: Path) -> None:
    """A mono take of -35 dBFS and a stereo one of -15 dBFS get gains that make them alike."""
    files = {
        "quiet.wav": write_wav(tmp_path / "quiet.wav", sine(1000, 3, -35), RATE_HZ),
        "loud.wav": write_wav(tmp_path / "loud.wav", sine(1000, 3, -15, channels=2), RATE_HZ),
    }
    takes = {name: (path, Span(F(0), F(3))) for name, path in files.items()}

    gains, remarks = match_takes(takes, TARGETS["ebu-r128"])

    assert gains["quiet.wav"] == pytest.approx(12, abs=0.1)
    assert gains["loud.wav"] == pytest.approx(-8, abs=0.1)
    assert remarks == ()


def test_a_loud_room_is_lowered_and_a_quiet_one_never_lifted() -> None:
    """Room sound stays 8 LU under the voice; a quieter room and silence are left as they are."""
    target = TARGETS["web-speech"]

    def room(lufs: float | None) -> Reading:
        return Reading(10, lufs, lufs, lufs, 1.0, -6.0)

    assert room_gain_db(room(-20), target) == -6
    assert room_gain_db(room(-40), target) == 0
    assert room_gain_db(room(None), target) == 0
