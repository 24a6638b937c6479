"""How well the take check finds defects, and how fast the sound side runs. Prints figures.

    python -m tests.bench.bench_takes            all voices, all codings
    python -m tests.bench.bench_takes flite:slt  one voice

Defects are those of tests/annotate/sound/defects.py in wav, AAC at 96 kbit/s and MP3 at 96 kbit/s.
A defect counts as placed when both its ends are within 0.1 s. Needs flite, espeak-ng, ffmpeg.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from annotate.sound.limiter import TARGETS
from annotate.sound.loudness import Meter
from annotate.sound.mix import limited, read_loudness
from annotate.sound.quality import check_take
from annotate.sound.scan import Samples, Scanner
from annotate.sound.stretch import stretched
from annotate.sound.takecheck import check_file
from tests.annotate.sound.clips import coded, write_wav
from tests.annotate.sound.defects import (
    RATE_HZ,
    Defect,
    clean_take,
    level_defects,
    steady_defects,
    wave_defects,
)

VOICES = ("flite:slt", "flite:awb", "flite:rms", "espeak:en-us", "espeak:en-gb-scotland")


def check_voice(voice: str, folder: Path) -> None:
    """Print one line per defect: wav, AAC, MP3 each as placed, found or missed."""
    take = clean_take(voice, 8)
    clean = Defect("clean", "", take, 0, 0)
    for defect in [clean, *level_defects(take), *wave_defects(take), *steady_defects(take)]:
        wav = write_wav(folder / "take.wav", defect.sound, RATE_HZ)
        results = [judge(file, defect) for file in (wav, coded(wav, "m4a"), coded(wav, "mp3"))]
        print(
            f"{voice:24s} {defect.name:18s} " + "  ".join(f"{r:22s}" for r in results), flush=True
        )


def judge(file: Path, defect: Defect) -> str:
    """``0.01 s`` off, ``missed``, or ``ok`` for a clean take; other faults are named behind."""
    faults = check_file(file, file.name).faults
    own = [fault for fault in faults if fault.kind == defect.kind]
    others = (
        " +" + ",".join(f.kind for f in faults if f not in own) if len(own) < len(faults) else ""
    )
    if not defect.kind:
        return "ok" + others
    if not own:
        return "missed" + others
    off = max(abs(own[0].start_s - defect.start_s), abs(own[-1].end_s - defect.end_s))
    return f"{off:.2f} s" + ("" if off <= 0.1 else " MISPLACED") + others


def speeds() -> None:
    """Print how many times real time each part runs, CPU seconds, on 2 minutes of speech."""
    take = clean_take("flite:slt", 10)
    sound = np.resize(take, (120 * RATE_HZ, 2)).astype(np.float32)

    def blocks() -> Iterator[Samples]:
        return (sound[i : i + RATE_HZ] for i in range(0, len(sound), RATE_HZ))

    def read(start: int, count: int) -> Samples:
        out = np.zeros((count, 2), np.float32)
        part = sound[max(0, start) : max(0, start + count)]
        out[count - len(part) :] = part
        return out

    def scan() -> None:
        scanner = Scanner(RATE_HZ, 2)
        for block in blocks():
            scanner.feed(block)
        check_take(scanner.finish())

    def loudness() -> None:
        meter = Meter(2, true_peak=False)
        for block in blocks():
            meter.feed(block)
        meter.read()

    for name, work in (
        ("take check", scan),
        ("loudness", loudness),
        ("loudness and true peak", lambda: read_loudness(blocks())),
        ("limiter", lambda: sum(len(b) for b in limited(blocks(), 6.0, TARGETS["web-speech"]))),
        (
            "stretch 1.5x",
            lambda: sum(map(len, stretched(read, lambda n: n * 3 // 2, 79 * RATE_HZ))),
        ),
    ):
        start = time.process_time()
        work()
        print(f"{name:24s} {120 / (time.process_time() - start):6.0f} x real time")


def main() -> None:
    """Check every voice named on the command line, or all, then the speeds."""
    with tempfile.TemporaryDirectory() as folder:
        for voice in sys.argv[1:] or VOICES:
            check_voice(voice, Path(folder))
    speeds()


if __name__ == "__main__":
    main()
