"""The small file for the page: the same film in AV1, smaller, nothing lost, nothing added."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from chapters.errors import EncoderError, RecordingError
from chapters.media.encode import EncoderSettings
from chapters.media.mux import read_back
from chapters.media.smallfilm import small_film, small_film_possible
from chapters.media.writer import FilmWriter
from tests.clips import absent, find_ticks, numbered_planes, ticks_sound

SIZE = (320, 240)
TICKS = tuple(Fraction(n) + Fraction(1, 4) for n in range(3))


@pytest.fixture
def film(tmp_path: Path) -> Path:
    """A numbered film of three seconds with ticks, grain and a title."""
    if not small_film_possible():
        absent("the AV1 encoder")
    rng = np.random.default_rng(5)
    sound = np.repeat(ticks_sound(TICKS, Fraction(3), 48000)[:, None], 2, axis=1)
    settings = EncoderSettings(crf=12)
    path = tmp_path / "film.mp4"
    with FilmWriter(path, SIZE, Fraction(30), "A title", sound=True, settings=settings) as writer:
        for n in range(90):
            y, u, v = numbered_planes(n, *SIZE)
            grain = rng.integers(-6, 7, y.shape)
            writer.write(np.clip(y + grain, 16, 235).astype(np.uint8), u, v)
        writer.write_sound(sound)
    return path


def pictures(path: Path) -> list[NDArray[np.float32]]:
    """The luma of every frame."""
    with av.open(str(path)) as box:
        return [np.asarray(f.to_ndarray()[:240], np.float32) for f in box.decode(video=0)]


def test_the_small_film_is_the_same_film(film: Path, tmp_path: Path) -> None:
    """Every frame in its place, the sound where it was, tags, rate and title kept, far fewer bytes."""
    told: list[tuple[int, int]] = []
    out = tmp_path / "small.mp4"
    small_film(film, out, lambda done, total: told.append((done, total)))
    was, now = read_back(film), read_back(out)
    assert [s.codec for s in now.streams[:1]] in (["libdav1d"], ["av1"], ["libaom-av1"])
    assert (now.frame_count, now.fps, now.constant_rate) == (90, Fraction(30), True)
    assert abs(now.duration("audio") - was.duration("audio")) < Fraction(1, 1000)
    assert (now.matrix, now.colour_range, now.metadata["title"]) == (1, 1, "A title")
    before, after = pictures(film), pictures(out)
    nearest = [int(np.argmin([np.abs(b - a).mean() for b in before])) for a in after]
    assert nearest == list(range(90))
    with av.open(str(out)) as box:
        samples = np.concatenate([f.to_ndarray() for f in box.decode(audio=0)], axis=1).T
    assert np.allclose(find_ticks(samples, 48000), [float(t) for t in TICKS], atol=0.002)
    assert out.stat().st_size < 0.45 * film.stat().st_size
    assert told[-1] == (90, 90)


def test_a_film_that_breaks_off_leaves_no_small_one(film: Path, tmp_path: Path) -> None:
    """Stopped by its caller, or fed something else: nothing stays under the name."""
    out = tmp_path / "small.mp4"

    def stop(done: int, total: int) -> None:
        if done == 20:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        small_film(film, out, stop)
    assert not out.exists()
    wrong = tmp_path / "wrong.mp4"
    wrong.write_bytes(b"no film at all")
    with pytest.raises((RecordingError, EncoderError)):
        small_film(wrong, out)
    assert not out.exists()
