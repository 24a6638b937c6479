"""The demo recording is what its tables say: time stamps, scene cuts, still stretch, flash, sound."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.plan import make_plan
from annotate.sidecars import make_words
from chapters.assemble import make_line
from chapters.casefile import load_case
from chapters.errors import InputError
from sample_clips import script, truth
from sample_clips.draw_recording import case_text, draw_demo, draw_part
from sample_clips.layers import Layers, prepare
from sample_clips.radiograph import radiograph

#: The tests draw the whole story eight times as fast and a quarter as high.
SCALE = Fraction(1, 8)
HEIGHT_PX = 180
README = Path(__file__).parent.parent / "sample_clips" / "README.md"


@dataclass(frozen=True)
class Drawn:
    """The demo as independent reading finds it: recording time and small RGB of every frame."""

    case: Path
    stamps: list[list[Fraction]]
    lengths: list[Fraction]
    at: NDArray[np.float64]
    exact: list[Fraction]
    small: NDArray[np.float32]
    told: list[tuple[str, float, float]]


@pytest.fixture(scope="module")
def layers() -> Layers:
    """The prepared scene."""
    return prepare()


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory, layers: Layers) -> Drawn:
    """The demo drawn once, read back with PyAV alone."""
    told: list[tuple[str, float, float]] = []
    folder = tmp_path_factory.mktemp("demo") / "teachcut-demo"
    case = draw_demo(
        folder, lambda *r: told.append(r), seconds_scale=SCALE, height_px=HEIGHT_PX, layers=layers
    )
    stamps, lengths, exact, small = [], [], [], []
    for name, _, _ in script.PARTS:
        before = sum(lengths, Fraction(0))
        with av.open(str(folder / name)) as found:
            stream = found.streams.video[0]
            own = []
            for frame in found.decode(stream):
                own.append(frame.pts * stream.time_base)
                picture = frame.to_ndarray(format="rgb24")[:, 70:250].astype(np.float32)
                small.append(picture.reshape(18, 10, 18, 10, 3).mean(axis=(1, 3)))
            stamps.append(own)
            lengths.append(stream.duration * stream.time_base)
        exact += [before + at for at in own]
    at = np.array([float(e) for e in exact])
    return Drawn(case, stamps, lengths, at, exact, np.array(small), told)


def steps_of(drawn: Drawn) -> NDArray[np.float64]:
    """Mean change of picture from each frame to the next."""
    return np.abs(np.diff(drawn.small, axis=0)).mean(axis=(1, 2, 3))


def test_every_frame_has_the_time_stamp_of_the_tables(drawn: Drawn) -> None:
    """Both parts carry exactly the time stamps and the length that the script computes."""
    for part, found in enumerate(drawn.stamps):
        stamps, length = script.frame_stamps(part, SCALE)
        assert found == [s * script.TIME_BASE for s in stamps]
        assert drawn.lengths[part] == length * script.TIME_BASE == truth.part_length(part, SCALE)


def test_the_frame_rate_varies_as_the_truth_says(drawn: Drawn) -> None:
    """Frames are 1/15 s apart in low light and 1/25 s elsewhere, and jitter in between."""
    gaps = np.diff(drawn.at)
    dim = np.zeros(len(gaps), bool)
    for start, stop in truth.low_light(SCALE):
        dim |= (drawn.at[:-1] >= float(start)) & (drawn.at[1:] < float(stop))
    assert np.median(gaps[dim]) == pytest.approx(1 / 15, abs=0.001)
    assert np.median(gaps[~dim]) == pytest.approx(1 / 25, abs=0.001)
    assert len({g for g in np.round(gaps, 6)}) > 20


def test_scene_cuts_fall_on_the_frames_of_the_truth(drawn: Drawn) -> None:
    """At each scene cut the picture changes far more than before and after it, on that very frame."""
    change = steps_of(drawn)
    for cut, _ in truth.scene_cuts(SCALE):
        first = drawn.exact.index(cut)
        around = np.r_[change[first - 6 : first - 1], change[first : first + 5]]
        assert change[first - 1] > 3 * around.max()


def test_the_still_stretch_is_still_and_the_rest_is_not(drawn: Drawn) -> None:
    """In the still stretch only noise changes from frame to frame, and on average nothing drifts."""
    change = steps_of(drawn)
    start, stop = (float(t) for t in truth.still(SCALE))
    pause = float(truth.pause(SCALE))
    within = (drawn.at[1:] > start) & (drawn.at[1:] < stop)
    busy = (drawn.at[:-1] >= start - 2) & (drawn.at[1:] < start - 0.5)
    assert within.sum() > 30
    assert np.quantile(change[within], 0.9) < 0.5 * np.median(change[busy])
    for first, last in ((start, pause), (pause, stop)):
        shown = drawn.small[(drawn.at >= first) & (drawn.at < last)]
        half = len(shown) // 2
        drift = np.abs(shown[:half].mean(axis=0) - shown[half:].mean(axis=0))
        assert drift.max() < 5


def test_the_curing_light_is_blue_from_its_first_frame_to_its_last(drawn: Drawn) -> None:
    """Blue outweighs red in the field exactly on the frames between the two times of the truth."""
    on, off = truth.blue_light(SCALE)
    middle = drawn.small[:, 6:12, 6:12].mean(axis=(1, 2))
    blue = middle[:, 2] > 1.5 * middle[:, 0]
    shown = [e for e, b in zip(drawn.exact, blue, strict=True) if b]
    assert shown == [e for e in drawn.exact if on <= e < off]
    assert on in shown and off in drawn.exact


def sound_of(path: Path) -> tuple[float, NDArray[np.float32]]:
    """Start in seconds and samples of the first channel."""
    with av.open(str(path)) as found:
        stream = found.streams.audio[0]
        blocks = [(f.pts * stream.time_base, f.to_ndarray()[0]) for f in found.decode(stream)]
    return float(blocks[0][0]), np.concatenate([b for _, b in blocks])


def test_ticks_are_heard_where_the_truth_has_them(drawn: Drawn) -> None:
    """Each tick of the explorer starts within 2 ms of its time, and the room is never silent."""
    before = Fraction(0)
    for part, (name, _, _) in enumerate(script.PARTS):
        start, samples = sound_of(drawn.case.parent / name)
        length = drawn.lengths[part]
        assert len(samples) / 48000 + start == pytest.approx(float(length), abs=0.05)
        assert np.abs(samples[4800:9600]).max() > 1e-4
        for tick in truth.ticks(SCALE):
            own = float(tick - before)
            if not 0 <= own < float(length):
                continue
            at = round((own - start) * 48000)
            loud = np.flatnonzero(np.abs(samples[at - 400 : at + 400]) > 0.15)
            assert abs(loud[0] - 400) < 96
        before += length


def test_the_recording_carries_nothing_about_where_it_was_made(drawn: Drawn) -> None:
    """No creation time, no name, no place: only what MP4 itself needs."""
    for name, _, _ in script.PARTS:
        with av.open(str(drawn.case.parent / name)) as found:
            kept = dict(found.metadata)
        assert set(kept) <= {"major_brand", "minor_version", "compatible_brands", "encoder"}


def test_progress_rises_to_the_number_of_frames(drawn: Drawn) -> None:
    """Whoever watches hears of all frames of both parts."""
    counts = [(done, total) for stage, done, total in drawn.told if total]
    assert counts == sorted(counts)
    assert counts[-1][1] == len(drawn.exact)
    assert counts[-1][0] >= len(drawn.exact) - 2


def test_the_same_program_draws_the_same_bytes(layers: Layers, tmp_path: Path) -> None:
    """Drawing is seeded: two runs give two equal files."""
    made = [
        draw_part(tmp_path / f"{i}.mp4", 1, layers, height_px=90, scale=Fraction(1, 60))
        for i in (0, 1)
    ]
    assert made[0].read_bytes() == made[1].read_bytes()


def test_what_is_stopped_leaves_nothing(layers: Layers, tmp_path: Path) -> None:
    """An interruption while drawing ends both threads and leaves no file in the folder."""

    def stop(stage: str, done: float, total: float) -> None:
        if total:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        draw_demo(tmp_path / "demo", stop, height_px=90, layers=layers)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []
    assert threading.active_count() == 1 or not [
        t for t in threading.enumerate() if "ThreadPool" in t.name
    ]


def test_a_changed_case_file_is_not_overwritten(tmp_path: Path) -> None:
    """A folder whose case file somebody edited is refused before anything is drawn."""
    case = tmp_path / "case.yaml"
    case.write_text(case_text() + "# my own note\n", encoding="utf-8")
    with pytest.raises(InputError, match="differs from the demo's case file"):
        draw_demo(tmp_path)
    assert case.read_text(encoding="utf-8").endswith("# my own note\n")
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]


def test_the_case_file_tells_the_story_of_the_script(drawn: Drawn) -> None:
    """The case names the parts that are drawn, and its steps and times away fall on the truth."""
    case = load_case(drawn.case).case
    assert [part.file for part in case.parts] == [name for name, _, _ in script.PARTS]
    cuts = [at for at, _ in truth.scene_cuts()]
    assert set(cuts) <= {step.start for step in case.steps}
    assert [away.at for away in case.away] == [truth.pause()]
    assert case.publishable
    assert case.steps[-1].start < sum(truth.part_length(i) for i in (0, 1))
    stills = [still.file for step in case.steps for still in step.stills]
    assert stills and all((drawn.case.parent / name).is_file() for name in stills)


def test_the_demo_film_has_its_wished_length_and_its_notes_can_be_read(drawn: Drawn) -> None:
    """All four kinds of time occur, the film has the length the case asks for, no note is too long."""
    case = load_case(drawn.case).case
    lengths = [truth.part_length(i) for i in range(len(script.PARTS))]
    plan = make_plan(case, make_line(case, lengths), Fraction(1, script.NORMAL_FPS))
    assert plan.film.length == case.length
    assert min(plan.ledger.real, plan.ledger.fast, plan.ledger.not_shown, plan.ledger.away) > 0
    assert make_words(plan).too_long == ()
    assert {row.against_expect for row in plan.rows} >= {"within", "longer", ""}


def test_the_readme_carries_the_truth() -> None:
    """The table in sample_clips/README.md is the one that the program makes."""
    assert truth.truth_table() in README.read_text(encoding="utf-8")


def flashes_per_second(drawn: Drawn) -> Iterator[int]:
    """Pairs of opposing changes of relative luminance in each second of the story.

    A change counts from 0.1 on where the darker picture is below 0.8: WCAG 2.2, definition of
    "general flash and red flash thresholds". Relative luminance from sRGB as WCAG 2.2 defines it.
    """
    level = drawn.small / 255
    linear = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)
    light = (linear @ np.array([0.2126, 0.7152, 0.0722])).mean(axis=(1, 2))
    turns: list[tuple[float, int]] = []
    low = high = light[0]
    for at, value in zip(drawn.at / float(SCALE), light, strict=True):
        low, high = min(low, value), max(high, value)
        if value - low >= 0.1 and low < 0.8:
            turns.append((at, 1))
            low = high = value
        elif high - value >= 0.1 and value < 0.8:
            turns.append((at, -1))
            low = high = value
    for second in range(int(drawn.at[-1] / float(SCALE)) + 1):
        within = [way for at, way in turns if second <= at < second + 1]
        yield sum(a != b for a, b in pairwise(within))


def test_the_demo_flashes_no_more_than_three_times_a_second(drawn: Drawn) -> None:
    """WCAG 2.2, success criterion 2.3.1: no more than three flashes in any second."""
    assert max(flashes_per_second(drawn)) <= 3


def test_the_radiograph_is_drawn_grey_with_a_dark_hole_and_light_metal() -> None:
    """The still shows air dark, tooth lighter, metal lightest; the same seed draws it again."""
    picture = radiograph(script.SEED)
    assert picture.shape == (600, 800)
    assert (picture == radiograph(script.SEED)).all()
    air, root, metal = (
        picture[60:90, 60:120].mean(),
        picture[400:430, 325:335].mean(),
        picture.max(),
    )
    assert air < 60 < root < 200 < metal
