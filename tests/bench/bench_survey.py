"""How fast a recording is read for cuts: ratios against a plain decode, and whether a cut is lost.

    python -m tests.bench.bench_survey [--folder FOLDER] [--seconds 60]

Three 1080p recordings at 30 frames a second are made from real clips (sources.py, TEACHCUT_MEDIA),
coded as recorders do: constant rate, a key picture every 2 s, none at cuts, no B pictures.
*moving* is hand-held and never still, with three cuts between views and a blue flash. *steady* is
clamped, with sensor noise, an instrument for three seconds, one cut, and one cut away and back
for half a second inside one group of pictures. *clamped* is made of its groups: stillness but for that
cut away and back. CPU seconds are the evidence: other work on the
machine changes them less than the clock. *decode, no loop filter* is what no pass that decodes every
frame can beat. The peak of the memory is that of the whole run so far.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from chapters.media.probe import Probe, probe
from chapters.media.survey import Tally, key_survey, survey
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from tests.bench import edits
from tests.bench.edits import Picture
from tests.bench.sources import CLIPS, locate, pictures

WIDTH_PX, HEIGHT_PX, FPS = 1920, 1080, 30
GROUP = 2 * FPS
NAMES = ("sam2_02_cups.mp4", "sam2_04_coffee.mp4", "mdnla_rabbit.mp4")


def films(cache: Path, count: int) -> list[list[Picture]]:
    """The first frames of the real clips; exits where one cannot be had."""
    out = []
    for name in NAMES:
        clip = next(c for c in CLIPS if c.name == name)
        path = locate(clip, cache)
        if path is None:
            raise SystemExit(f"MISSING: {name} cannot be had; name its folder in TEACHCUT_MEDIA")
        out.append(pictures(path, 0, count, (WIDTH_PX // 2, HEIGHT_PX // 2)))
    return out


def noise(rng: np.random.Generator, sigma: float) -> list[np.ndarray]:
    """A few grey noise pictures to be added in turn."""
    return [np.round(rng.normal(0, sigma, (HEIGHT_PX, WIDTH_PX, 1))) for _ in range(6)]


def moving(cache: Path, seconds: int) -> Iterator[tuple[Picture, bool]]:
    """(picture, whether it begins another view): drift, tremor, noise, a flash."""
    rng = np.random.default_rng(1)
    clips, grain = films(cache, 150), noise(rng, 2.5)
    count = seconds * FPS
    cuts = [round(count * part) + 10 for part in (0.2, 0.55, 0.8)]
    dx = dy = 0.0
    for n in range(count):
        film = clips[sum(n >= cut for cut in cuts) % len(clips)]
        place = n % (2 * len(film) - 2)
        picture = film[min(place, 2 * len(film) - 2 - place)]
        dx, dy = 0.97 * dx + rng.normal(0, 2), 0.97 * dy + rng.normal(0, 2)
        shake = (dx + 3 * np.sin(n * 1.6) - 90, dy + 3 * np.cos(n * 1.7) - 50)
        matrix = np.array([[2.1, 0, shake[0]], [0, 2.1, shake[1]]], np.float32)
        large = cv2.warpAffine(picture, matrix, (WIDTH_PX, HEIGHT_PX)) + grain[n % 6]
        if count // 3 <= n < count // 3 + 12:
            large = large * 0.4 + np.array([250, 60, 25])
        yield edits.clipped(large), n in cuts


def steady(cache: Path, seconds: int) -> Iterator[tuple[Picture, bool]]:
    """(picture, whether it begins another view): nothing moves but noise and one instrument."""
    rng = np.random.default_rng(3)
    clips, grain = films(cache, 1), noise(rng, 2.0)
    views = [cv2.resize(film[0], (WIDTH_PX, HEIGHT_PX)) for film in (clips[0], clips[2])]
    count = seconds * FPS
    away, cut = count // 3 + 12, count * 5 // 6
    last = 0
    for n in range(count):
        now = int(n >= cut or away <= n < away + 25)
        large = views[now] + grain[int(rng.integers(6))]
        if count // 2 <= n < count // 2 + 3 * FPS:
            tip = (960 + round(200 * np.sin(n / 9)), 500)
            cv2.line(large, tip, (1700, 1080), (210, 210, 215), 40)
        yield edits.clipped(large), now != last
        last = now


def encode(path: Path, frames: Iterator[tuple[Picture, bool]]) -> list[int]:
    """Write the frames as a recorder would; numbers of those that begin another view."""
    options = {
        "preset": "superfast",
        "b": "10M",
        "maxrate": "10M",
        "bufsize": "10M",
        "g": str(GROUP),
    }
    options |= {"sc_threshold": "0", "bf": "0", "refs": "1", "nal-hrd": "cbr", "threads": "2"}
    borders = []
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=FPS, options=options)
        stream.width, stream.height, stream.pix_fmt = WIDTH_PX, HEIGHT_PX, "yuv420p"
        for n, (picture, border) in enumerate(frames):
            if border:
                borders.append(n)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
        container.mux(stream.encode())
    return borders


def clamped(source: Path, path: Path) -> list[int]:
    """Copy groups of the steady recording: long stillness, and the cut away and back in its midst."""
    with av.open(str(source)) as given, av.open(str(path), "w") as container:
        stream = given.streams.video[0]
        packets = [packet for packet in given.demux(stream) if packet.size]
        groups = [packets[n : n + GROUP] for n in range(0, len(packets), GROUP)]
        away = len(packets) // 3 // GROUP
        still, lead = groups[: away - 1], 2 * (away - 1) * GROUP
        copy = container.add_stream_from_template(stream)
        data = [bytes(p) for group in [*still * 2, groups[away], *still * 4] for p in group]
        keys = [p.is_keyframe for group in [*still * 2, groups[away], *still * 4] for p in group]
        for n, (each, key) in enumerate(zip(data, keys, strict=True)):
            packet: av.Packet = av.Packet(each)  # type: ignore[type-arg]
            packet.stream, packet.time_base, packet.is_keyframe = copy, Fraction(1, FPS), key
            packet.pts = packet.dts = n
            container.mux(packet)
    first = len(packets) // 3 + 12
    return [n - away * GROUP + lead for n in (first, first + 25)]


def cpu_s() -> float:
    """CPU seconds of this process so far."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def plain(path: Path, options: dict[str, str]) -> str:
    """Decode every frame on one core and look at none."""
    with av.open(str(path)) as container:
        container.streams.video[0].thread_type = "NONE"
        container.streams.video[0].codec_context.options = options
        return f"{sum(1 for _ in container.decode(video=0))} frames"


