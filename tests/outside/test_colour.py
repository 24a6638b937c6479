"""Colour against ITU-R recommendations and against an ffmpeg that is not the one under test.

Sources, cited where used: ITU-R BT.601-7, BT.709-6, BT.2020-2 (matrices and code levels),
SMPTE ST 2084 and BT.2100-2 (PQ, HLG), BT.2408 (reference white), BT.2087 (primaries).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from chapters.media.frames import FrameReader, Picture, RangeChoice
from chapters.media.hdr import (
    TO_709,
    ToneDown,
    compress_nits,
    hlg_to_scene,
    nits_to_pq,
    pq_to_nits,
)
from chapters.media.probe import Probe, probe
from chapters.media.writer import EncoderSettings, FilmWriter
from tests.clips import VideoTrack, even_times, ffmpeg, write_clip

pytestmark = pytest.mark.outside

#: (Kr, Kb): BT.601-7 2.5.1, BT.709-6 item 3.2, BT.2020-2 table 4
WEIGHTS = {"601": (0.299, 0.114), "709": (0.2126, 0.0722), "2020": (0.2627, 0.0593)}
#: worked values of the BT.709-6 equations, 8-bit limited range: R'G'B' -> Y, Cb, Cr
WORKED_709 = {
    (255, 255, 255): (235, 128, 128),
    (0, 0, 0): (16, 128, 128),
    (255, 0, 0): (63, 102, 240),
    (0, 255, 0): (173, 42, 26),
    (0, 0, 255): (32, 240, 118),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
    (255, 0, 255): (78, 214, 230),
    (128, 128, 128): (126, 128, 128),
    (191, 191, 191): (180, 128, 128),
}
#: the same for BT.601-7
WORKED_601 = {
    (255, 0, 0): (81, 90, 240),
    (0, 255, 0): (145, 54, 34),
    (0, 0, 255): (41, 240, 110),
    (255, 255, 0): (210, 16, 146),
    (0, 255, 255): (170, 166, 16),
    (255, 0, 255): (106, 202, 222),
}
TISSUE = [(200, 40, 40), (230, 180, 170), (150, 90, 80), (245, 235, 220), (60, 20, 25)]
COLOURS = [*WORKED_709, *TISSUE]


def coded(rgb: tuple[int, int, int], system: str, *, full: bool, bits: int = 8) -> list[int]:
    """Y, Cb, Cr code levels by the equations of the recommendation named."""
    kr, kb = WEIGHTS[system]
    r, g, b = (value / 255 for value in rgb)
    y = kr * r + (1 - kr - kb) * g + kb * b
    cb, cr = (b - y) / (2 * (1 - kb)), (r - y) / (2 * (1 - kr))
    if full:
        top = (1 << bits) - 1
        levels = [y * top, cb * top + (top + 1) / 2, cr * top + (top + 1) / 2]
    else:
        scale = 1 << (bits - 8)
        levels = [(219 * y + 16) * scale, (224 * cb + 128) * scale, (224 * cr + 128) * scale]
    return [min((1 << bits) - 1, max(0, round(level))) for level in levels]


def test_the_equations_used_here_give_the_worked_values() -> None:
    """The test's own arithmetic agrees with the published worked values, so it may judge."""
    for rgb, want in WORKED_709.items():
        assert coded(rgb, "709", full=False) == list(want)
    for rgb, want in WORKED_601.items():
        assert coded(rgb, "601", full=False) == list(want)


