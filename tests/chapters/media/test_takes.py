"""Takes: opened with care, every sample at its place, whatever the coding."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from chapters.errors import RecordingError
from chapters.media.takes import Spool, TakeReader, mono, stereo
from tests.annotate.sound.clips import coded, sine, write_wav

CLICKS_S = (0.5, 1.0, 2.0)


def clicks(rate_hz: int, seconds: float = 3.0) -> np.ndarray:
    sound = np.zeros((round(seconds * rate_hz), 1), np.float32)
    for at in CLICKS_S:
        sound[round(at * rate_hz)] = 0.9
    return sound


@pytest.mark.parametrize("ending", ["wav", "flac", "mp3", "m4a", "opus", "mkv"])
@pytest.mark.parametrize("rate_hz", [48_000, 44_100])
def test_every_coding_keeps_each_click_at_its_sample(
    tmp_path: Path, ending: str, rate_hz: int
) -> None:
    """A click at 0.5, 1 and 2 s is read back within one sample at 48 kHz from every coding."""
    file = write_wav(tmp_path / "clicks.wav", clicks(rate_hz), rate_hz)
    if ending != "wav":
        file = coded(file, ending)

    with TakeReader(file, file.name, 48_000) as take:
        sound = np.concatenate(list(take.blocks()))[:, 0]

    for at in CLICKS_S:
        near = sound[int((at - 0.1) * 48_000) : int((at + 0.1) * 48_000)]
        assert abs(int(np.abs(near).argmax()) - 4_800) <= 1


def test_reading_here_and_there_gives_the_same_samples(tmp_path: Path) -> None:
    """``read`` forward, back and beyond both ends equals the whole take with zeros around."""
    sound = sine(330, 2.0, -6, channels=2)
    file = write_wav(tmp_path / "tone.wav", sound, 48_000)

    with TakeReader(file, "tone.wav", 48_000) as take:
        whole = np.concatenate(list(take.blocks()))
        for start, count in (
            (50_000, 100),
            (50_100, 30_000),
            (10, 4000),
            (-100, 200),
            (95_990, 50),
        ):
            want = np.zeros((count, 2), np.float32)
            low, high = max(0, start), min(len(whole), start + count)
            want[low - start : high - start] = whole[low:high]

            np.testing.assert_array_equal(want, take.read(start, count))


def test_a_take_too_short_to_hold_a_frame_reads_as_silence(tmp_path: Path) -> None:
    """A wav of no samples gives no block and zeros, not an error."""
    file = write_wav(tmp_path / "none.wav", np.zeros((0, 1)), 48_000)

    with TakeReader(file, "none.wav") as take:
        assert list(take.blocks()) == []
        assert not take.read(0, 10).any()


def test_what_is_no_take_is_refused_with_its_name_and_the_reason(tmp_path: Path) -> None:
    """A folder, a missing file, an empty file, text and a play list are each refused by name."""
    (tmp_path / "empty.wav").touch()
    (tmp_path / "text.wav").write_text("hello", encoding="utf-8")
    write_wav(tmp_path / "secret.wav", sine(100, 0.2, -6), 48_000)
    (tmp_path / "list.mp3").write_text("ffconcat version 1.0\nfile secret.wav\n", encoding="utf-8")
    found = {
        ".": "is a folder",
        "missing.wav": "is not there",
        "empty.wav": "is empty",
        "text.wav": "is no sound file",
        "list.mp3": "is no sound file",
    }

    for name, reason in found.items():
        with pytest.raises(RecordingError, match=reason) as caught:
            TakeReader(tmp_path / name, name)
        assert name == caught.value.name


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_named_pipe_is_refused_and_does_not_hang(tmp_path: Path) -> None:
    """A pipe in the place of a take is refused before it is opened."""
    os.mkfifo(tmp_path / "pipe.wav")

    with pytest.raises(RecordingError, match="not a regular file"):
        TakeReader(tmp_path / "pipe.wav", "pipe.wav")


def test_damage_in_the_middle_leaves_the_rest_in_its_place(tmp_path: Path) -> None:
    """Bytes overwritten inside an m4a are noted, and later clicks stay at their samples."""
    noise = np.random.default_rng(3).normal(0, 0.01, (3 * 48_000, 1)).astype(np.float32)
    file = coded(write_wav(tmp_path / "c.wav", clicks(48_000) + noise, 48_000), "m4a")
    data = bytearray(file.read_bytes())
    middle = data.index(b"mdat") + int(0.55 * (len(data) - data.index(b"mdat")))
    data[middle : middle + 900] = b"\xff" * 900
    file.write_bytes(data)

    with TakeReader(file, "c.m4a", 48_000) as take:
        sound = np.concatenate(list(take.blocks()))[:, 0]
        damage = list(take.damage)

    near = sound[int(1.9 * 48_000) : int(2.1 * 48_000)]
    assert abs(int(np.abs(near).argmax()) - 4_800) <= 1
    assert all(1.3 < at < 1.9 for at, _ in damage)
    assert damage


def test_mono_keeps_the_voice_of_a_pair_wired_out_of_phase() -> None:
    """Left and right of opposite sign fold to one live channel, not to silence."""
    tone = sine(200, 0.1, -6)
    pair = np.concatenate([tone, -tone], axis=1)

    assert np.abs(mono(pair)).max() > 0.4
    np.testing.assert_allclose(np.zeros(0), mono(np.zeros((0, 2), np.float32)))


def test_stereo_lays_mono_to_both_and_leaves_the_low_frequency_channel_out() -> None:
    """Mono stands in both channels at its own level; of 5.1 the LFE is not heard."""
    one = sine(200, 0.01, -6)
    lfe_only = np.zeros((10, 6), np.float32)
    lfe_only[:, 3] = 1.0

    np.testing.assert_array_equal(np.repeat(one, 2, axis=1), stereo(one))
    assert not stereo(lfe_only).any()


def test_a_spool_reads_the_same_as_the_take(tmp_path: Path) -> None:
    """The 16-bit copy on disk holds the take's samples and clips what lies outside it."""
    file = write_wav(tmp_path / "tone.wav", sine(330, 0.5, -6, 16_000), 16_000)

    with TakeReader(file, "tone.wav", 16_000) as take, Spool(take) as spool:
        inside = spool.read(100, 200)
        whole = np.concatenate(list(take.blocks()))[:, 0]

        np.testing.assert_allclose(whole[100:200] * 32768, inside, atol=1)
        assert spool.count == 8000
        assert len(spool.read(9000, 9100)) == 0
