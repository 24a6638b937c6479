"""How much the render costs against other ways of making the same cut.

    TEACHCUT_MEDIA=folder-of-clips python -m tests.bench.bench_render [--seconds 300] [--rounds 3]

Builds its input from real clips, runs every way in turn, round after round, each in its own
process, prints the table and writes it as CSV. CPU seconds are those of the process and all that
it starts; on a shared machine only their ratios count.
"""

from __future__ import annotations

import argparse
import csv
import os
import re
import resource
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass
from multiprocessing import get_context
from pathlib import Path

import av

from tests.bench.render_input import find_clips, find_sound, write_case, write_recording
from tests.bench.render_ways import ffmpeg_binary, write_frames_alone

WAYS = (
    *("limit", "cut-V", "expert", "moviepy", "club", "club-renamed", "club-faster"),
    *("quick", "small", "bare", "club-1"),
)


@dataclass(frozen=True)
class Cost:
    """What one run took."""

    cpu_s: float
    wall_s: float
    peak_mib: float
    frames: int
    size_mb: float


@dataclass(frozen=True)
class Row:
    """One line of the table: ``way`` against ``other``, per frame where the cuts differ in length."""

    what: str
    way: str
    other: str
    goal: float
    per_frame: bool = False
    measure: str = "cpu_s"


ROWS = (
    Row("cut at V / bare transcode of the output's frames", "cut-V", "limit", 1.05, True),
    Row("cut at V / expert's filter graph", "cut-V", "expert", 0.90, True),
    Row("cut at V / first moviepy", "cut-V", "moviepy", 0.45, True),
    Row("club level / cut at V", "club", "cut-V", 0.55),
    Row("club level / cut at V, size", "club", "cut-V", 1.05, measure="size_mb"),
    Row("small AV1 / cut at V", "small", "cut-V", 0.60),
    Row("small AV1 / cut at V, size", "small", "cut-V", 0.45, measure="size_mb"),
    Row("quick cut / bare transcode of the recording", "quick", "bare", 0.12),
    Row("again, a step renamed / first time", "club-renamed", "club", 0.15),
    Row("again, a fast step changed / first time", "club-faster", "club", 0.05),
    Row(
        "two workers / one worker, wall (0.5 is perfect)", "club", "club-1", 0.575, False, "wall_s"
    ),
)
MOST_MIB = 400


def measure(way: str, folder: Path, seconds: int) -> Cost:
    """Run one way and weigh it."""
    out = folder / f"{way}.mp4"
    kept = out.with_suffix(".kept")
    shutil.rmtree(kept, ignore_errors=True)
    if way in ("club-renamed", "club-faster"):
        shutil.copytree(folder / "club.kept", kept)
    command = [sys.executable, "-m", "tests.bench.render_ways", way, str(folder), str(out)]
    environment = {**os.environ, "PYTHONHASHSEED": "0"}
    before, began = _spent(), time.monotonic()
    child = subprocess.Popen([*command, str(seconds)], env=environment)
    _, status, used = os.wait4(child.pid, 0)
    if status != 0:
        raise SystemExit(f"{way} failed")
    wall, cpu = time.monotonic() - began, _spent() - before
    with av.open(str(out)) as box:
        frames = sum(1 for p in box.demux(video=0) if p.size)
    return Cost(cpu, wall, used.ru_maxrss / 1024, frames, out.stat().st_size / 1e6)


def _spent() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def write_input(recording: Path, seconds: int, cache: Path) -> None:
    """Write the recording from the clips that can be had."""
    write_recording(recording, seconds, find_clips(cache), find_sound(cache))


def _in_process(work: Callable[..., None], *values: object) -> None:
    child = get_context("spawn").Process(target=work, args=values)
    child.start()
    child.join()
    if child.exitcode != 0:
        raise SystemExit("the input of the benchmark could not be made")


def ratio(row: Row, round_: dict[str, Cost]) -> float:
    """One round's ratio."""
    one, other = round_[row.way], round_[row.other]
    value = float(getattr(one, row.measure)) / float(getattr(other, row.measure))
    return value * other.frames / one.frames if row.per_frame else value


def vmaf(film: Path, against: Path) -> float:
    """Mean VMAF of one film against another, frame by frame."""
    graph = (
        "[0:v]settb=1/30,setpts=N[a];[1:v]settb=1/30,setpts=N[b];"
        "[a][b]libvmaf=n_subsample=5:n_threads=2"
    )
    command = [ffmpeg_binary(), "-nostdin", "-hide_banner", "-i", str(film), "-i", str(against)]
    done = subprocess.run(
        [*command, "-lavfi", graph, "-f", "null", "-"], capture_output=True, text=True, check=True
    )
    found = re.search(r"VMAF score: ([\d.]+)", done.stderr)
    assert found is not None
    return float(found[1])


