"""The engine: an encoder that fails midway is replaced, failures leave nothing, progress is told."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.cache import SegmentCache
from annotate.decide import decide
from annotate.engine import Job, encode_film, encode_film_surely
from annotate.inserts import FilmInserts
from annotate.picture.fonts import FontChain
from annotate.progress import silent
from annotate.quality import level
from annotate.render import Planes, silence
from chapters.case import Still
from chapters.casefile import load_case
from chapters.errors import EncoderError
from chapters.media.mux import read_back
from chapters.timemap import CardKind
from tests.clips import VideoTrack, even_times, write_clip

CASE = """\
case: short
title: Short
subject: simulated
recordings: [{file: part.mp4}]
steps:
  - {id: one, title: One, from: 0}
  - {id: two, title: Two, from: 3, show: 8x}
"""


@dataclass
class Failing:
    """Inserts through which drawing fails at the closing card, so many times."""

    inner: FilmInserts
    times: int
    error: Exception = field(default_factory=lambda: EncoderError("film", "the device was lost"))

    def card(self, kind: CardKind, t: Fraction) -> Planes:
        """The card, or the failure."""
        if kind == "closing" and self.times > 0:
            self.times -= 1
            raise self.error
        return self.inner.card(kind, t)

    def still(self, still: Still) -> Planes:
        """As it is."""
        return self.inner.still(still)


def job_of(folder: Path) -> Job:
    """A film of some seconds of a numbered recording."""
    times = even_times(240, 30)
    tags = {"color_range": 1, "colorspace": 1}
    write_clip(folder / "part.mp4", VideoTrack(times, size_px=(320, 240), tags=tags))
    (folder / "case.yaml").write_text(CASE, encoding="utf-8")
    decided = decide(load_case(folder / "case.yaml"), silent)
    fonts = FontChain([], "en")
    inserts = FilmInserts(decided.plan, decided.size_px, fonts, decided.loaded.path_of, "")
    return Job(decided, inserts, fonts, level("draft"), "", workers=2)


def test_an_encoder_that_fails_midway_is_replaced_and_the_film_finished(tmp_path: Path) -> None:
    """The film is whole, made with the other settings; the error is handed back for the log."""
    job = job_of(tmp_path)
    broken = replace(job, inserts=Failing(job.inserts, 1))  # type: ignore[arg-type]
    samples = int(job.decided.plan.film.length * 48000)
    _, error = encode_film_surely(
        broken,
        tmp_path / "film.mp4",
        (),
        lambda: silence(samples),
        SegmentCache(tmp_path / "kept"),
        silent,
        level("club"),
    )
    assert error is not None and "device was lost" in str(error)
    assert read_back(tmp_path / "film.mp4").frame_count == job.decided.plan.film.frame_count


@pytest.mark.parametrize("error", [EncoderError("film", "no"), KeyboardInterrupt()])
def test_a_failure_leaves_no_film_and_keeps_what_is_done(tmp_path: Path, error: Exception) -> None:
    """No file under the film's name; finished segments stay for the next run."""
    job = job_of(tmp_path)
    broken = replace(job, inserts=Failing(job.inserts, 99, error))  # type: ignore[arg-type]
    cache = SegmentCache(tmp_path / "kept")
    with pytest.raises(type(error)):
        encode_film(broken, tmp_path / "film.mp4", (), silence(48000), cache, silent)
    assert not (tmp_path / "film.mp4").exists()
    assert any(cache.folder.glob("*.seg"))
    assert not any(p.name.startswith(".") for p in cache.folder.iterdir())


def test_a_stop_in_the_thread_that_joins_ends_the_others_before_it_goes_on(tmp_path: Path) -> None:
    """Nobody decodes or encodes any more once the stop is told, whoever holds on to where it was."""

    def stopped() -> Iterator[NDArray[np.float32]]:
        yield np.zeros((480, 2), np.float32)
        raise KeyboardInterrupt

    job = job_of(tmp_path)
    with pytest.raises(KeyboardInterrupt) as held:
        cache = SegmentCache(tmp_path / "kept")
        encode_film(job, tmp_path / "film.mp4", (), stopped(), cache, silent)
    assert [t.name for t in threading.enumerate() if t.name.startswith("segment")] == []
    assert held.value.__traceback__ is not None


def test_progress_counts_every_frame_once(tmp_path: Path) -> None:
    """Drawn or kept, the last report is the whole film."""
    job = job_of(tmp_path)
    total = job.decided.plan.film.frame_count
    for _ in range(2):
        told: list[tuple[str, float, float]] = []

        def report(
            stage: str, done: float, whole: float, told: list[tuple[str, float, float]] = told
        ) -> None:
            told.append((stage, done, whole))

        cache = SegmentCache(tmp_path / "kept")
        encode_film(job, tmp_path / "film.mp4", (), silence(48000), cache, report)
        drawn = [(done, whole) for stage, done, whole in told if stage == "drawing"]
        assert drawn[-1] == (total, total)
        assert drawn == sorted(drawn)
