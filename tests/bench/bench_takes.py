"""How well the take check finds defects, how fast it runs and what memory it takes. Prints a table.

    python -m tests.bench.bench_takes [--part tune|report|all] [--take NAME] [--csv FILE] [--no-long]

Defects are those of tests/annotate/sound/defects.py in wav, AAC at 96 kbit/s and MP3 at 96 kbit/s. A
defect counts as found when both its ends are within 0.1 s (clipping: where the wave comes to
the clipper's level, give or take 0.5 dB) and nothing else is found beside it. The
limits were set on the part ``tune``; the part ``report`` has other voices, other sentences, other
real speakers and other places and strengths of defects. Faults that a recording has of its own are
named in ``OWN`` and are not held against it. Needs flite, espeak-ng and imageio-ffmpeg; real speech
as in recordings.py.
"""

from __future__ import annotations

import argparse
import csv
import multiprocessing
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import numpy as np

from annotate.sound.limiter import TARGETS
from annotate.sound.loudness import Meter
from annotate.sound.mix import limited, read_loudness
from annotate.sound.quality import check_take
from annotate.sound.scan import Samples, Scanner
from annotate.sound.stretch import stretched
from annotate.sound.takecheck import check_file
from tests.annotate.sound.clips import Floats, coded, write_wav
from tests.annotate.sound.defects import (
    RATE_HZ,
    TUNED,
    Defect,
    Plan,
    clean_take,
    level_defects,
    spoken_take,
    steady_defects,
    wave_defects,
)
from tests.annotate.speech.narration import SENTENCES
from tests.bench import recordings
from tests.bench.memory import most_mb

CODINGS = ("wav", "m4a", "mp3")
PLANS = {
    "tune": TUNED,
    "report": Plan(
        dies=0.43,
        stops=0.71,
        late_s=3.1,
        gap_s=(6.2, 2.5),
        drop_out_s=(10.7, 0.1),
        right_dies_s=8.5,
        clipped_db=(4, 6, 12),
        shift=-0.02,
        hum_hz=60,
        hum_dbfs=-54.0,
        noise_db=-14.0,
        during_s=(6.3, 12.9),
    ),
}
VOICES = {
    "tune": ("flite:slt", "flite:awb", "flite:rms", "espeak:en-us", "espeak:en-gb-scotland"),
    "report": ("flite:kal16", "espeak:en-gb-x-rp", "espeak:en-029", "espeak:en-us+f4"),
}
REAL = {
    "tune": {
        "speech 1961": ("whisper_jfk.flac",) * 2,
        "speaker at a desk": ("acoustic_corpus.wav",),
    },
    "report": {
        "speaker with a cold": ("cold_corpus.wav",),
        "audiobook, English": recordings.LIBRIVOX,
        "audiobook, Spanish": ("13697_11991_000000.opus",),
    },
}
#: What recordings have of their own, and how it was seen without the take check.
OWN = {
    # 60, 120 and 180 Hz stand 14 to 21 dB over their neighbours; it ends in applause; laid twice
    # one behind the other, it has its leading zeros between
    "speech 1961": frozenset({"hum", "cut off", "drop-out"}),
    # their pauses lie 16 and 9 dB below the voice
    "speaker at a desk": frozenset({"room noise"}),
    "speaker with a cold": frozenset({"room noise"}),
    # a tone of 60 Hz and -57 dBFS throughout, 15 dB over its neighbours
    "audiobook, English": frozenset({"hum"}),
}
#: The recorder's switch clicks louder than the voice; so much is left out at the start.
CLICK_S = {"speaker at a desk": 0.4, "speaker with a cold": 0.4}
LONG_MINUTES = (5, 30, 60)


@dataclass(frozen=True)
class Row:
    """One file checked: result is found, misplaced or missed; clean or false alarm for clean takes."""

    part: str
    take: str
    real: bool
    defect: str
    kind: str
    coding: str
    result: str
    off_s: float | None
    others: str


def material(part: str) -> Iterator[tuple[str, bool, Floats]]:
    """Name, whether it is real, and the clean take of a part."""
    for voice in VOICES[part]:
        words = SENTENCES[50:60]
        tuned = part == "tune"
        yield voice, False, clean_take(voice, 8) if tuned else spoken_take(words, voice, -60.0)
    for name, files in REAL[part].items():
        mono = recordings.sound(files, RATE_HZ)
        if mono is not None:
            mono = mono[int(CLICK_S.get(name, 0) * RATE_HZ) :]
            pair = np.stack([mono, mono], axis=1).astype(float)
            yield name, True, 0.5 * pair / np.abs(pair).max()


