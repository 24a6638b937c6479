"""Narration from take to film: words over their step, a lost take replaced alone, levels on target."""

from __future__ import annotations

import json
import re
import subprocess
import wave
from fractions import Fraction
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
import webvtt

from annotate.cli import main
from tests.annotate.speech.voices import flite
from tests.clips import VideoTrack, even_times, write_clip
from tests.journeys.honest import film_sound

RATE_HZ = 48000
CASE = """\
case: spoken
title: Spoken steps
subject: simulated
height: 240
recordings: [scope.mp4]
steps:
  - {id: look, title: Look, from: 0, to: 6, note: This note gives way to nothing.}
  - {id: clean, title: Clean, from: 6, to: 26, show: fast}
  - {id: close, title: Close, from: 26}
"""


def voice(path: Path, length_s: float, level: float = 0.1, seed: int = 1) -> None:
    """Something that behaves like speech: syllables of shaped noise, with pauses, 0.4 s in and out."""
    rng = np.random.default_rng(seed)
    count = int(length_s * RATE_HZ)
    t = np.arange(count) / RATE_HZ
    tone = sum(
        np.sin(2 * np.pi * f * t + p)
        for f, p in zip((140, 280, 560, 1120, 2240), rng.uniform(0, 6, 5), strict=True)
    )
    syllables = np.clip(np.sin(2 * np.pi * 3.1 * t), 0, 1)
    sound = level * tone * syllables * 0.4 + rng.normal(0, 0.0004, count)
    edge = int(0.4 * RATE_HZ)
    sound[:edge] = rng.normal(0, 0.0004, edge)
    sound[-edge:] = rng.normal(0, 0.0004, edge)
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A 32-second recording and takes of several lengths."""
    write_clip(
        tmp_path / "scope.mp4",
        VideoTrack(even_times(32 * 25, 25), size_px=(320, 240), last_lasts=Fraction(1, 25)),
    )
    (tmp_path / "takes").mkdir()
    for name, length in (("look", 5), ("clean", 8), ("long", 9), ("close", 4)):
        voice(tmp_path / "takes" / f"{name}.wav", length, seed=len(name))
    return tmp_path


def make(folder: Path, narration: str) -> int:
    """Write the case with its narration and make it."""
    (folder / "case.yaml").write_text(CASE + narration, encoding="utf-8")
    return main(["make", str(folder / "case.yaml")])


def steps(folder: Path) -> dict[str, tuple[float, float]]:
    """Where each step lies in the film, seconds."""
    values = json.loads((folder / "out/spoken/step-times.json").read_text("utf-8"))
    return {s["id"]: tuple(float(Fraction(t)) for t in s["cut"]) for s in values["steps"]}


def onset_s(sound: np.ndarray, start_s: float, end_s: float) -> float:
    """When it gets loud between two times."""
    part = np.abs(sound[int(start_s * RATE_HZ) : int(end_s * RATE_HZ)]).max(axis=1)
    return start_s + float(np.flatnonzero(part > 0.1 * part.max())[0]) / RATE_HZ


def test_a_fast_step_waits_for_its_take_and_the_words_start_with_their_step(folder: Path) -> None:
    """20 s at 8x would last 4 s; with an 8 s take the step lasts at least that, its first word in place."""
    assert make(folder, "narration: {look: takes/look.wav, clean: takes/clean.wav}\n") == 0
    found = steps(folder)
    start, end = found["clean"]
    assert 7.5 < end - start < 10
    sound = film_sound(folder / "out/spoken/teaching-cut.mp4")
    for step, (begin, stop) in found.items():
        if step != "close":
            assert onset_s(sound, begin, stop) == pytest.approx(begin + 0.4, abs=0.05)
    begin, stop = found["close"]
    assert np.abs(sound[int((begin + 0.5) * RATE_HZ) : int((stop - 0.2) * RATE_HZ)]).max() < 0.01


def test_the_film_meets_its_loudness_by_another_meter(folder: Path) -> None:
    """The web's speech level, -18 LUFS, and the true peak below -1 dBTP, by ffmpeg's EBU R 128 meter."""
    assert (
        make(
            folder,
            "narration: {look: takes/look.wav, clean: takes/clean.wav, close: takes/close.wav}\n",
        )
        == 0
    )
    done = subprocess.run(
        [
            imageio_ffmpeg.get_ffmpeg_exe(),
            "-nostdin",
            "-hide_banner",
            "-i",
            str(folder / "out/spoken/teaching-cut.mp4"),
            "-af",
            "ebur128=peak=true",
            "-f",
            "null",
            "-",
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    summary = done.stderr.rsplit("Summary:", 1)[1]
    loudness = float(re.search(r"I:\s+(-?[\d.]+) LUFS", summary)[1])  # type: ignore[index]
    peak = float(re.search(r"Peak:\s+(-?[\d.]+) dBFS", summary)[1])  # type: ignore[index]
    assert loudness == pytest.approx(-18, abs=1)
    assert peak <= -1


def test_a_take_too_long_for_a_real_step_is_told_in_seconds_and_words(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """6 s of real time and a take of about 9 s: refused with what is too much; nothing is written."""
    assert make(folder, "narration: {look: takes/long.wav}\n") == 2
    said = capsys.readouterr().out
    assert re.search(
        r"takes/long\.wav: the take of step 'look' needs [89]\.\d s and has 6\.0 s: [23]\.\d s too long, about \d+\s+words",
        said,
    )
    assert not (folder / "out/spoken").exists()


def test_a_step_may_hold_its_last_picture_for_its_take(folder: Path) -> None:
    """The step is longer in the film, not in the room."""
    assert make(folder, "narration: {look: {file: takes/long.wav, late: hold}}\n") == 0
    start, end = steps(folder)["look"]
    assert 8 < end - start < 9.2
    ledger = json.loads((folder / "out/spoken/ledger.json").read_text("utf-8"))
    assert Fraction(ledger["total"]) == 32


def test_a_lost_take_is_named_and_replaced_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A take that dies is told with its place; the new one touches no other step's segments."""
    narration = "narration: {look: takes/look.wav, close: takes/close.wav}\n"
    with wave.open(str(folder / "takes/close.wav"), "rb") as good:
        frames = good.readframes(good.getnframes())
    dead = (
        frames[: len(frames) // 2] + bytes(len(frames) - len(frames) // 2) + bytes(2 * 6 * RATE_HZ)
    )
    with wave.open(str(folder / "takes/close.wav"), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(dead)
    (folder / "case.yaml").write_text(CASE + narration, encoding="utf-8")
    assert main(["check", "--quick", str(folder / "case.yaml")]) == 0
    said = capsys.readouterr().out
    assert "takes/close.wav at 0:0" in said and "takes/look.wav" not in said
    assert main(["make", str(folder / "case.yaml")]) == 0
    kept = {p.name for p in (folder / "out/.teachcut-kept").iterdir()}
    voice(folder / "takes" / "close.wav", 4)
    assert main(["make", str(folder / "case.yaml")]) == 0
    assert {p.name for p in (folder / "out/.teachcut-kept").iterdir()} == kept


def test_one_talk_over_a_cut_is_laid_anew_after_an_edit(folder: Path) -> None:
    """Spoken over the first cut; when a step before moves, each piece still starts with its step."""
    assert make(folder, "") == 0
    before = steps(folder)
    (folder / "talk-map.json").write_bytes((folder / "out/spoken/time-map.json").read_bytes())
    length = int(before["close"][1] * RATE_HZ)
    talk = np.random.default_rng(2).normal(0, 0.0004, length)
    for step, seconds in (("look", 3), ("close", 3)):
        voice(folder / "piece.wav", seconds)
        with wave.open(str(folder / "piece.wav"), "rb") as piece:
            sound = np.frombuffer(piece.readframes(piece.getnframes()), "<i2") / 32767
        at = int((before[step][0] + 0.2) * RATE_HZ)
        talk[at : at + len(sound)] += sound
    with wave.open(str(folder / "talk.wav"), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes((np.clip(talk, -1, 1) * 32767).astype("<i2").tobytes())
    (folder / "case.yaml").write_text(
        CASE.replace("show: fast}", "show: 2x}") + "talk: {file: talk.wav, cut: talk-map.json}\n",
        encoding="utf-8",
    )
    assert main(["make", str(folder / "case.yaml")]) == 0
    after = steps(folder)
    assert after["close"][0] > before["close"][0] + 4
    sound = film_sound(folder / "out/spoken/teaching-cut.mp4")
    for step in ("look", "close"):
        start = after[step][0]
        assert onset_s(sound, start, start + 3) == pytest.approx(start + 0.6, abs=0.1)


SCRIPT = (
    "The hole lies between the canals. Look for the dark edge. The mirror shows it from behind."
)


def test_captions_come_from_the_words_that_were_said(folder: Path) -> None:
    """The script's text exactly, its first word in its place, the note unused."""
    said = flite(SCRIPT, "slt")
    with wave.open(str(folder / "takes/look.wav"), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(16000)
        out.writeframes(
            np.concatenate([np.zeros(4800, np.int16), said.pcm]).astype("<i2").tobytes()
        )
    (folder / "takes/look.txt").write_text(
        SCRIPT + " Nothing of this is said at all.", encoding="utf-8"
    )
    narration = "narration: {look: {file: takes/look.wav, script: takes/look.txt, late: hold}}\n"
    assert make(folder, narration) == 0
    cues = list(webvtt.read(str(folder / "out/spoken/captions.vtt")).captions)
    text = " ".join(" ".join(c.text.splitlines()) for c in cues)
    assert text == SCRIPT
    first = steps(folder)["look"][0] + 0.3 + said.times[0][0]
    hours, minutes, seconds = cues[0].start.split(":")
    shown = int(hours) * 3600 + int(minutes) * 60 + float(seconds)
    assert shown == pytest.approx(first, abs=0.06)


def test_a_sentence_that_was_not_said_is_named(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The warning holds the sentence; the captions do not."""
    test_captions_come_from_the_words_that_were_said(folder)
    assert (
        "the sentence “Nothing of this is said at all.” cannot be heard" in capsys.readouterr().out
    )
