"""The quick cut: copied and encoded pictures in one film, the right one on every frame."""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from annotate.cache import SegmentCache
from annotate.decide import Decided, decide
from annotate.engine import Job
from annotate.faces import Faces
from annotate.inserts import FilmInserts
from annotate.picture.fonts import FontChain
from annotate.progress import silent
from annotate.quick import QuickPlan, clock_cues, encode_quick, plan_quick
from annotate.sidecars import film_chapters
from annotate.sound.room import room_sound
from chapters.casefile import load_case
from chapters.media.encode import EncoderSettings
from tests.clips import SoundTrack, VideoTrack, even_times, ffmpeg, read_number, write_clip

SIZE = (320, 240)
TAGS = {"color_range": 1, "colorspace": 1, "color_primaries": 1, "color_trc": 1}
CASE = """\
case: quick
title: Quick
subject: simulated
sound: room
recordings: [{file: part.mp4}]
away:
  - {at: 4, lasted: 0:31, reason: telephone}
steps:
  - {id: first, title: Seen in real time, from: 0.7}
  - {id: quick, title: Eight times as fast, from: 8.3, show: 8x}
  - {id: left-out, title: Left out, from: 18, to: 19, show: skip}
  - {id: last, title: Real time again, from: 19}
"""


def write_case(folder: Path, b_frames: int, **change: object) -> None:
    """A numbered recording of 24 s in closed groups of a second, and the case over it."""
    video = VideoTrack(
        even_times(24 * 30, 30),
        size_px=SIZE,
        tags=TAGS,
        b_frames=b_frames,
        options={"x264-params": "scenecut=0:open-gop=0"},
    )
    values = {**video.__dict__, **change}
    ticks = tuple(Fraction(n) + Fraction(1, 4) for n in range(24))
    write_clip(folder / "part.mp4", VideoTrack(**values), SoundTrack(ticks))  # type: ignore[arg-type]
    (folder / "case.yaml").write_text(CASE, encoding="utf-8")


@dataclass(frozen=True)
class Made:
    """A quick cut and what it was made from."""

    folder: Path
    film: Path
    decided: Decided
    plan: QuickPlan

    def expected(self) -> dict[int, int]:
        """The recording's frame number on each footage frame of the film."""
        film, out = self.decided.plan.film, {}
        for j in range(film.frame_count):
            r = film.recording_at(j / film.fps)
            if r is not None:
                out[j] = r * 30 // 1
        return out


def make(folder: Path) -> Made:
    """The quick cut of the folder's case."""
    decided = decide(load_case(folder / "case.yaml"), silent)
    fonts = FontChain([], "en")
    inserts = FilmInserts(decided.plan, decided.size_px, fonts, decided.loaded.path_of, "")
    job = Job(decided, inserts, fonts, EncoderSettings(), "", workers=2)
    plan = plan_quick(decided)
    sound = room_sound(decided.plan.film, decided.recording)
    chapters = film_chapters(decided.plan)
    film = folder / "quick.mp4"
    encode_quick(job, plan, film, chapters, sound, SegmentCache(folder / "kept"), silent)
    return Made(folder, film, decided, plan)


@pytest.fixture(scope="module", params=[0, 2], ids=["no B frames", "B frames"])
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Made:
    """A quick cut of a recording without and with B frames."""
    folder = tmp_path_factory.mktemp("quick")
    write_case(folder, request.param)
    return make(folder)


def wrong_numbers(made: Made, pictures: list[NDArray[np.uint8]]) -> list[tuple[int, int, int]]:
    """Frames on which another number stands than the time map says."""
    expected = made.expected()
    assert len(pictures) == made.decided.plan.film.frame_count
    found = {j: read_number(pictures[j]) for j in expected}
    return [(j, found[j], n) for j, n in expected.items() if found[j] != n]


def test_most_of_the_real_time_is_copied(made: Made) -> None:
    """At the edges of each step up to a group is encoded, all else is the recording's own bytes."""
    assert made.plan.notices == ()
    real = sum(p.cut.length for p in made.decided.plan.film.pieces if p.is_real)
    assert made.plan.copied >= real * 30 - 6 * 30 > 150


def test_pyav_and_ffmpeg_show_the_right_picture_on_every_frame(made: Made) -> None:
    """Equal steps of 1/30 s; read by PyAV and by the ffmpeg program."""
    with av.open(str(made.film)) as box:
        unit = Fraction(box.streams.video[0].time_base or 1)
        frames = [(f.pts * unit, f.to_ndarray()[:240]) for f in box.decode(video=0)]
    assert [t for t, _ in frames] == [Fraction(j, 30) for j in range(len(frames))]
    assert wrong_numbers(made, [np.asarray(y, np.uint8) for _, y in frames]) == []
    raw = ffmpeg("-i", made.film, "-map", "0:v", "-f", "rawvideo", "-pix_fmt", "gray", "-")
    grey = np.frombuffer(raw, np.uint8).reshape(-1, 240, 320)
    assert wrong_numbers(made, list(grey)) == []


def test_opencv_shows_the_right_picture_on_every_frame(made: Made) -> None:
    """Read from the first to the last with OpenCV's own reader."""
    reader = cv2.VideoCapture(str(made.film))
    pictures = []
    while True:
        good, picture = reader.read()
        if not good:
            break
        pictures.append(np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8))
    reader.release()
    assert wrong_numbers(made, pictures) == []