def peak_mb() -> float:
    """Most memory this process has held so far."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1 << 20 if sys.platform == "darwin" else 1 << 10)


def row(name: str, work: Callable[[], str], facts: Probe, reference_s: float | None) -> float:
    """Do the work, print its line, give its CPU seconds."""
    before = cpu_s()
    said = work()
    took = cpu_s() - before
    times = float(facts.length) / took
    ratio = f"{took / reference_s:6.2f}" if reference_s else "  1.00"
    print(f"  {name:28}{ratio}{times:9.1f}{2 * times:9.1f}{peak_mb():8.0f}   {said}")
    return took


def cuts_with(path: Path, facts: Probe, care: str, borders: list[int], lost: list[str]) -> str:
    """Find with one care; hits, losses and false alarms against the truth. ``lost`` grows by losses."""
    tally, reader = Tally(), SignalReader()
    for time, luma, tint in survey(path, facts, care=care, workers=2, tally=tally):  # type: ignore[arg-type]
        reader.feed(time, luma, tint)
    found = {cut.at for cut in find_cuts(reader.finish(facts.length))}
    truth = {Fraction(n, FPS) for n in borders}
    lost += [f"{path.name}, care={care}: {float(at):.3f} s" for at in sorted(truth - found)]
    return (
        f"cuts {len(found & truth)} of {len(truth)}, false {len(found - truth)}, "
        f"groups left out {tally.skipped} of {tally.groups}"
    )


def main() -> None:
    """Make the recordings that are not there yet, measure, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.bench_survey")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "cut-corpus")
    parser.add_argument("--seconds", type=int, default=60)
    args = parser.parse_args()
    cv2.setNumThreads(1)
    lost: list[str] = []
    args.folder.mkdir(parents=True, exist_ok=True)
    print(f"{'1080p30, 10 Mbit/s':30}{'CPU':>6}{'x real':>9}{'on two':>9}{'peak':>8}")
    print(f"{'':30}{'ratio':>6}{'time':>9}{'cores':>9}{'MB':>8}")
    for name in ("moving", "steady", "clamped"):
        path = args.folder / f"{name}-{args.seconds}.mp4"
        truth = path.with_suffix(".txt")
        if not truth.is_file():
            if name == "clamped":
                borders = clamped(args.folder / f"steady-{args.seconds}.mp4", path)
            else:
                make = moving if name == "moving" else steady
                borders = encode(path, make(args.folder, args.seconds))
            truth.write_text(" ".join(map(str, borders)), encoding="utf-8", newline="\n")
        borders = [int(word) for word in truth.read_text(encoding="utf-8").split()]
        facts = probe(path, path.name)
        print(f"{name}: {facts.frame_count} frames")
        reference = row("plain decode", lambda p=path: plain(p, {}), facts, None)  # type: ignore[misc]
        quick = {"skip_loop_filter": "all"}
        row("decode, no loop filter", lambda p=path, q=quick: plain(p, q), facts, reference)  # type: ignore[misc]
        for care in ("every", "calm", "hard"):
            row(
                f"find, care={care}",
                lambda p=path, f=facts, c=care, b=borders: cuts_with(p, f, c, b, lost),  # type: ignore[misc]
                facts,
                reference,
            )
        row(
            "key survey",
            lambda p=path, f=facts: f"{sum(1 for _ in key_survey(p, f, workers=2))} pictures",  # type: ignore[misc]
            facts,
            reference,
        )
    if lost:
        raise SystemExit("cuts between views were lost: " + "; ".join(lost))


if __name__ == "__main__":
    main()
