"""Draw the demo recording: two parts, a radiograph and the case file, into a folder.

    python -m sample_clips.draw_recording FOLDER

Everything is drawn by this program from seeded numbers; no camera, no patient, no tooth was used.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import cv2

from chapters.media.drawn import write_recording
from sample_clips import script
from sample_clips.bench import BenchCamera, prepare_bench
from sample_clips.fields import Picture
from sample_clips.layers import Layers, prepare
from sample_clips.optics import FULL_SIZE_PX, Camera
from sample_clips.radiograph import radiograph
from sample_clips.room import room_sound
from sample_clips.view import Microscope

#: ``report(stage, done, total)`` is told how far the work has come.
Report = Callable[[str, float, float], None]


def _silent(stage: str, done: float, total: float) -> None:
    """Report to nobody."""


def part_pictures(
    part: int, layers: Layers, height_px: int, scale: Fraction
) -> Iterator[tuple[int, Picture]]:
    """Time stamp (ticks of ``script.TIME_BASE``) and planar 4:2:0 picture of every frame of a part."""
    _, first, _ = script.PARTS[part]
    camera = Camera(height_px, layers.noise, script.SEED + part)
    scope = Microscope(layers, camera)
    start, stop = script.BENCH_VIEW
    bench = None
    for stamp in script.frame_stamps(part, scale)[0]:
        second = first + float(stamp * script.TIME_BASE / scale)
        if start <= second < stop:
            bench = bench or BenchCamera(prepare_bench(layers.stack[1]), camera)
            yield stamp, bench.picture(second)
        else:
            yield stamp, scope.picture(second)


def draw_part(
    folder: Path,
    part: int,
    layers: Layers,
    *,
    height_px: int,
    scale: Fraction = Fraction(1),
    told: Callable[[int], None] = lambda frames: None,
) -> Path:
    """Draw and write one part; ``told`` hears the number of frames done.

    Raises EncoderError when it cannot be written.
    """
    path = folder / script.PARTS[part][0]

    def counted() -> Iterator[tuple[int, Picture]]:
        for done, frame in enumerate(part_pictures(part, layers, height_px, scale)):
            told(done)
            yield frame

    write_recording(
        path,
        counted(),
        size_px=Camera(height_px, layers.noise, 0).size_px,
        time_base=script.TIME_BASE,
        length_ticks=script.frame_stamps(part, scale)[1],
        sound=room_sound(part, scale),
    )
    return path


def draw_demo(
    folder: Path,
    report: Report = _silent,
    *,
    seconds_scale: Fraction = Fraction(1),
    height_px: int = FULL_SIZE_PX[1],
) -> Path:
    """Draw the whole demo case into ``folder`` and return the path of its case file.

    The two parts are drawn side by side, one a processor core. ``seconds_scale`` below 1 makes
    a shorter recording of the same story (the case file's times stay as they are),
    ``height_px`` a smaller picture. Raises EncoderError when a part cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    layers = prepare()
    counts = [0] * len(script.PARTS)
    whole = sum(len(script.frame_stamps(p, seconds_scale)[0]) for p in range(len(counts)))

    def job(part: int) -> None:
        def told(frames: int) -> None:
            counts[part] = frames
            report("drawing the recording", sum(counts), whole)

        draw_part(folder, part, layers, height_px=height_px, scale=seconds_scale, told=told)

    with ThreadPoolExecutor(max_workers=len(counts)) as workers:
        for done in [workers.submit(job, part) for part in range(len(counts))]:
            done.result()
    _, png = cv2.imencode(".png", radiograph(script.SEED))
    (folder / "radiograph.png").write_bytes(png.tobytes())
    case = folder / "case.yaml"
    case.write_text(case_text(), encoding="utf-8", newline="\n")
    return case


def case_text() -> str:
    """The demo's case file as it ships beside this program."""
    return files("sample_clips").joinpath("case.yaml").read_text(encoding="utf-8")


def main() -> int:
    """Command line of the program."""
    parser = argparse.ArgumentParser(description="Draw the demo recording into a folder.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--height", type=int, default=FULL_SIZE_PX[1], help="picture height, pixels")
    args = parser.parse_args()
    sys.stdout.write(f"{draw_demo(args.folder, height_px=args.height)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
