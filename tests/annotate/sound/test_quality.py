"""The take check: every injected defect found and placed, nothing found on clean takes."""

from __future__ import annotations

import functools
import itertools
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from annotate.sound.limiter import Limiter
from annotate.sound.quality import TakeReport, check_take
from annotate.sound.scan import Scanner
from annotate.sound.steadyrules import room_level_db
from annotate.sound.takecheck import check_file
from tests.annotate.sound.clips import Floats, coded, sine, write_wav
from tests.annotate.sound.defects import (
    RATE_HZ,
    Defect,
    clean_take,
    level_defects,
    spoken_take,
    steady_defects,
    wave_defects,
)
from tests.annotate.speech.narration import SENTENCES

#: One of each kind, in every coding; the others in wav.
KINDS = (
    "dies",
    "starts late",
    "gap",
    "drop-out",
    "cut off",
    "clipped 4 dB",
    "dead right",
    "turned",
    "shifted",
    "hum for a while",
    "noise for a while",
)
OTHERS = (
    "falls to hiss",
    "clipped 8 dB",
    "clipped 15 dB",
    "only hiss left",
    "right dies",
    "hum",
    "noise",
)


@functools.cache
def defects() -> dict[str, Defect]:
    take = clean_take("flite:slt", 7)
    every = level_defects(take) + wave_defects(take) + steady_defects(take)
    return {defect.name: defect for defect in every}


def checked(sound: Floats, rate_hz: int = RATE_HZ, expected_s: float | None = None) -> TakeReport:
    scanner = Scanner(rate_hz, sound.shape[1])
    for start in range(0, len(sound), 10_007):
        scanner.feed(sound[start : start + 10_007].astype(np.float32))
    return check_take(scanner.finish(), expected_s=expected_s)


def is_found(file: Path, defect: Defect) -> None:
    faults = check_file(file, file.name).faults

    assert {defect.kind} == {fault.kind for fault in faults}, file.suffix
    assert defect.off_s(faults[0].start_s, faults[-1].end_s) <= 0.1, file.suffix
    assert all(fault.sentence and fault.bad for fault in faults)


@pytest.mark.parametrize("name", KINDS)
def test_each_kind_of_defect_is_found_alone_within_a_tenth_of_a_second(
    tmp_path: Path, name: str
) -> None:
    """In wav, AAC and MP3 the only fault found is of the right kind, at most 0.1 s off."""
    defect = defects()[name]
    wav = write_wav(tmp_path / "take.wav", defect.sound, RATE_HZ)

    for file in (wav, coded(wav, "m4a"), coded(wav, "mp3")):
        is_found(file, defect)


@pytest.mark.parametrize("name", OTHERS)
def test_the_same_kinds_in_other_dress_are_found_too(tmp_path: Path, name: str) -> None:
    """Hiss for silence, hum and noise throughout, a channel that dies half-way: in wav."""
    defect = defects()[name]

    is_found(write_wav(tmp_path / "take.wav", defect.sound, RATE_HZ), defect)


def test_a_hum_is_placed_under_a_voice_of_its_own_pitch(tmp_path: Path) -> None:
    """A voice without vibrato near 100 Hz, the hum's second tone: still both ends within 0.1 s."""
    every = steady_defects(clean_take("espeak:en-gb-scotland", 8))
    defect = next(d for d in every if d.name == "hum for a while")

    is_found(write_wav(tmp_path / "take.wav", defect.sound, RATE_HZ), defect)


def test_a_take_cut_just_after_a_word_begins_is_named(tmp_path: Path) -> None:
    """Twenty milliseconds of a word at the end are enough, in wav, AAC and MP3."""
    every = level_defects(clean_take("flite:rms", 8))
    defect = next(d for d in every if d.name == "cut off")
    wav = write_wav(tmp_path / "take.wav", defect.sound, RATE_HZ)

    for file in (wav, coded(wav, "m4a"), coded(wav, "mp3")):
        is_found(file, defect)


def test_the_click_of_a_switch_is_no_word_cut_off() -> None:
    """A loud click that dies within 50 ms, at the very start, is no voice."""
    take = clean_take("flite:slt", 4)
    click = np.exp(-np.arange(2400) / 400) * np.random.default_rng(4).normal(0, 0.3, 2400)
    take[:2400] += click[:, None]

    assert checked(take).faults == ()