def check_take_of(part: str, name: str, real: bool, take: Floats, folder: Path) -> Iterator[Row]:
    """Every defect in every coding, the clean take first."""
    plan = PLANS[part]
    defects = [Defect("clean", "", take, 0, 0), *level_defects(take, plan)]
    defects += [*wave_defects(take, plan), *steady_defects(take, plan)]
    own = OWN.get(name, frozenset())
    for defect in defects:
        if defect.kind in own:
            continue
        wav = write_wav(folder / "take.wav", defect.sound, RATE_HZ)
        for coding in CODINGS:
            file = wav if coding == "wav" else coded(wav, coding)
            result, off_s, others = judge(file, defect, own)
            yield Row(part, name, real, defect.name, defect.kind, coding, result, off_s, others)


def judge(file: Path, defect: Defect, own: frozenset[str]) -> tuple[str, float | None, str]:
    """What was made of a file, how far the place is off in seconds, and other kinds found."""
    faults = check_file(file, file.name).faults
    found = [fault for fault in faults if fault.kind == defect.kind]
    others = ",".join(sorted({f.kind for f in faults} - {defect.kind} - own))
    if not defect.kind:
        return "false alarm" if others else "clean", None, others
    if not found:
        return "missed", None, others
    off = defect.off_s(found[0].start_s, found[-1].end_s)
    return "found" if off <= 0.1 else "misplaced", off, others


def table(part: str, rows: Sequence[Row]) -> None:
    """Print how many of each kind were found alone in each coding, then every row that was not."""
    clean = [row for row in rows if not row.kind]
    good = sum(row.result == "clean" for row in clean)
    takes = {row.take for row in rows}
    print(f"\npart {part}: {len(takes)} takes; clean files without a finding {good}/{len(clean)}")
    print(f"{'kind':14s} " + " ".join(f"{coding:>9s}" for coding in CODINGS) + "   real speech")
    for kind in dict.fromkeys(row.kind for row in rows if row.kind):
        cells = [[r for r in rows if (r.kind, r.coding) == (kind, coding)] for coding in CODINGS]
        cells.append([r for r in rows if r.kind == kind and r.real])
        counts = [f"{sum(map(right, cell))}/{len(cell)}" for cell in cells]
        print(f"{kind:14s} " + " ".join(f"{count:>9s}" for count in counts[:-1]), end="")
        print(f" {counts[-1]:>13s}")
    for row in rows:
        if not right(row):
            off = "" if row.off_s is None else f" {row.off_s:.2f} s"
            beside = f" beside {row.others}" if row.others else ""
            print(f"  {row.take}, {row.defect}, {row.coding}: {row.result}{off}{beside}")


def right(row: Row) -> bool:
    """Whether the file got what it deserves: the one fault in its place, or none."""
    return row.result in ("found", "clean") and not row.others


def peak_mb(minutes: float) -> tuple[float, float]:
    """Most memory in MB of a process that scans and checks a stereo take, and of an idle one."""
    context = multiprocessing.get_context("spawn")
    with context.Pool(1) as pool:
        most: float = pool.apply(_scan_long, (minutes,))
    with context.Pool(1) as pool:
        return most, pool.apply(_scan_long, (0.1,))


def _scan_long(minutes: float) -> float:
    rng = np.random.default_rng(3)
    scanner = Scanner(RATE_HZ, 2)
    at = np.arange(RATE_HZ) / RATE_HZ
    for second in range(round(60 * minutes)):
        voice = 0.2 * np.sin(2 * np.pi * 140 * at) * (second % 5 < 3)
        block = voice[:, None] + rng.normal(0, 1e-3, (RATE_HZ, 2))
        scanner.feed(block.astype(np.float32))
    check_take(scanner.finish())
    return most_mb()


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
    """Check the parts asked for, then memory and speeds."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--part", choices=("tune", "report", "all"), default="report")
    parser.add_argument("--csv", type=Path, help="write a row for every file checked")
    parser.add_argument("--take", default="", help="only takes with this in their name")
    parser.add_argument("--no-long", action="store_true", help="leave memory and speeds out")
    asked = parser.parse_args()
    rows: list[Row] = []
    for part in ("tune", "report") if asked.part == "all" else (asked.part,):
        with tempfile.TemporaryDirectory() as folder:
            for name, real, take in material(part):
                if asked.take in name:
                    rows += check_take_of(part, name, real, take, Path(folder))
        table(part, [row for row in rows if row.part == part])
    if asked.csv:
        with asked.csv.open("w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(field.name for field in fields(Row))
            writer.writerows(astuple(row) for row in rows)
    if asked.no_long:
        return
    for minutes in LONG_MINUTES:
        most, idle = peak_mb(minutes)
        print(f"take of {minutes:2d} min: most memory {most:4.0f} MB, of 6 s: {idle:4.0f} MB")
    speeds()


if __name__ == "__main__":
    main()
