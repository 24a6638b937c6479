"""Word times of the anchored alignment, measured: voices, noise, reverberation, music, length.

    python -m tests.bench.bench_speech [--quick] [--only voices|noise|hand|long] [--minutes 30]

The truth is the synthesiser's own (flite, espeak-ng). Start errors are in ms over the words that were
said and placed; "within" is the share within 0.3 s; "named" the skipped sentences named, of how many,
and others named wrongly. Speed is against processor time of one core. Noise levels are against the
level of the speech where it speaks. Hand-labelled recordings are measured where TEACHCUT_MEDIA holds
``speech/praatio`` (examples of the praatio source package, MIT: wav and TextGrid of the same name).
"""

from __future__ import annotations

import argparse
import os
import re
import time
import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from annotate.speech.align import align_take
from annotate.speech.alignment import Alignment
from annotate.speech.sound import RATE_HZ, Pcm
from chapters.media.takes import Spool, TakeReader
from tests.annotate.speech.narration import SENTENCES, Narration, TrueWord, narrate
from tests.annotate.speech.scoring import Score, score

VOICES = (
    "flite:slt", "flite:rms", "flite:awb", "flite:kal16", "espeak:en-us", "espeak:en",
    "espeak:en-gb-scotland", "espeak:en-us+f4",
)  # fmt: skip
SKIPPED = frozenset({5, 20, 21, 30, 60})
AD_LIB = {
    10: "Sorry, my phone was ringing there, give me a second.",
    30: "Well, I once had a case where everything went wrong.",
    50: "Let me say that one more time.",
}
_HEAD = (
    f"{'take':32} {'words':>5} {'median':>6} {'p95':>5} {'worst':>6} {'within':>7} {'lost':>4} "
    f"{'named':>8} {'matched/2/forced/est/none':>26} {'speed':>6}"
)


def measured(label: str, narration: Narration) -> tuple[Score, Alignment]:
    """Align, print one row, return the score."""
    begun = time.process_time()
    alignment = align_take(narration.pcm, narration.script)
    speed = len(narration.pcm) / RATE_HZ / (time.process_time() - begun)
    result = score(alignment, narration)
    errors = np.abs(result.errors_ms)
    ways = [alignment.count(how) for how in ("matched", "matched2", "forced", "estimated", "none")]
    named = f"{len(result.named & result.skipped)}/{len(result.skipped)}"
    wrong = len(result.named - result.skipped)
    print(
        f"{label:32} {result.said:5} {result.median_ms:6.1f} {result.p95_ms:5.0f} "
        f"{result.worst_ms:6.0f} {100 * np.mean(errors <= 300):6.1f}% {result.lost:4} "
        f"{named + (f' +{wrong}' if wrong else ''):>8} {'/'.join(map(str, ways)):>26} {speed:5.1f}x",
        flush=True,
    )
    return result, alignment


def pooled(label: str, scores: list[Score]) -> None:
    """All words of several takes together."""
    errors = np.abs(np.concatenate([result.errors_ms for result in scores]))
    print(
        f"{label:32} {len(errors):5} {np.median(errors):6.1f} {np.percentile(errors, 95):5.0f} "
        f"{errors.max():6.0f} {100 * np.mean(errors <= 300):6.1f}%"
    )


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


def tiers(text: str) -> Iterator[tuple[float, str]]:
    """Start and word of the word tier of a TextGrid in the long or the short text format."""
    values = re.findall(r'"[^"]*"|-?\d+(?:\.\d+)?(?=\s|$)', text)
    for at, value in enumerate(values):
        if value == '"IntervalTier"' and values[at + 1] in ('"word"', '"words"'):
            count = int(values[at + 4])
            for k in range(at + 5, at + 5 + 3 * count, 3):
                if word := values[k + 2].strip('"'):
                    yield float(values[k]), word.casefold()


def hand_labelled() -> None:
    """Real recordings with words marked by hand, where they are to be had."""
    folder = Path(os.environ.get("TEACHCUT_MEDIA", "")) / "speech" / "praatio"
    errors: list[float] = []
    for sound in sorted(folder.glob("*.wav")):
        for grid in (sound.with_suffix(".TextGrid"), folder / f"{sound.stem}_words.TextGrid"):
            words = list(tiers(grid.read_text("utf-8"))) if grid.is_file() else []
            if not words:
                continue
            with TakeReader(sound, sound.name, RATE_HZ) as reader, Spool(reader) as spool:
                alignment = align_take(spool, " ".join(word for _, word in words) + ".")
            for placed, (start, _) in zip(alignment.words, words, strict=True):
                errors.append(placed.start_ms - 1000 * start)
            break
    if not errors:
        print("hand-labelled recordings: absent (TEACHCUT_MEDIA/speech/praatio)")
        return
    off = np.abs(errors)
    print(
        f"{'hand-labelled recordings':32} {len(off):5} {np.median(off):6.1f} "
        f"{np.percentile(off, 95):5.0f} {off.max():6.0f}   (mean {np.mean(errors):+.0f} ms)"
    )


def voices_part(voices: tuple[str, ...], sentences: tuple[str, ...]) -> None:
    """Every voice, read to the letter and with sentences skipped and added."""
    for label, skip, extra in (
        ("exact", frozenset[int](), {}),
        ("skips, ad-libs", SKIPPED, AD_LIB),
    ):
        takes = ((v, narrate(sentences, v, skip, extra)) for v in voices)
        pooled(f"all voices, {label}", [measured(f"{v}, {label}", take)[0] for v, take in takes])


def noise_part(sentences: tuple[str, ...]) -> None:
    """One voice with sentences skipped and added, in noise, music and a room."""
    clean = narrate(sentences, "flite:slt", SKIPPED, AD_LIB)
    count = len(clean.pcm)
    for label, noise in (("suction", suction), ("drill", drill), ("music", music)):
        for snr_db in (20, 10, 5):
            measured(f"slt, {label} {snr_db} dB", with_noise(clean, noise(count), snr_db))
    measured("slt, room of 0.5 s", in_a_room(clean, 0.5))


def long_part(minutes: float) -> None:
    """One long take in one go, with what Python held at most."""
    take = long_take("flite:slt", minutes)
    tracemalloc.start()
    measured(f"slt, {len(take.pcm) / RATE_HZ / 60:.0f} min in one go", take)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"most that Python held then, the sound itself left out: {peak / 1e6:.0f} MB")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=_AsWritten)
    parser.add_argument("--quick", action="store_true", help="two voices, 32 sentences of 90")
    parser.add_argument("--minutes", type=float, default=30, help="length of the long take")
    parser.add_argument("--only", choices=("voices", "noise", "hand", "long"), help="one part")
    asked = parser.parse_args()
    sentences = SENTENCES[:32] if asked.quick else SENTENCES
    print(_HEAD)
    if asked.only in (None, "voices"):
        voices_part(VOICES[:5:4] if asked.quick else VOICES, sentences)
    if asked.only in (None, "noise"):
        noise_part(sentences)
    if asked.only in (None, "hand"):
        hand_labelled()
    if asked.only in (None, "long"):
        long_part(asked.minutes)


_AsWritten = argparse.RawTextHelpFormatter

if __name__ == "__main__":
    main()
