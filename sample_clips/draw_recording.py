"""Draw the demo recording: two parts, a radiograph and the case file, into a folder.

    python -m sample_clips.draw_recording FOLDER

Everything is drawn by this program from seeded numbers; no camera, no patient, no tooth was used.
"""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import cv2

from chapters.errors import InputError
from chapters.media.drawn import write_recording
from chapters.media.files import Staging
from sample_clips import script
from sample_clips.bench import BenchCamera, prepare_bench
from sample_clips.fields import Picture
from sample_clips.layers import Layers, prepare
from sample_clips.optics import FULL_SIZE_PX, Camera
from sample_clips.radiograph import radiograph
from sample_clips.room import room_sound
from sample_clips.view import Microscope

CASE_FILE, RADIOGRAPH = "case.yaml", "radiograph.png"
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
    path: Path,
    part: int,
    layers: Layers,
    *,
    height_px: int,
    scale: Fraction = Fraction(1),
    told: Callable[[int], None] = lambda frames: None,
) -> Path:
    """Draw and write one part to ``path``; ``told`` hears the number of frames done.

    Raises EncoderError when it cannot be written.
    """

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
    layers: Layers | None = None,
) -> Path:
    """Draw the whole demo case into ``folder`` and return the path of its case file.

    The two parts are drawn side by side, one a processor core, and get their names when all is
    done. ``seconds_scale`` below 1 makes a shorter recording of the same story (the case file's
    times stay as they are), ``height_px`` a smaller picture, ``layers`` are those of
    ``prepare`` where they are at hand. Raises InputError when the folder
    holds a case file that somebody has changed, EncoderError, DiskFull or WorkError when
    something cannot be written.
    """
    _keep_what_is_changed(folder)
    with Staging(folder, marker=CASE_FILE) as stage:
        stage.path(CASE_FILE).write_text(case_text(), encoding="utf-8", newline="\n")
        _, png = cv2.imencode(".png", radiograph(script.SEED))
        stage.path(RADIOGRAPH).write_bytes(png.tobytes())
        paths = [stage.path(name) for name, _, _ in script.PARTS]
        report("drawing the scene", 0, 0)
        _draw_parts(paths, report, layers or prepare(), seconds_scale, height_px)
        stage.publish()
    return folder / CASE_FILE


def _keep_what_is_changed(folder: Path) -> None:
    """Refuse a folder whose case file is not the one that ships."""
    case = folder / CASE_FILE
    if case.is_file() and case.read_bytes().replace(b"\r\n", b"\n") != case_text().encode():
        raise InputError(
            f"{case}: differs from the demo's case file; to make it as it is, run teachcut make "
            f"{case}, or give the demo another folder"
        )


def _draw_parts(
    paths: Sequence[Path], report: Report, layers: Layers, seconds_scale: Fraction, height_px: int
) -> None:
    """Draw all parts at once; when one fails or the user stops, the others stop too."""
    counts = [0] * len(paths)
    whole = sum(len(script.frame_stamps(p, seconds_scale)[0]) for p in range(len(paths)))
    stop = threading.Event()

    def job(part: int) -> None:
        def told(frames: int) -> None:
            counts[part] = frames
            if stop.is_set():
                raise _Stopped

        draw_part(paths[part], part, layers, height_px=height_px, scale=seconds_scale, told=told)

    with ThreadPoolExecutor(max_workers=len(paths)) as workers:
        jobs = [workers.submit(job, part) for part in range(len(paths))]
        try:
            left = set(jobs)
            while left:
                done, left = wait(left, timeout=0.25, return_when=FIRST_COMPLETED)
                report("drawing the recording", sum(counts), whole)
                for one in done:
                    one.result()
        except BaseException:
            stop.set()
            raise


class _Stopped(Exception):
    """Raised in a drawing thread when the work is to stop."""


def case_text() -> str:
    """The demo's case file as it ships beside this program."""
    return files("sample_clips").joinpath(CASE_FILE).read_text(encoding="utf-8")


def main() -> int:
    """Command line of the program."""
    parser = argparse.ArgumentParser(description="Draw the demo recording into a folder.")
    parser.add_argument("folder", type=Path)
    parser.add_argument(
        "--height", type=int, default=FULL_SIZE_PX[1], help="picture height, pixels"
    )
    args = parser.parse_args()
    sys.stdout.write(f"{draw_demo(args.folder, height_px=args.height)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