SHOW = """
async ([url, times]) => {
  const video = document.createElement("video");
  video.muted = true;
  video.src = url;
  const told = name => new Promise((yes, no) => {
    video.addEventListener(name, yes, {once: true});
    video.addEventListener("error", () => no(video.error.message), {once: true});
  });
  await told("loadeddata");
  const canvas = new OffscreenCanvas(video.videoWidth, video.videoHeight);
  const context = canvas.getContext("2d", {willReadFrequently: true});
  const out = [];
  for (const t of times) {
    const there = told("seeked");
    // "seeked" may come before the new picture is on screen: a drawn page could still show the old
    const shown = new Promise(yes => video.requestVideoFrameCallback(yes));
    video.currentTime = t;
    await there;
    await shown;
    context.drawImage(video, 0, 0);
    const y = Math.round(video.videoHeight * 0.18);
    const row = context.getImageData(0, y, video.videoWidth, 1).data;
    out.push([...row].filter((_, i) => i % 4 == 1));
  }
  return {duration: video.duration, rows: out};
}
"""


def test_chromium_shows_the_right_picture_wherever_it_is_sought(
    made: Made, driver: Any, chromium_program: str
) -> None:
    """Every frame at the joins and every seventh elsewhere, sought in a page."""
    expected = made.expected()
    joins = {item.first + d for item in made.plan.items for d in (-2, -1, 0, 1, 2)}
    frames = [j for j in expected if j in joins or j % 7 == 0]
    page_file = made.folder / "page.html"
    page_file.write_text("<!doctype html><title>film</title>", encoding="utf-8")
    args = ["--no-sandbox", "--disable-gpu", "--allow-file-access-from-files"]
    running = driver.chromium.launch(executable_path=chromium_program, args=args)
    try:
        page = running.new_page()
        page.goto(page_file.as_uri())
        times = [(j + 0.5) / 30 for j in frames]
        shown = page.evaluate(SHOW, [made.film.as_uri(), times])
    finally:
        running.close()
    rows = [np.tile(np.array(row, np.uint8), (240, 1)) for row in shown["rows"]]
    found = [read_number(row) for row in rows]
    assert found == [expected[j] for j in frames]
    assert abs(shown["duration"] - float(made.decided.plan.film.length)) < 0.05


def test_the_clock_travels_as_timed_text(made: Made) -> None:
    """Away time is on it; what the film's track says is what the cues say, without a gap."""
    plan = made.decided.plan
    cues = clock_cues(Faces(plan.film, plan.rows))
    assert [c.first + c.frames for c in cues][:-1] == [c.first for c in cues][1:]
    assert cues[-1].first + cues[-1].frames == plan.film.frame_count
    srt = ffmpeg("-i", made.film, "-map", "0:s", "-f", "srt", "-").decode()
    for cue in cues:
        assert cue.text.splitlines()[:1] == [] or cue.text.splitlines()[0] in srt
    assert "0:00:35" in srt and "+0:31 away: telephone" in srt and "8" in srt


def test_the_copied_film_says_nothing_of_its_source(made: Made) -> None:
    """No message of the recording's encoder is left in the film."""
    assert b"x264" not in made.film.read_bytes()


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"turn": (90, False, False)}, "turned"),
        ({"pix_fmt": "yuvj420p"}, "yuvj420p"),
        ({"tags": {**TAGS, "colorspace": 6}}, "BT.709"),
        ({"codec": "mpeg4", "tags": {}, "options": {}}, "not H.264"),
        ({"options": {"x264-params": "keyint=30:scenecut=0:open-gop=1:intra-refresh=1"}}, "group"),
        ({"sar": Fraction(4, 3)}, "square"),
    ],
)
def test_what_cannot_be_copied_safely_is_encoded_and_told(
    tmp_path: Path, change: dict[str, object], reason: str
) -> None:
    """Nothing is copied, the notice names the file and says why."""
    write_case(tmp_path, 0, **change)
    plan = plan_quick(decide(load_case(tmp_path / "case.yaml"), silent))
    assert plan.copied == 0
    assert len(plan.notices) == 1 and "part.mp4" in plan.notices[0] and reason in plan.notices[0]


def test_open_groups_are_not_copied(tmp_path: Path) -> None:
    """Pictures that lean on the group before stay with the encoder; the film is right all the same."""
    write_case(tmp_path, 2, options={"x264-params": "scenecut=0:open-gop=1:keyint=30"})
    made = make(tmp_path)
    with av.open(str(made.film)) as box:
        pictures = [np.asarray(f.to_ndarray()[:240], np.uint8) for f in box.decode(video=0)]
    assert wrong_numbers(made, pictures) == []


def test_frames_that_do_not_pass_one_by_one_are_encoded(tmp_path: Path) -> None:
    """A recording that drops frames: nothing is copied where one of its frames is shown twice."""
    times = [Fraction(n, 30) for n in range(24 * 30) if n % 40 != 17]
    write_case(tmp_path, 0, times=tuple(times), numbers=tuple(int(t * 30) for t in times))
    made = make(tmp_path)
    with av.open(str(made.film)) as box:
        pictures = [np.asarray(f.to_ndarray()[:240], np.uint8) for f in box.decode(video=0)]
    numbers = {round(t * 30) for t in times}
    expected = {j: max(n for n in numbers if n <= e) for j, e in made.expected().items()}
    assert {j: read_number(pictures[j]) for j in expected} == expected
    assert json.dumps(made.plan.notices) == "[]"