def patches(system: str, pix_fmt: str, *, full: bool) -> VideoTrack:
    """A lossless clip, one colour after the other, one frame each."""
    bits = 10 if "10" in pix_fmt else 8
    kind = np.uint16 if bits > 8 else np.uint8
    down = {"yuv420p": (2, 2), "yuv422p": (1, 2), "yuv444p": (1, 1)}[
        pix_fmt.replace("j", "").removesuffix("10le")
    ]

    def draw(number: int, width: int, height: int) -> list[NDArray[np.generic]]:
        levels = coded(COLOURS[number], system, full=full, bits=bits)
        sizes = [(height, width)] + [(height // down[0], width // down[1])] * 2
        return [np.full(size, level, kind) for size, level in zip(sizes, levels, strict=True)]

    tags = {"color_range": 2 if full else 1, "colorspace": {"601": 6, "709": 1, "2020": 9}[system]}
    return VideoTrack(
        even_times(len(COLOURS), 25),
        size_px=(64, 48),
        pix_fmt=pix_fmt,
        gop=1,
        b_frames=0,
        quality=0,
        tags=tags,
        draw=draw,
    )


def middles(path: Path, size_px: tuple[int, int] = (64, 48)) -> list[tuple[int, int, int]]:
    found = probe(path, path.name)
    with FrameReader(path, found, size_px) as reader:
        return [middle(picture) for picture in reader.from_time(Fraction(0))]


def middle(picture: Picture) -> tuple[int, int, int]:
    y, u, v = (plane[p // 2, q // 2] for plane in (picture.y, picture.u, picture.v)
               for p, q in [plane.shape])  # fmt: skip
    return int(y), int(u), int(v)


@pytest.mark.parametrize("size_px", [(64, 48), (48, 36)], ids=["same size", "smaller"])
@pytest.mark.parametrize(
    ("system", "pix_fmt", "full"),
    [
        ("709", "yuv420p", False),
        ("709", "yuv420p", True),
        ("709", "yuv422p", False),
        ("709", "yuv444p", False),
        ("709", "yuv420p10le", False),
        ("709", "yuv422p10le", False),
        ("601", "yuv420p", False),
        ("601", "yuv420p", True),
        ("601", "yuv444p", False),
        ("2020", "yuv420p10le", False),
    ],
)
def test_patches_keep_their_colour_within_two_levels(
    tmp_path: Path, system: str, pix_fmt: str, full: bool, size_px: tuple[int, int]
) -> None:
    """Whatever matrix, range and depth a source has, its patches arrive as BT.709 says."""
    clip = write_clip(tmp_path / "c.mp4", patches(system, pix_fmt, full=full))
    for rgb, got in zip(COLOURS, middles(clip.path, size_px), strict=True):
        want = coded(rgb, "709", full=False)
        assert max(abs(g - w) for g, w in zip(got, want, strict=True)) <= 2, (rgb, got, want)


def test_a_709_source_of_the_same_size_passes_through_bit_for_bit(tmp_path: Path) -> None:
    """The common case is a copy: every plane of every frame equals what the binary decodes."""
    clip = write_clip(tmp_path / "c.mp4", VideoTrack(even_times(5, 25), tags={
        "color_range": 1, "colorspace": 1, "color_primaries": 1, "color_trc": 1}))  # fmt: skip
    raw = ffmpeg("-i", clip.path, "-f", "rawvideo", "-pix_fmt", "yuv420p", "-")
    found = probe(clip.path, "c.mp4")
    with FrameReader(clip.path, found, (320, 192)) as reader:
        ours = b"".join(
            plane.tobytes() for p in reader.from_time(Fraction(0)) for plane in (p.y, p.u, p.v)
        )
    assert ours == raw


@pytest.mark.parametrize(("size_px", "system"), [((1280, 720), "709"), ((720, 576), "601")])
def test_untagged_video_is_read_by_its_size(
    tmp_path: Path, size_px: tuple[int, int], system: str
) -> None:
    """HD without a tag is BT.709, SD is BT.601 (common practice), and the notice says which."""
    levels = coded((200, 40, 40), system, full=False)

    def draw(number: int, width: int, height: int) -> list[NDArray[np.generic]]:
        sizes = [(height, width), (height // 2, width // 2), (height // 2, width // 2)]
        return [np.full(size, level, np.uint8) for size, level in zip(sizes, levels, strict=True)]

    clip = write_clip(
        tmp_path / "c.mp4", VideoTrack(even_times(1, 25), size_px=size_px, draw=draw, quality=1)
    )
    found = probe(clip.path, "c.mp4")
    assert any(f"BT.{system} is assumed" in notice for notice in found.notices)
    [got] = middles(clip.path, size_px)
    want = coded((200, 40, 40), "709", full=False)
    assert max(abs(g - w) for g, w in zip(got, want, strict=True)) <= 2


@pytest.mark.parametrize("choice", ["full", "limited"])
def test_the_case_file_can_overrule_the_range(tmp_path: Path, choice: RangeChoice) -> None:
    """Full-range levels without a tag: read as full they keep grey 16, read as limited they lose it."""
    levels = coded((16, 16, 16), "709", full=True)

    def draw(number: int, width: int, height: int) -> list[NDArray[np.generic]]:
        sizes = [(height, width), (height // 2, width // 2), (height // 2, width // 2)]
        return [np.full(size, level, np.uint8) for size, level in zip(sizes, levels, strict=True)]

    clip = write_clip(
        tmp_path / "c.mp4",
        VideoTrack(even_times(1, 25), size_px=(64, 48), draw=draw, quality=0,
                   tags={"colorspace": 1}),
    )  # fmt: skip
    found: Probe = probe(clip.path, "c.mp4")
    with FrameReader(clip.path, found, (64, 48), colour_range=choice) as reader:
        y, _, _ = middle(next(reader.from_time(Fraction(0))))
    assert abs(y - (30 if choice == "full" else 16)) <= 1  # 16 + 219 * 16 / 255 = 29.7


def test_a_written_film_shows_its_colours_on_a_709_path(tmp_path: Path) -> None:
    """Planes given to the writer come out of the ffmpeg binary as the R'G'B' they stand for."""
    with FilmWriter(
        tmp_path / "f.mp4", (64, 48), Fraction(25), settings=EncoderSettings(crf=1)
    ) as film:
        for rgb in TISSUE:
            y, u, v = coded(rgb, "709", full=False)
            film.write(
                np.full((48, 64), y, np.uint8),
                np.full((24, 32), u, np.uint8),
                np.full((24, 32), v, np.uint8),
            )
    raw = ffmpeg("-i", tmp_path / "f.mp4", "-f", "rawvideo", "-vf",
                 "scale=in_color_matrix=bt709:in_range=tv:flags=accurate_rnd", "-pix_fmt", "rgb24",
                 "-")  # fmt: skip
    shown = np.frombuffer(raw, np.uint8).reshape(len(TISSUE), 48, 64, 3)[:, 24, 32]
    assert np.abs(shown.astype(int) - np.array(TISSUE)).max() <= 4  # 4:2:0 codes are whole numbers


def test_a_601_recording_looks_as_another_converter_makes_it(tmp_path: Path) -> None:
    """A textured BT.601 full-range clip, converted here and by the ffmpeg binary's own scaler."""
    rng = np.random.default_rng(4)

    def draw(number: int, width: int, height: int) -> list[NDArray[np.generic]]:
        small = [rng.integers(40, 216, (6, 8), dtype=np.uint8) for _ in range(3)]
        sizes = [(height, width), (height // 2, width // 2), (height // 2, width // 2)]
        return [
            np.kron(plane, np.ones((h // 6, w // 8), np.uint8))
            for plane, (h, w) in zip(small, sizes, strict=True)
        ]

    clip = write_clip(
        tmp_path / "c.mp4",
        VideoTrack(even_times(2, 25), size_px=(128, 96), draw=draw, quality=1,
                   tags={"color_range": 2, "colorspace": 6}),
    )  # fmt: skip
    raw = ffmpeg("-i", clip.path, "-frames:v", "1", "-f", "rawvideo", "-vf",
                 "scale=in_color_matrix=bt601:out_color_matrix=bt709:in_range=pc:out_range=tv:"
                 "flags=accurate_rnd+full_chroma_int,format=yuv420p", "-")  # fmt: skip
    found = probe(clip.path, "c.mp4")
    with FrameReader(clip.path, found, (128, 96)) as reader:
        picture = next(reader.from_time(Fraction(0)))
    theirs = np.frombuffer(raw, np.uint8)[: 128 * 96].reshape(96, 128).astype(int)
    inside = np.ones((96, 128), bool)
    inside[np.arange(96) % 16 < 3] = inside[:, np.arange(128) % 16 < 3] = False
    inside[np.arange(96) % 16 > 12] = inside[:, np.arange(128) % 16 > 12] = False
    assert np.abs(picture.y.astype(int) - theirs)[inside].max() <= 3


# High dynamic range


@pytest.mark.parametrize(
    ("nits", "signal"),
    [
        (0.0, 0.0),
        (100.0, 0.5081),
        (203.0, 0.5807),
        (1000.0, 0.7518),
        (4000.0, 0.9026),
        (10000.0, 1.0),
    ],
)
def test_pq_levels_are_those_of_st_2084(nits: float, signal: float) -> None:
    """Published PQ levels (BT.2408-7 table 1 gives 58 % for 203 cd/m², ST 2084 the curve)."""
    assert float(nits_to_pq(np.array(nits))) == pytest.approx(signal, abs=2e-4)
    assert float(pq_to_nits(np.array(signal))) == pytest.approx(nits, rel=2e-3, abs=1e-6)


def test_hlg_levels_are_those_of_bt_2100_and_bt_2408() -> None:
    """Half signal is a twelfth of full scene light; 75 % is 203 cd/m² on a 1000 cd/m² display."""
    assert float(hlg_to_scene(np.array(0.5))) == pytest.approx(1 / 12)
    assert float(hlg_to_scene(np.array(1.0))) == pytest.approx(1.0, abs=1e-4)
    scene = float(hlg_to_scene(np.array(0.75)))
    assert 1000 * scene**1.2 == pytest.approx(203, abs=1.5)


def test_the_change_of_primaries_follows_from_the_chromaticities() -> None:
    """The matrix is recomputed from the primaries and white of BT.2020 and BT.709 (CIE xy)."""

    def to_xyz(xy: list[tuple[float, float]]) -> NDArray[np.float64]:
        columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in xy]).T
        white = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
        return np.asarray(columns * np.linalg.solve(columns, white))

    bt2020 = to_xyz([(0.708, 0.292), (0.170, 0.797), (0.131, 0.046)])
    bt709 = to_xyz([(0.640, 0.330), (0.300, 0.600), (0.150, 0.060)])
    assert np.abs(np.linalg.solve(bt709, bt2020) - TO_709).max() < 2e-4


def test_toning_down_keeps_order_black_and_the_lower_half() -> None:
    """The BT.2390 curve is the identity below its knee, never falls, and ends at 203 cd/m²."""
    nits = np.linspace(0, 1000, 2001)
    out = compress_nits(nits)
    assert np.all(np.diff(out) >= -1e-9)
    assert out[0] == pytest.approx(0, abs=1e-6)
    assert out[-1] == pytest.approx(203, rel=1e-3)
    low = nits < 80
    assert np.allclose(out[low], nits[low], rtol=1e-3, atol=1e-4)


@pytest.mark.parametrize("transfer", ["pq", "hlg"])
def test_grey_stays_grey_and_white_keeps_room(transfer: str) -> None:
    """Neutral levels stay neutral; reference white (203 cd/m²) comes out near 90 % signal."""
    levels = np.linspace(0, 65535, 256).astype(np.uint16)
    grey = np.repeat(levels[None, :, None], 3, axis=2)
    toned = ToneDown("pq" if transfer == "pq" else "hlg")(grey)[0].astype(int)
    assert np.abs(toned - toned[:, :1]).max() <= 1
    assert np.all(np.diff(toned[:, 1]) >= 0)
    white = round(255 * (0.5807 if transfer == "pq" else 0.75))
    meant = 255 * (float(compress_nits(np.array(203.0))) / 203) ** (1 / 2.4)  # BT.1886 display
    assert 225 <= meant <= 235
    assert abs(toned[white, 1] - meant) <= 2
    assert toned[0, 1] == 0
    assert toned[-1, 1] >= 254


@pytest.mark.parametrize(("transfer", "code"), [("pq", 16), ("hlg", 18)])
def test_a_high_dynamic_range_recording_is_toned_down_with_a_notice(
    tmp_path: Path, transfer: str, code: int
) -> None:
    """A 10-bit HEVC clip tagged PQ or HLG: grey of 203 cd/m² arrives as neutral, near 90 %."""
    level = round(64 + 876 * (0.5807 if transfer == "pq" else 0.75))

    def draw(number: int, width: int, height: int) -> list[NDArray[np.generic]]:
        chroma = np.full((height // 2, width // 2), 512, np.uint16)
        return [np.full((height, width), level, np.uint16), chroma, chroma]

    clip = write_clip(
        tmp_path / "c.mp4",
        VideoTrack(
            even_times(4, 25),
            size_px=(128, 96),
            b_frames=0,
            codec="libx265",
            pix_fmt="yuv420p10le",
            quality=4,
            draw=draw,
            tags={"color_range": 1, "colorspace": 9, "color_primaries": 9, "color_trc": code},
        ),
    )
    found = probe(clip.path, "c.mp4")
    assert found.video.hdr
    assert any("toned down" in notice for notice in found.notices)
    y, u, v = middles(clip.path, (128, 96))[0]
    assert 200 <= y <= 225
    assert abs(u - 128) <= 1
    assert abs(v - 128) <= 1
