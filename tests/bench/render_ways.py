"""The ways of making the same cut that the benchmark compares, each run in a process of its own.

python -m tests.bench.render_ways WAY FOLDER OUT SECONDS
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from annotate.cache import SegmentCache
from annotate.decide import Decided, decide
from annotate.engine import Job, encode_film
from annotate.heap import give_back_large_blocks
from annotate.inserts import FilmInserts
from annotate.picture.fonts import FontChain
from annotate.progress import silent
from annotate.quality import level
from annotate.quick import encode_quick, plan_quick
from annotate.sound.room import room_sound
from chapters.assemble import Card, assemble
from chapters.casefile import load_case
from chapters.media.encode import EncoderSettings
from chapters.media.smallfilm import small_film
from tests.bench.render_input import stretches

V = EncoderSettings(preset="veryfast", crf=20)
#: The output's frames alone, coded like the recording: the input of the limit.
_CAMERA = replace(
    V,
    preset="ultrafast",
    extra=(
        (
            "x264-params",
            "keyint=60:scenecut=0:ref=1:cabac=1:8x8dct=1:deblock=0,0:bframes=0:weightp=0:open-gop=0:"
            "bitrate=10000:vbv-maxrate=12000:vbv-bufsize=15000",
        ),
    ),
)


def ffmpeg_binary() -> str:
    """The program that imageio-ffmpeg brings."""
    import imageio_ffmpeg

    return str(imageio_ffmpeg.get_ffmpeg_exe())


def without_cards(folder: Path, case: str) -> Decided:
    """The case decided, its film without cards: the other ways draw none."""
    decided = decide(load_case(folder / case), silent)
    plan = decided.plan
    elements = tuple(e for e in plan.elements if not isinstance(e, Card))
    film = assemble(
        elements, plan.line, dict(plan.speeds), plan.case.ramp, plan.film.fps, plan.case.length
    )
    return replace(decided, plan=replace(plan, elements=elements, film=film))


def job_of(folder: Path, case: str, settings: EncoderSettings, workers: int = 2) -> Job:
    """The engine's job for a case of the folder."""
    decided = without_cards(folder, case)
    fonts = FontChain([], "en")
    inserts = FilmInserts(decided.plan, decided.size_px, fonts, decided.loaded.path_of, "")
    return Job(decided, inserts, fonts, settings, "", workers=workers)


def engine(folder: Path, out: Path, case: str, settings: EncoderSettings, workers: int = 2) -> None:
    """The cut by the engine; segments are kept beside ``out``."""
    job = job_of(folder, case, settings, workers)
    film, recording = job.decided.plan.film, job.decided.recording
    cache = SegmentCache(out.with_suffix(".kept"))
    encode_film(job, out, (), room_sound(film, recording), cache, silent)


def quick(folder: Path, out: Path) -> None:
    """The quick cut at the club level."""
    job = job_of(folder, "case.yaml", level("club"))
    plan = plan_quick(job.decided)
    sound = room_sound(job.decided.plan.film, job.decided.recording)
    encode_quick(job, plan, out, (), sound, SegmentCache(out.with_suffix(".kept")), silent)
    print(f"copied {plan.copied} of {job.decided.plan.film.frame_count}")


def bare(source: Path, out: Path) -> None:
    """A transcode at V and nothing else."""
    _ffmpeg("-i", str(source), "-an", *_V, str(out))


_V = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-g", "120")


def _ffmpeg(*arguments: str) -> None:
    subprocess.run([ffmpeg_binary(), "-nostdin", "-y", "-v", "error", *arguments], check=True)