def write_runs(path: Path, kept: dict[int, dict[str, Cost]]) -> None:
    """Every run as a line of CSV."""
    with path.open("w", encoding="utf-8", newline="") as file:
        runs = csv.writer(file)
        runs.writerow(["round", "way", "cpu_s", "wall_s", "peak_mib", "frames", "size_mb"])
        for number, costs in kept.items():
            for way, cost in costs.items():
                runs.writerow([number, way, *(f"{v:.2f}" for v in astuple(cost))])


def read_runs(path: Path) -> dict[int, dict[str, Cost]]:
    """The runs of ``write_runs``: by round and way."""
    kept: dict[int, dict[str, Cost]] = {}
    if path.exists():
        with path.open(encoding="utf-8", newline="") as file:
            for number, way, *values in list(csv.reader(file))[1:]:
                cpu, wall, peak, frames, size = (float(v) for v in values)
                kept.setdefault(int(number), {})[way] = Cost(cpu, wall, peak, int(frames), size)
    return kept


def table(rounds: Sequence[dict[str, Cost]]) -> list[list[str]]:
    """Rows of text: what, goal, CPU ratio min/median/max, median wall ratio, rounds, met or not."""
    out = []
    for row in ROWS:
        both = [r for r in rounds if row.way in r and row.other in r]
        if not both:
            continue
        values = sorted(ratio(row, r) for r in both)
        walls = [r[row.way].wall_s / r[row.other].wall_s for r in both]
        middle = statistics.median(values)
        out.append(
            [
                row.what,
                f"{row.goal:.3g}",
                *(f"{v:.3f}" for v in (values[0], middle, values[-1])),
                f"{statistics.median(walls):.2f}",
                str(len(both)),
                "yes" if middle <= row.goal else "no",
            ]
        )
    return out


def peaks(rounds: Sequence[dict[str, Cost]]) -> list[list[str]]:
    """Rows of text: the most memory of our own ways, MiB."""
    out = []
    for way in ("cut-V", "club", "quick"):
        values = sorted(r[way].peak_mib for r in rounds if way in r)
        if values:
            shown = [f"{v:.0f}" for v in (values[0], statistics.median(values), values[-1])]
            met = "yes" if values[-1] <= MOST_MIB else "no"
            name = f"peak memory of {way}, MiB"
            out.append([name, str(MOST_MIB), *shown, "", str(len(values)), met])
    return out


HEAD = ["what", "goal", "min", "median", "max", "wall ratio", "rounds", "met"]


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=int, default=300)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path, default=Path("bench-render"))
    parser.add_argument("--ways", nargs="*", default=list(WAYS), choices=WAYS)
    parser.add_argument(
        "--from-round",
        type=int,
        default=0,
        help="go on with the runs kept: the first round's number",
    )
    parser.add_argument("--no-vmaf", action="store_true", help="leave out the scores at the end")
    args = parser.parse_args()
    folder: Path = args.folder
    folder.mkdir(parents=True, exist_ok=True)
    recording = folder / "part.mp4"
    if not recording.exists():
        # in a process of its own: a child's peak memory is never below its parent's
        _in_process(write_input, recording, args.seconds, folder / "clips")
    write_case(folder / "case.yaml", recording.name, args.seconds)
    write_case(folder / "renamed.yaml", recording.name, args.seconds, renamed=True)
    write_case(folder / "faster.yaml", recording.name, args.seconds, faster=True)
    if not (folder / "frames.mp4").exists():
        _in_process(write_frames_alone, folder)
    kept = read_runs(folder / "runs.csv") if args.from_round else {}
    first = args.from_round or 1
    for number in range(first, first + args.rounds):
        for way in args.ways:
            cost = kept.setdefault(number, {})[way] = measure(way, folder, args.seconds)
            write_runs(folder / "runs.csv", kept)
            print(f"{number} {way:13} " + " ".join(f"{v:9.2f}" for v in astuple(cost)), flush=True)
    rounds = list(kept.values())
    rows = table(rounds) + peaks(rounds)
    for name in () if args.no_vmaf else ("club", "small"):
        if (folder / f"{name}.mp4").exists():
            score = vmaf(folder / f"{name}.mp4", folder / "cut-V.mp4")
            rows.append(
                [f"VMAF of {name} against the cut at V", "", "", f"{score:.2f}", "", "", "", ""]
            )
    with (folder / "table.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEAD, *rows])
    for line in [HEAD, *rows]:
        print(f"{line[0]:52} " + " ".join(f"{cell:>9}" for cell in line[1:]))


if __name__ == "__main__":
    main()
