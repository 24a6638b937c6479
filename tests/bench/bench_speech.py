"""Word times of the anchored alignment, measured: voices, noise, reverberation, music, length.

    python -m tests.bench.bench_speech [--quick] [--only voices|noise|real|long] [--minutes 30]
                                       [--csv FILE]

The truth is the synthesiser's own (flite, espeak-ng). Start errors are in ms over the words that were
said and placed; "within" is the share within 0.3 s; "named" the skipped sentences named, of how many,
and others named wrongly. Speed is against processor time of one core. Noise levels are against the
level of the speech where it speaks. Real recordings with word times as in recordings.py: two
sentences marked by hand, and one speaker twice, without a script, whose word times come with the
package and lie on a grid of 10 ms (who set them is not said there); the script there is what was
said without "uh" and "um".
"""

from __future__ import annotations

import argparse
import csv
import multiprocessing
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from annotate.speech.align import align_take
from annotate.speech.alignment import Alignment
from annotate.speech.sound import RATE_HZ, Pcm
from chapters.media.takes import Spool, TakeReader
from tests.annotate.sound.clips import write_wav
from tests.annotate.speech.narration import SENTENCES, Narration, TrueWord, narrate
from tests.annotate.speech.scoring import Score, score
from tests.bench import recordings
from tests.bench.memory import most_mb

VOICES = (
    "flite:slt", "flite:rms", "flite:awb", "flite:kal16", "espeak:en-us", "espeak:en",
    "espeak:en-gb-scotland", "espeak:en-gb-x-rp", "espeak:en-029", "espeak:en-us+f4",
)  # fmt: skip
SKIPPED = frozenset({5, 20, 21, 30, 60})
AD_LIB = {
    10: "Sorry, my phone was ringing there, give me a second.",
    30: "Well, I once had a case where everything went wrong.",
    50: "Let me say that one more time.",
}
_HEAD = (
    f"{'take':36} {'words':>5} {'median':>6} {'p95':>5} {'worst':>6} {'within':>7} {'lost':>4} "
    f"{'named':>8} {'matched/2/forced/est/none':>26} {'speed':>6}"
)


#: Recordings with word times: sound, its times, and whether they were set by hand.
LABELLED = (
    ("bobby.wav", "bobby_words.TextGrid", "by hand"),
    ("mary.wav", "mary.TextGrid", "by hand"),
    ("acoustic_corpus.wav", "acoustic_corpus.TextGrid", "10 ms grid"),
    ("cold_corpus.wav", "cold_corpus.TextGrid", "10 ms grid"),
)
#: No script holds these; they are said all the same.
FILLERS = ("uh", "um")
_WAYS = ("matched", "matched2", "forced", "estimated", "none")


class Table:
    """Rows printed as they come and kept for the CSV file."""

    def __init__(self) -> None:
        self.rows: list[dict[str, object]] = []

    def add(self, label: str, result: Score, alignment: Alignment, speed: float) -> None:
        """One take."""
        errors = np.abs(result.errors_ms)
        ways = [alignment.count(how) for how in _WAYS]
        hits, wrong = len(result.named & result.skipped), len(result.named - result.skipped)
        named = f"{hits}/{len(result.skipped)}" + (f" +{wrong}" if wrong else "")
        self._figures(label, errors, f"{result.said:5}")
        print(
            f" {result.lost:4} {named:>8} {'/'.join(map(str, ways)):>26} {speed:5.1f}x",
            flush=True,
        )
        self.rows[-1] |= {
            "words_said": result.said,
            "words_lost": result.lost,
            "sentences_skipped": len(result.skipped),
            "sentences_named": hits,
            "named_wrongly": wrong,
            **dict(zip(_WAYS, ways, strict=True)),
            "times_real_time": round(speed, 1),
        }

    def pool(self, label: str, errors: np.ndarray) -> None:
        """Words of several takes together, or of one without further figures."""
        self._figures(label, np.abs(errors), f"{len(errors):5}")
        print(flush=True)

    def note(self, label: str, unit: str, value: float) -> None:
        """A figure of another kind."""
        print(f"{label}: {value:.0f} {unit}", flush=True)
        self.rows.append({"take": label, unit: round(value)})

    def _figures(self, label: str, errors: np.ndarray, count: str) -> None:
        median, p95, worst = np.median(errors), np.percentile(errors, 95), errors.max()
        within = 100 * float(np.mean(errors <= 300))
        print(f"{label:36} {count} {median:6.1f} {p95:5.0f} {worst:6.0f} {within:6.1f}%", end="")
        figures = {"words": len(errors), "median_ms": median, "p95_ms": p95, "worst_ms": worst}
        self.rows.append(
            {"take": label, **{k: round(float(v), 1) for k, v in figures.items()}}
            | {"within_300_ms_percent": round(within, 1)}
        )

    def write(self, path: Path) -> None:
        """All rows as CSV."""
        names = list(dict.fromkeys(name for row in self.rows for name in row))
        with path.open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, names, lineterminator="\n")
            writer.writeheader()
            writer.writerows(self.rows)