def expert(folder: Path, out: Path, seconds: int) -> None:
    """A filter graph: trim, setpts, fps, drawtext of the running clock, concat. No ramps."""
    import matplotlib

    font = Path(matplotlib.get_data_path()) / "fonts/ttf/DejaVuSansMono.ttf"
    shown = [s for s in stretches(seconds) if s[0] != "skip"]
    split = "".join(f"[i{n}]" for n in range(len(shown)))
    graph = [f"[0:v]split={len(shown)}{split}"]
    for n, (kind, start, end) in enumerate(shown):
        speed = 8 if kind == "fast" else 1
        at = f"(t*{speed}+{float(start):.3f})"
        clock = (
            f"%{{eif\\:floor({at}/3600)\\:d}}\\:%{{eif\\:mod(floor({at}/60)\\,60)\\:d\\:2}}\\:"
            f"%{{eif\\:mod(floor({at})\\,60)\\:d\\:2}}"
        )
        graph.append(
            f"[i{n}]trim=start={float(start):.3f}:end={float(end):.3f},"
            f"setpts=(PTS-STARTPTS)/{speed},fps=30,"
            f"drawtext=fontfile={font}:fontsize=48:fontcolor=white:box=1:boxcolor=black@0.6:"
            f"x=60:y=h-120:text='{clock}  Step {n}'[o{n}]"
        )
    joined = "".join(f"[o{n}]" for n in range(len(shown)))
    graph.append(f"{joined}concat=n={len(shown)}[v]")
    source = str(folder / "part.mp4")
    _ffmpeg("-i", source, "-filter_complex", ";".join(graph), "-map", "[v]", *_V, str(out))


def moviepy_first(folder: Path, out: Path, seconds: int) -> None:
    """What a Python user would write first: subclips, a speed change, a text clip for each second."""
    import matplotlib
    from moviepy import (
        CompositeVideoClip,
        TextClip,
        VideoFileClip,
        concatenate_videoclips,
        vfx,
    )

    font = str(Path(matplotlib.get_data_path()) / "fonts/ttf/DejaVuSansMono.ttf")
    source = VideoFileClip(str(folder / "part.mp4"), audio=False)
    parts = []
    for n, (kind, start, end) in enumerate(stretches(seconds)):
        if kind == "skip":
            continue
        speed = 8 if kind == "fast" else 1
        clip = source.subclipped(float(start), float(end))
        if speed != 1:
            clip = clip.with_effects([vfx.MultiplySpeed(speed)])
        layers = [clip]
        for second in range(int(start), int(end)):
            text = f"{second // 3600}:{second // 60 % 60:02d}:{second % 60:02d}  Step {n}"
            label = TextClip(font=font, text=text, font_size=48, color="white", bg_color="black")
            since = max(Fraction(0), second - start) / speed
            lasts = Fraction(1, speed)
            layers.append(
                label.with_start(float(since)).with_duration(float(lasts)).with_position((60, 950))
            )
        parts.append(CompositeVideoClip(layers))
    concatenate_videoclips(parts).write_videofile(
        str(out),
        fps=30,
        codec="libx264",
        preset="veryfast",
        audio=False,
        ffmpeg_params=["-crf", "20"],
        logger=None,
    )


def run(way: str, folder: Path, out: Path, seconds: int) -> None:
    """Run one way, ours as the command line runs it."""
    give_back_large_blocks()
    ways = {
        "limit": lambda: bare(folder / "frames.mp4", out),
        "bare": lambda: bare(folder / "part.mp4", out),
        "cut-V": lambda: engine(folder, out, "case.yaml", V),
        "expert": lambda: expert(folder, out, seconds),
        "moviepy": lambda: moviepy_first(folder, out, seconds),
        "club": lambda: engine(folder, out, "case.yaml", level("club")),
        "club-renamed": lambda: engine(folder, out, "renamed.yaml", level("club")),
        "club-faster": lambda: engine(folder, out, "faster.yaml", level("club")),
        "club-1": lambda: engine(folder, out, "case.yaml", level("club"), 1),
        "draft": lambda: engine(folder, out, "case.yaml", level("draft")),
        "quick": lambda: quick(folder, out),
        "small": lambda: small_film(folder / "cut-V.mp4", out),
    }
    ways[way]()


def write_frames_alone(folder: Path) -> None:
    """``frames.mp4``: the frames of the cut with nothing drawn on them, coded like the recording."""
    job = replace(job_of(folder, "case.yaml", _CAMERA), bare=True)
    film, recording = job.decided.plan.film, job.decided.recording
    cache = SegmentCache(folder / "frames.kept")
    encode_film(job, folder / "frames.mp4", (), room_sound(film, recording), cache, silent)
    cache.clear()


if __name__ == "__main__":
    run(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4]))
