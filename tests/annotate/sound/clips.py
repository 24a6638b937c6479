"""Sounds whose truth is known, made on the spot: tones, steady noise, wav and coded files."""

from __future__ import annotations

import os
import subprocess
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

Floats = NDArray[Any]


def needed(what: str, how: str) -> None:
    """Leave a test loudly where ``what`` is absent; fail instead when TEACHCUT_NO_SKIP=1."""
    message = f"{what} is not installed: {how}"
    if os.environ.get("TEACHCUT_NO_SKIP") == "1":
        pytest.fail(message)
    pytest.skip(message)


def ffmpeg() -> str:
    """The ffmpeg program that imageio-ffmpeg carries."""
    try:
        import imageio_ffmpeg
    except ImportError:
        needed("imageio-ffmpeg", "pip install imageio-ffmpeg")
    return str(imageio_ffmpeg.get_ffmpeg_exe())


def sine(
    hz: float, seconds: float, dbfs: float, rate_hz: int = 48_000, channels: int = 1
) -> Floats:
    """A sine of sample peak ``dbfs`` in every channel, float32 (n, channels)."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    tone = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * t)
    return np.repeat(tone[:, None], channels, axis=1).astype(np.float32)


def write_wav(path: Path, samples: Floats, rate_hz: int) -> Path:
    """Write float samples (n, channels) as a 16-bit wav."""
    pcm = np.clip(np.round(samples * 32767), -32768, 32767).astype("<i2")
    with wave.open(str(path), "wb") as out:
        out.setnchannels(samples.shape[1])
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        out.writeframes(pcm.tobytes())
    return path


def coded(wav: Path, ending: str, kbit: int = 96) -> Path:
    """The same sound coded by ffmpeg beside the wav; the codec follows the ending."""
    out = wav.with_suffix(f".{ending}")
    rate = [] if ending == "flac" else ["-b:a", f"{kbit}k"]
    codec = ["-c:a", "libopus"] if ending == "opus" else []
    command = [ffmpeg(), "-nostdin", "-y", "-v", "error", "-i", str(wav), *codec, *rate, str(out)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    return out