def test_noise_with_a_hole_in_it_is_one_finding() -> None:
    """Findings of room noise never overlap: each moment is told of once."""
    take = clean_take("flite:slt", 8)
    rng = np.random.default_rng(8)
    noise = rng.normal(0, 0.25 * np.sqrt((take**2).mean()), (len(take), 1))
    noise *= 1 + 0.3 * np.sin(np.arange(len(take)) / RATE_HZ)[:, None]

    spans = [(f.start_s, f.end_s) for f in checked(take + noise).faults if f.kind == "room noise"]

    assert spans
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(spans))


def test_memory_grows_by_a_few_bytes_a_frame_only() -> None:
    """Twelve minutes take less than 4 MB more than two, scanning and checking alike."""
    block = clean_take("flite:slt", 4)[: 10 * RATE_HZ].astype(np.float32)
    peaks = []
    for minutes in (2, 12):
        tracemalloc.start()
        scanner = Scanner(RATE_HZ, 2)
        for _ in range(6 * minutes):
            scanner.feed(block)
        assert check_take(scanner.finish()).length_s == pytest.approx(60 * minutes)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()

    assert peaks[1] - peaks[0] < 4_000_000


@pytest.mark.parametrize("voice", ["flite:slt", "flite:awb", "espeak:en-gb-x-rp"])
def test_nothing_is_found_on_a_clean_take(tmp_path: Path, voice: str) -> None:
    """Four voices in a quiet room, in wav, AAC and MP3: no fault at all."""
    wav = write_wav(tmp_path / "take.wav", clean_take(voice), RATE_HZ)

    for file in (wav, coded(wav, "m4a"), coded(wav, "mp3")):
        assert check_file(file, file.name).faults == (), file.suffix


def test_a_voice_without_any_room_noise_has_no_drop_outs() -> None:
    """Silence of pure zeros between synthetic words is the take's own manner."""
    assert checked(clean_take("espeak:en-us", 12, room_dbfs=-300)).faults == ()


def test_a_voice_through_a_limiter_is_not_called_clipped() -> None:
    """8 dB into a limiter the peaks are all alike and the tops still round: no fault."""
    limiter = Limiter(-1.0)
    loud = (5.0 * clean_take("flite:slt", 7)).astype(np.float32)

    assert checked(np.concatenate([limiter.feed(loud), limiter.finish()])).faults == ()


def test_silence_is_no_voice() -> None:
    """Zeros, and a take of no samples, are reported as holding no voice, with no level."""
    for seconds in (5.0, 0.0):
        report = checked(np.zeros((round(seconds * RATE_HZ), 1)))

        assert [fault.kind for fault in report.faults] == ["no sound"]
        assert report.speech_dbfs is None
        assert not report.good


def test_a_take_shorter_than_its_script_needs_is_named() -> None:
    """A clean take of 25 s where 40 s were expected ends early, and the sentence says so."""
    report = checked(clean_take("flite:slt", 7), expected_s=40.0)

    assert [fault.kind for fault in report.faults] == ["ends early"]
    assert "about 0:40.0 was expected" in report.faults[0].sentence


def test_levels_are_those_of_the_signal() -> None:
    """A tone of -20 dBFS peak over noise of -70 dBFS measures -23 and -70 dBFS."""
    rng = np.random.default_rng(1)
    sound = rng.normal(0, 10 ** (-70 / 20), (6 * RATE_HZ, 1))
    sound[RATE_HZ : 4 * RATE_HZ] += sine(440, 3.0, -20)

    report = checked(sound)

    assert report.speech_dbfs == pytest.approx(-23.0, abs=0.1)
    assert report.noise_dbfs == pytest.approx(-70.0, abs=0.3)
    assert report.peak_dbfs == pytest.approx(-20.0, abs=0.1)
    assert report.speech_over_noise_db == pytest.approx(47.0, abs=0.4)


