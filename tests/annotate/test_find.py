"""What ``find`` tells of a recording: parts end to end, cuts, dull stretches, holes; text and JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from annotate.find import Found, FoundPart, _seen, find, find_quickly, found_json, found_text
from chapters.errors import RecordingError
from chapters.media.probe import probe
from chapters.proposals import Change, StepProposal
from chapters.scenecuts import SceneCut
from chapters.spans import Span
from chapters.stillness import StillStretch
from chapters.times import RecordingTime
from tests.scenes import Grey, shot


def write(path: Path, pictures: list[Grey], times: list[Fraction] | None = None) -> Path:
    """A small H.264 recording of grey pictures at 30 frames a second or at the given times."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"crf": "18", "g": "30"})
        stream.height, stream.width = pictures[0].shape
        stream.pix_fmt = "yuv420p"
        stream.codec_context.time_base = Fraction(1, 90000)
        for n, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(np.repeat(picture[:, :, None], 3, 2), format="rgb24")
            frame.time_base = Fraction(1, 90000)
            frame.pts = round((times[n] if times else Fraction(n, 30)) * 90000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def test_a_cut_carries_the_exact_time_of_its_first_frame(tmp_path: Path) -> None:
    """Read from a real file, the cut stands at frame 40 of 30 a second, to the tick."""
    found = find([write(tmp_path / "a.mp4", shot(1, 40) + shot(2, 40))])

    assert [c.at for c in found.scene_cuts] == [Fraction(40, 30)]
    assert found.parts[0].frames == 80


def test_parts_lie_end_to_end(tmp_path: Path) -> None:
    """A cut in the second part is told in recording time, and the joint of one take is no cut."""
    take = shot(1, 60)
    first = write(tmp_path / "a.mp4", take[:40])
    second = write(tmp_path / "b.mp4", take[40:] + shot(3, 40))
    found = find([first, second])

    assert [(p.start, p.length) for p in found.parts] == [
        (0, Fraction(4, 3)),
        (Fraction(4, 3), Fraction(2)),
    ]
    assert [c.at for c in found.scene_cuts] == [Fraction(2)]


def test_a_jump_between_two_parts_is_a_cut(tmp_path: Path) -> None:
    """Where the second part shows another view, the cut stands at its first frame."""
    found = find([write(tmp_path / "a.mp4", shot(1, 40)), write(tmp_path / "b.mp4", shot(2, 40))])

    assert [c.at for c in found.scene_cuts] == [Fraction(4, 3)]


def test_time_stamps_not_frame_numbers_give_the_time(tmp_path: Path) -> None:
    """In a recording at uneven times the cut has the time of its frame, not number over rate."""
    rng = np.random.default_rng(7)
    gaps = rng.integers(2400, 6000, 80)
    times = [Fraction(int(t), 90000) for t in np.concatenate([[0], np.cumsum(gaps)])[:80]]
    found = find([write(tmp_path / "v.mp4", shot(1, 40) + shot(2, 40), times)])

    assert [c.at for c in found.scene_cuts] == [times[40]]


def test_a_file_without_a_picture_is_refused_by_name(tmp_path: Path) -> None:
    """A text file posing as a recording is one clear sentence that names it."""
    bad = tmp_path / "notes.mp4"
    bad.write_text("not a recording", encoding="utf-8")

    with pytest.raises(RecordingError, match=r"notes\.mp4"):
        find([bad])


def test_progress_runs_up_to_the_whole(tmp_path: Path) -> None:
    """Progress is told in seconds of recording, growing, with the length in all."""
    told: list[tuple[Fraction, Fraction]] = []
    find(
        [write(tmp_path / "a.mp4", shot(1, 120))],
        progress=lambda done, whole: told.append((done, whole)),
    )

    assert told == sorted(told)
    assert {whole for _, whole in told} == {Fraction(4)}


FOUND = Found(
    parts=(
        FoundPart("scope-001.mp4", Fraction(0), Fraction(100), 3000),
        FoundPart("scope-002.mp4", Fraction(100), Fraction(4001, 30), 4001, ("rate varies",)),
    ),
    scene_cuts=(SceneCut(RecordingTime(Fraction(3001, 30)), "stop", 0.91),),
    still=(StillStretch(Span(Fraction(5), Fraction(65)), "still", 0.8),),
    holes=(Span(Fraction(110), Fraction(112)),),
)


def test_json_has_the_promised_shape() -> None:
    """Parts, scene_cuts with at, kind and confidence, still with from, to and kind."""
    data = json.loads(found_json(FOUND))

    assert data["scene_cuts"] == [{"at": 100.033333, "kind": "stop", "confidence": 0.91}]
    assert data["still"] == [{"from": 5.0, "to": 65.0, "kind": "still", "strength": 0.8}]
    assert data["holes"] == [{"from": 110.0, "to": 112.0}]
    assert [p["from"] for p in data["parts"]] == [0.0, 100.0]
    assert data["parts"][1]["notices"] == ["rate varies"]


def test_text_tells_the_same() -> None:
    """Every finding has its line, times to the millisecond."""
    text = found_text(FOUND)

    assert "2 parts, 3:53 in all" in text
    assert "0:01:40.033  stop     confidence 0.91" in text
    assert "0:00:05.0 to 0:01:05.0    1:00  still    strength 0.80" in text
    assert "0:01:50.000 to 0:01:52.000  no pictures" in text
    assert "rate varies" in text


def test_text_says_none_where_nothing_was_found() -> None:
    """A recording without cuts or dull stretches says so instead of saying nothing."""
    text = found_text(Found((FoundPart("a.mp4", Fraction(0), Fraction(3), 90),), (), (), ()))

    assert text.count("none") == 4


def test_steps_and_changes_are_told_with_their_reasons() -> None:
    """Text and JSON say where a step may begin, why, and how it could be shown."""
    change = Change(RecordingTime(Fraction(65)), 0.7, "something moves again after 1:00")
    step = StepProposal(
        Span(Fraction(5), Fraction(65)), "", "fast", "from here on nothing moves", "nothing moves"
    )
    spoken = Span(Fraction(70), Fraction(75))
    found = replace(FOUND, changes=(change,), proposals=(step,), speech=(spoken,))
    data = json.loads(found_json(found))
    text = found_text(found)

    assert data["changes"] == [{"at": 65.0, "strength": 0.7, "reason": change.reason}]
    assert data["steps"] == [
        {
            "from": 5.0,
            "to": 65.0,
            "show": "fast",
            "reason": "from here on nothing moves",
            "why": "nothing moves",
        }
    ]
    assert data["speech"] == [{"from": 70.0, "to": 75.0}]
    assert "0:01:05.0  strength 0.70  something moves again after 1:00" in text
    assert " 1  0:00:05.0    1:00  fast  from here on nothing moves\n" in text
    assert "0:01:10.0 to 0:01:15.0  somebody speaks" in text


def test_whoever_listens_is_heard_in_recording_time(tmp_path: Path) -> None:
    """Speech of the second part is told along both parts, and may begin a step."""
    first = write(tmp_path / "a.mp4", shot(1, 60))
    second = write(tmp_path / "b.mp4", shot(1, 60, start=60))
    found = find([first, second], listen=lambda path, _: [Span(Fraction(1, 2), Fraction(1))])

    assert found.speech == (
        Span(Fraction(1, 2), Fraction(1)),
        Span(Fraction(5, 2), Fraction(3)),
    )


@pytest.fixture(scope="module")
def moving(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A view that moves all the time: three views, and in the last one a jump within the view."""
    views = shot(1, 200) + shot(2, 190) + shot(3, 220) + shot(3, 200, start=900)
    return write(tmp_path_factory.mktemp("moving") / "a.mp4", views)


def test_a_quick_look_finds_every_cut_between_views(moving: Path) -> None:
    """In a moving view it leaves out groups of pictures, and no cut; each time is its frame's."""
    found = find_quickly([moving])

    assert [(c.at, c.kind) for c in found.scene_cuts if c.kind != "stop"] == [
        (Fraction(200, 30), "cut"),
        (Fraction(390, 30), "cut"),
    ]
    assert {c.at for c in found.scene_cuts} <= {c.at for c in find([moving]).scene_cuts}


def test_a_quick_look_tells_no_time_that_it_has_not_seen(moving: Path) -> None:
    """A jump between two key pictures is not told at the second of them."""
    probed = FoundPart("a.mp4", Fraction(0), Fraction(27), 810)
    facts = [(moving, probe(moving, "a.mp4"))]
    at = RecordingTime(Fraction(630, 30))

    def told(frames: int) -> bool:
        return _seen(
            SceneCut(at, "stop", 0.9, RecordingTime(at - Fraction(frames, 30))), [probed], facts
        )

    assert told(1)
    assert not told(30)
    assert _seen(SceneCut(at, "fade", 0.9, RecordingTime(at - 1)), [probed], facts)


def test_a_quick_finding_says_what_it_did_not_look_for() -> None:
    """No empty list or "none" stands where nobody looked."""
    quick = replace(FOUND, still=(), quick=True)
    text, data = found_text(quick), json.loads(found_json(quick))

    assert text.endswith(
        "Not looked for: jumps within one view, dull stretches, speech, changes, steps\n"
    )
    assert "none" not in text
    assert data["quick"]
    assert set(data) == {"parts", "scene_cuts", "holes", "quick"}


def test_a_stretch_in_which_nothing_moves_is_told(tmp_path: Path) -> None:
    """Eight seconds of one standing picture after moving ones are one still stretch."""
    moving = shot(1, 60, pan_px=1.0, tool_px=6)
    found = find([write(tmp_path / "a.mp4", moving + [moving[-1]] * 240)])

    assert [s.kind for s in found.still] == ["still"]
    assert abs(found.still[0].span.start - 2) <= 1
    assert found.still[0].span.end == 10
