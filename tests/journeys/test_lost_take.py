"""A take that dies half-way: named, replaced alone, and only its own step drawn again."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import webvtt

from annotate.cli import main
from annotate.decide import decide
from annotate.progress import silent
from annotate.segments import Segment, split
from chapters.casefile import load_case
from chapters.spans import Span
from tests.annotate.speech.voices import flite
from tests.clips import VideoTrack, even_times, write_clip
from tests.journeys.honest import film_pictures
from tests.journeys.test_heard_words import package, write_wav

RATE_HZ = 16_000
SAID = {
    "look": "The hole lies between the canals. Look for the dark edge.",
    "clean": "Rinse the whole field with water. Then dry it with a gentle stream of air, and wait.",
    "close": "Fill it from the floor to the top.",
}
#: What is cut off by the failing recorder, by the file's own time.
DIES_AT_S = 2.5
CASE = """\
case: lost
title: A lost take
subject: simulated
height: 128
captions_in_picture: yes
recordings: [scope.mp4]
steps:
  - {id: look, title: Look, from: 0, to: 8}
  - {id: clean, title: Clean, from: 8, to: 40, show: fast}
  - {id: close, title: Close, from: 40}
narration:
"""


@pytest.fixture
def case(tmp_path: Path) -> Path:
    """Three spoken steps; the fast one's take falls silent in the middle of its second sentence."""
    package("pocketsphinx")
    write_clip(tmp_path / "scope.mp4", VideoTrack(even_times(48 * 25, 25), size_px=(160, 128)))
    lines = []
    for step, words in SAID.items():
        write_take(tmp_path, step, words)
        lines.append(f'  {step}: {{file: {step}.wav, script: "{words}"}}\n')
    whole = write_take(tmp_path, "clean", SAID["clean"])
    write_wav(
        tmp_path / "clean.wav", np.where(np.arange(len(whole)) < DIES_AT_S * RATE_HZ, whole, 0)
    )
    (tmp_path / "case.yaml").write_text(CASE + "".join(lines), encoding="utf-8")
    return tmp_path / "case.yaml"


def write_take(folder: Path, step: str, words: str, pause_s: float = 0.3) -> np.ndarray:
    """A take in a room that is never quite silent, a pause before and after the words."""
    pause = np.zeros(round(pause_s * RATE_HZ), np.int16)
    pcm = np.concatenate([pause, flite(words, "slt").pcm, pause])
    pcm = pcm + np.random.default_rng(3).normal(0, 8, len(pcm)).astype(np.int16)
    write_wav(folder / f"{step}.wav", pcm)
    return pcm


def run(command: str, case: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The warnings about takes of a command that goes well."""
    capsys.readouterr()
    assert main([command, "--json", str(case)]) == 0
    (values,) = json.loads(capsys.readouterr().out)
    return [line for line in values["warnings"] if ".wav" in line]


def kept_segments(case: Path) -> set[str]:
    """Names of the kept segments that hold pictures (those that hold words are JSON)."""
    kept = (case.parent / "out/.teachcut-kept").glob("*.seg")
    return {path.name for path in kept if path.read_bytes()[:1] != b"{"}


def segments_by_step(case: Path) -> dict[str | None, list[Segment]]:
    """The film's segments, by the step they lie in; None is for the cards."""
    decided = decide(load_case(case), silent)
    film = decided.plan.film
    out: dict[str | None, list[Segment]] = {}
    for segment in split(film, decided.recording.key_times):
        piece = film.piece_at(Fraction(segment.first) / film.fps)
        out.setdefault(piece.step, []).append(segment)
    return out


def step_frames(case: Path, step: str) -> list[np.ndarray]:
    """The film's pictures of one step."""
    film = decide(load_case(case), silent).plan.film
    cut = film.step_cut(step)
    assert isinstance(cut, Span)
    first, last = round(cut.start * film.fps), round(cut.end * film.fps)
    return film_pictures(case.parent / "out/lost/teaching-cut.mp4")[first:last]


def test_a_lost_take_is_named_and_its_step_alone_is_made_again(
    case: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """check names file, place and the words that are lacking; the new take costs its own segments only."""
    told = run("check", case, capsys)
    assert told and all(line.startswith("clean.wav at 0:0") for line in told)
    assert any(line.startswith("clean.wav at 0:02") for line in told)
    assert any("cannot be heard" in line and "stream of air" in line for line in told)
    assert run("make", case, capsys) == told

    before, places = kept_segments(case), segments_by_step(case)
    frames = {step: step_frames(case, step) for step in ("look", "close")}
    write_take(case.parent, "clean", SAID["clean"], pause_s=0.9)
    assert run("check", case, capsys) == []
    assert run("make", case, capsys) == []

    after = segments_by_step(case)
    assert after["clean"][-1].last - after["clean"][0].first > (
        places["clean"][-1].last - places["clean"][0].first
    )
    assert len(kept_segments(case) - before) == len(after["clean"])
    for step, old in frames.items():
        new = step_frames(case, step)
        assert len(new) == len(old)
        assert all(np.array_equal(a, b) for a, b in zip(old, new, strict=True))
    sheet = (case.parent / "out/lost/cue-sheet.txt").read_text("utf-8")
    assert all(f"   say:   {words}\n" in sheet for words in SAID.values())
    cues = webvtt.read(str(case.parent / "out/lost/captions.vtt")).captions
    assert " ".join(" ".join(cue.text.split()) for cue in cues) == " ".join(SAID.values())