def test_the_rooms_level_is_that_of_its_noise() -> None:
    """White noise of -50 dBFS in its band, under a voice that pauses: the estimate is 1 dB off at most."""
    rng = np.random.default_rng(2)
    sound = rng.normal(0, 10 ** (-50 / 20), (20 * RATE_HZ, 2))
    heard_db = -50 + 10 * np.log10((12_000 - 100) / (RATE_HZ / 2))
    for second in range(0, 20, 2):
        sound[second * RATE_HZ : (second + 1) * RATE_HZ] += sine(300, 1.0, -20, channels=2)
    scanner = Scanner(RATE_HZ, 2)
    scanner.feed(sound.astype(np.float32))

    assert np.median(room_level_db(scanner.finish())) == pytest.approx(heard_db, abs=1.0)


def test_odd_rates_are_scanned_in_their_own_time() -> None:
    """At 22 050 Hz, where 10 ms is no whole number of samples, places stay true to 10 ms."""
    sound = np.random.default_rng(1).normal(0, 1e-4, (40 * 22_050, 1))
    sound[10 * 22_050 : 30 * 22_050] += sine(300, 20.0, -20, 22_050)

    start_s, end_s = checked(sound, 22_050).voice_s[0]

    assert start_s == pytest.approx(10.0, abs=0.011)
    assert end_s == pytest.approx(30.0, abs=0.011)


def test_a_damaged_file_is_named_and_the_rest_still_checked(tmp_path: Path) -> None:
    """Bytes overwritten inside an m4a are a fault with their place."""
    wav = write_wav(tmp_path / "take.wav", clean_take("flite:slt", 3), RATE_HZ)
    file = coded(wav, "m4a")
    data = bytearray(file.read_bytes())
    middle = data.index(b"mdat") + int(0.5 * (len(data) - data.index(b"mdat")))
    data[middle : middle + 900] = b"\xff" * 900
    file.write_bytes(data)

    report = check_file(file, "take.m4a")

    damaged = [fault for fault in report.faults if fault.kind == "damaged file"]
    assert damaged
    assert abs(damaged[0].start_s - report.length_s / 2) < 1.5
    assert report.speech_dbfs is not None


def test_six_channels_are_folded_and_checked(tmp_path: Path) -> None:
    """A take of six channels, as a camera may write it, is checked as two."""
    sound = np.zeros((4 * RATE_HZ, 6))
    sound[:, 2:3] = sine(300, 4.0, -20)

    report = check_file(write_wav(tmp_path / "six.wav", sound, RATE_HZ), "six.wav")

    assert report.speech_dbfs == pytest.approx(-26.0, abs=0.2)


def test_more_than_two_channels_are_refused() -> None:
    """A scan takes one or two channels; the message says how many came."""
    with pytest.raises(ValueError, match="6 channels"):
        Scanner(RATE_HZ, 6)


def test_a_wave_that_stands_still_at_the_top_is_no_drop_out() -> None:
    """A thump clipped so long that nothing moves for 60 ms is clipping alone."""
    take = clean_take("flite:slt", 4)
    at = np.arange(round(0.3 * RATE_HZ)) / RATE_HZ
    take[5 * RATE_HZ : 5 * RATE_HZ + len(at)] += 9 * np.sin(2 * np.pi * 6 * at)[:, None]

    faults = checked(np.clip(take, -0.5, 0.5)).faults

    assert "drop-out" not in {fault.kind for fault in faults}


def test_one_long_gap_does_not_hide_itself() -> None:
    """A reader who hardly pauses: 3 s of nothing are more than all pauses together, and are found."""
    rng = np.random.default_rng(9)
    sound = rng.normal(0, 10 ** (-58 / 20), (16 * RATE_HZ, 1))
    for second in range(16):
        sound[second * RATE_HZ : round((second + 0.7) * RATE_HZ)] += sine(220, 0.7, -20)
    sound[round(6.2 * RATE_HZ) : round(9.4 * RATE_HZ)] = 0

    faults = [f for f in checked(sound).faults if f.kind not in ("room noise", "cut off")]

    assert [fault.kind for fault in faults] == ["gap"]
    assert faults[0].start_s == pytest.approx(6.2, abs=0.03)
    assert faults[0].end_s == pytest.approx(9.4, abs=0.03)


@pytest.mark.parametrize("voice", ["espeak:en-us+f2", "espeak:en-us+f4"])
def test_a_voice_of_broad_tops_is_not_called_clipped(voice: str) -> None:
    """Voices made of few partials have some broad tops; others stand above them: nothing is cut."""
    assert checked(spoken_take(SENTENCES[50:60], voice)).faults == ()