def measured(table: Table, label: str, narration: Narration) -> Score:
    """Align, add one row, return the score."""
    begun = time.process_time()
    alignment = align_take(narration.pcm, narration.script)
    speed = len(narration.pcm) / RATE_HZ / (time.process_time() - begun)
    result = score(alignment, narration)
    table.add(label, result, alignment, speed)
    return result


def speech_rms(pcm: Pcm) -> float:
    """Root mean square of the loud half of 10 ms frames."""
    frames = pcm[: len(pcm) // 160 * 160].astype(float).reshape(-1, 160)
    power = np.sort((frames**2).mean(axis=1))
    return float(np.sqrt(power[len(power) // 2 :].mean()))


def with_noise(narration: Narration, noise: np.ndarray, snr_db: float) -> Narration:
    """The take with noise at a level below its speech."""
    gain = speech_rms(narration.pcm) / 10 ** (snr_db / 20) / np.sqrt(np.mean(noise**2))
    mixed = narration.pcm + gain * noise[: len(narration.pcm)]
    return replace(narration, pcm=np.clip(mixed, -32768, 32767).astype(np.int16))


def shaped(count: int, low_hz: float, high_hz: float, rng: np.random.Generator) -> np.ndarray:
    """Noise between two frequencies."""
    spectrum = np.fft.rfft(rng.normal(0, 1, count))
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    spectrum[(hz < low_hz) | (hz > high_hz)] = 0
    return np.fft.irfft(spectrum, count)


def suction(count: int) -> np.ndarray:
    """A hiss that is on for three quarters of the time, in bouts of some seconds."""
    rng = np.random.default_rng(11)
    on = np.repeat(rng.random(count // (2 * RATE_HZ) + 1) < 0.75, 2 * RATE_HZ)[:count]
    return shaped(count, 200, 6000, rng) * on


def drill(count: int) -> np.ndarray:
    """A whine of 700 to 1100 Hz with its harmonics, on for half of the time."""
    rng = np.random.default_rng(12)
    t = np.arange(count) / RATE_HZ
    pitch = 900 + 200 * np.sin(2 * np.pi * 0.21 * t)
    phase = 2 * np.pi * np.cumsum(pitch) / RATE_HZ
    on = np.repeat(rng.random(count // (3 * RATE_HZ) + 1) < 0.5, 3 * RATE_HZ)[:count]
    whine = sum(np.sin(k * phase) / k for k in range(1, 6))
    return np.asarray((whine + 0.2 * shaped(count, 2000, 7000, rng)) * on)


def music(count: int) -> np.ndarray:
    """Plucked chords over a bass, 100 beats a minute, a note a beat and voice."""
    rng = np.random.default_rng(13)
    beat = round(0.6 * RATE_HZ)
    out = np.zeros(count + 4 * beat)
    t = np.arange(3 * beat) / RATE_HZ
    for start in range(0, count, beat):
        for base in (110, 220, 330, 440):
            hz = base * 2 ** (rng.integers(0, 5) / 6)
            note = sum(np.sin(2 * np.pi * hz * k * t) / k**1.5 for k in range(1, 7))
            out[start : start + len(t)] += note * np.exp(-2.5 * t)
    return out[:count]


def in_a_room(narration: Narration, decay_s: float) -> Narration:
    """The take through a room whose sound falls by 60 dB in ``decay_s`` (RT60), direct sound first."""
    rng = np.random.default_rng(14)
    count = round(decay_s * RATE_HZ)
    tail = rng.normal(0, 1, count) * 10 ** (-3 * np.arange(count) / count)
    tail *= 0.7 / np.sqrt(np.sum(tail**2))
    tail[0] = 1
    size = len(narration.pcm) + count
    wet = np.fft.irfft(np.fft.rfft(narration.pcm, size) * np.fft.rfft(tail, size), size)
    pcm = np.clip(wet[: len(narration.pcm)], -32768, 32767).astype(np.int16)
    return replace(narration, pcm=pcm)


def long_take(voice: str, minutes: float) -> Narration:
    """The narration over and over with one script, skipping and adding along the way."""
    once = narrate(SENTENCES, voice, skip=SKIPPED, ad_lib=AD_LIB)
    times = max(1, round(60 * minutes * RATE_HZ / len(once.pcm)))
    words: list[TrueWord] = []
    for k in range(times):
        late = k * len(once.pcm) / RATE_HZ
        for word in once.words:
            start = None if word.start_s is None else word.start_s + late
            end = None if word.end_s is None else word.end_s + late
            words.append(TrueWord(word.text, start, end, word.sentence + k * len(SENTENCES)))
    return Narration(np.tile(once.pcm, times), " ".join([once.script] * times), tuple(words))


def real_part(table: Table) -> None:
    """Real recordings with word times, where they are to be had; said where they are not."""
    for kind in dict.fromkeys(kind for _, _, kind in LABELLED):
        errors: list[float] = []
        for sound, times, how in LABELLED:
            path = recordings.find(sound)
            words = [(at, word) for at, word in recordings.words(times) if word not in FILLERS]
            if how != kind or path is None or not words:
                continue
            with TakeReader(path, sound, RATE_HZ) as reader, Spool(reader) as spool:
                alignment = align_take(spool, " ".join(word for _, word in words) + ".")
            placed = zip(alignment.words, words, strict=True)
            some = [w.start_ms - 1000 * start for w, (start, _) in placed if w.placed != "none"]
            lost = len(words) - len(some)
            table.pool(f"{sound}, {kind}" + (f", {lost} lost" if lost else ""), np.array(some))
            errors += some
        if errors:
            table.pool(f"real speech, {kind}", np.array(errors))
            table.note(f"real speech, {kind}: mean of the signed errors", "ms", np.mean(errors))


def voices_part(table: Table, voices: tuple[str, ...], sentences: tuple[str, ...]) -> None:
    """Every voice, read to the letter and with sentences skipped and added."""
    for label, skip, extra in (
        ("exact", frozenset[int](), {}),
        ("skips, ad-libs", SKIPPED, AD_LIB),
    ):
        takes = ((v, narrate(sentences, v, skip, extra)) for v in voices)
        scores = [measured(table, f"{voice}, {label}", take) for voice, take in takes]
        table.pool(f"all voices, {label}", np.concatenate([s.errors_ms for s in scores]))


def noise_part(table: Table, sentences: tuple[str, ...]) -> None:
    """One voice with sentences skipped and added, in noise, music and a room."""
    clean = narrate(sentences, "flite:slt", SKIPPED, AD_LIB)
    count = len(clean.pcm)
    for label, noise in (("suction", suction), ("drill", drill), ("music", music)):
        for snr_db in (20, 10, 5):
            measured(table, f"slt, {label} {snr_db} dB", with_noise(clean, noise(count), snr_db))
    measured(table, "slt, room of 0.5 s", in_a_room(clean, 0.5))


def long_part(table: Table, minutes: float) -> None:
    """A short and a long take, each in one go by a process of its own, with the most memory it took."""
    for length in (5, minutes):
        take = long_take("flite:slt", length)
        with tempfile.TemporaryDirectory() as folder:
            wav = write_wav(Path(folder) / "take.wav", take.pcm[:, None] / 32767, RATE_HZ)
            with multiprocessing.get_context("spawn").Pool(1) as pool:
                alignment, took_s, most = pool.apply(_align_file, (wav, take.script))
        seconds = len(take.pcm) / RATE_HZ
        label = f"slt, {seconds / 60:.0f} min in one go"
        table.add(label, score(alignment, take), alignment, seconds / took_s)
        table.note(f"{label}: most memory of the process", "MB", most)


def _align_file(wav: Path, script: str) -> tuple[Alignment, float, float]:
    begun = time.process_time()
    with TakeReader(wav, wav.name, RATE_HZ) as reader, Spool(reader) as spool:
        alignment = align_take(spool, script)
    return alignment, time.process_time() - begun, most_mb()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=_AsWritten)
    parser.add_argument("--quick", action="store_true", help="two voices, 32 sentences of 90")
    parser.add_argument("--minutes", type=float, default=30, help="length of the long take")
    parser.add_argument("--only", choices=("voices", "noise", "real", "long"), help="one part")
    parser.add_argument("--csv", type=Path, help="write the rows to this file, too")
    asked = parser.parse_args()
    sentences = SENTENCES[:32] if asked.quick else SENTENCES
    table = Table()
    print(_HEAD)
    if asked.only in (None, "voices"):
        voices_part(table, VOICES[:5:4] if asked.quick else VOICES, sentences)
    if asked.only in (None, "noise"):
        noise_part(table, sentences)
    if asked.only in (None, "real"):
        real_part(table)
    if asked.only in (None, "long"):
        long_part(table, asked.minutes)
    if asked.csv:
        table.write(asked.csv)


_AsWritten = argparse.RawTextHelpFormatter

if __name__ == "__main__":
    main()
