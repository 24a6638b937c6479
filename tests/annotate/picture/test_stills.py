"""Pictures laid in: every kind that is read, fitted whole, nothing but pixels, clear refusals."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from annotate.picture import colours
from annotate.picture.layout import safe_area
from annotate.picture.overlay import Overlay
from annotate.picture.stills import read_still, still_planes
from chapters.errors import InputError
from tests.annotate.picture.drawn import chain, face

SIZE = (640, 360)


def halves(width: int = 80, height: int = 60) -> np.ndarray:
    """Red above, blue below: upright is told from any turn."""
    picture = np.zeros((height, width, 3), np.uint8)
    picture[: height // 2] = (220, 30, 30)
    picture[height // 2 :] = (30, 30, 220)
    return picture


def shown_box(planes: tuple[np.ndarray, np.ndarray, np.ndarray]) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of what is brighter than the ground."""
    off = planes[0] > 60
    rows, columns = np.flatnonzero(off.any(axis=1)), np.flatnonzero(off.any(axis=0))
    return int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1


@pytest.mark.parametrize("kind", ["png", "jpg", "tif", "webp"])
def test_every_kind_is_read(kind: str, tmp_path: Path) -> None:
    """PNG, JPEG, TIFF and WebP give the picture that was saved."""
    path = tmp_path / f"still.{kind}"
    Image.fromarray(halves()).save(path, quality=95)
    found = read_still(path).astype(int)
    assert found.shape == (60, 80, 3)
    assert np.abs(found[10, 40] - (220, 30, 30)).max() < 12
    assert np.abs(found[50, 40] - (30, 30, 220)).max() < 12


@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_the_camera_turn_is_followed(turn: int, tmp_path: Path) -> None:
    """A picture stored turned, with its turn in EXIF, comes out upright."""
    angle = {1: 0, 3: 180, 6: 90, 8: 270}[turn]
    stored = Image.fromarray(halves()).rotate(angle, expand=True)
    exif = Image.Exif()
    exif[0x0112] = turn
    path = tmp_path / "turned.jpg"
    stored.save(path, quality=95, exif=exif)
    found = read_still(path).astype(int)
    assert found.shape == (60, 80, 3)
    assert found[5, 40, 0] > 180
    assert found[55, 40, 2] > 180


@pytest.mark.parametrize("depth_bits", [8, 10, 12, 14, 16])
def test_deep_grey_keeps_its_steps(depth_bits: int, tmp_path: Path) -> None:
    """A grey ramp of any depth kept in 16 bits is a full, even ramp of 8 bits."""
    ramp = np.linspace(0, 2**depth_bits - 1, 256).round().astype(np.uint16)
    path = tmp_path / "deep.png"
    Image.fromarray(np.tile(ramp, (8, 1))).save(path)
    found = read_still(path)
    assert np.abs(found[0, :, 0].astype(int) - np.arange(256)).max() <= 1
    assert (found[..., 0] == found[..., 2]).all()


def test_slices_with_values_below_zero(tmp_path: Path) -> None:
    """A slice in signed or real numbers keeps its order of greys, its lowest value black."""
    values = np.array([[-1000.0, 0.0, 1000.0, 3000.0]], np.float32)
    path = tmp_path / "slice.tif"
    Image.fromarray(values).save(path)
    assert read_still(path)[0, :, 0].tolist() == [0, 62, 125, 249]
    Image.fromarray(np.array([[0.0, 0.5, 1.0]], np.float32)).save(path)
    assert read_still(path)[0, :, 0].tolist() == [0, 128, 255]


def test_clear_parts_show_the_ground(tmp_path: Path) -> None:
    """Alpha, grey with alpha, and palette transparency are laid over the dark ground."""
    clear = np.zeros((4, 4, 4), np.uint8)
    clear[:2] = (200, 100, 50, 255)
    for name, image in (
        ("rgba.png", Image.fromarray(clear)),
        ("la.png", Image.fromarray(clear).convert("LA")),
        ("rgba.webp", Image.fromarray(clear)),
    ):
        image.save(tmp_path / name, **({"lossless": True} if "webp" in name else {}))
        found = read_still(tmp_path / name)
        assert tuple(found[3, 3]) == colours.GROUND, name
        assert tuple(found[0, 0]) != colours.GROUND
    palette = Image.fromarray(halves()).quantize(8)
    palette.info["transparency"] = palette.getpixel((0, 0))
    palette.save(tmp_path / "p.png", transparency=palette.getpixel((0, 0)))
    found = read_still(tmp_path / "p.png")
    assert tuple(found[0, 0]) == colours.GROUND
    assert found[50, 40, 2] > 180


def test_print_colours_and_profiles(tmp_path: Path) -> None:
    """CMYK is turned to R'G'B', and a colour profile is followed."""
    Image.fromarray(halves()).convert("CMYK").save(tmp_path / "cmyk.jpg", quality=95)
    found = read_still(tmp_path / "cmyk.jpg").astype(int)
    assert found[10, 40, 0] > 150 > found[10, 40, 2]
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("XYZ"))
    path = tmp_path / "profile.png"
    Image.fromarray(halves()).save(path, icc_profile=lab.tobytes())
    assert read_still(path).shape == (60, 80, 3)


@pytest.mark.parametrize("size_px", [(640, 360), (360, 640), (161, 121), (1920, 1080)])
@pytest.mark.parametrize("shape", [(80, 60), (600, 40), (40, 900), (1, 1)])
def test_the_picture_is_shown_whole(
    size_px: tuple[int, int], shape: tuple[int, int], tmp_path: Path
) -> None:
    """Proportions are kept, nothing is cut, and the strip does not stand on the picture."""
    path = tmp_path / "still.png"
    Image.fromarray(np.full((shape[1], shape[0], 3), (230, 200, 30), np.uint8)).save(path)
    planes = still_planes(path, size_px, chain())
    assert planes[0].shape == size_px[::-1]
    left, top, right, bottom = shown_box(planes)
    strip = Overlay(size_px, chain()).places(face()).strip
    area = safe_area(*size_px)
    assert area.x_px <= left
    assert right <= area.right_px
    assert area.y_px <= top
    assert bottom <= strip.y_px or left >= strip.right_px
    width, height = right - left, bottom - top
    scale = width / shape[0] if shape[0] > shape[1] else height / shape[1]
    assert abs(width - shape[0] * scale) <= 1.5
    assert abs(height - shape[1] * scale) <= 1.5


def test_the_caption_has_its_own_plate_and_leaves_the_picture_whole(tmp_path: Path) -> None:
    """The caption stands above the picture inside the safe area."""
    path = tmp_path / "still.png"
    Image.fromarray(np.full((60, 80, 3), 200, np.uint8)).save(path)
    bare = still_planes(path, SIZE, chain())
    told = still_planes(path, SIZE, chain(), "Check radiograph, gypsum tooth")
    area = safe_area(*SIZE)
    plate = told[0][area.y_px : area.y_px + 14, area.x_px : area.x_px + 200]
    assert plate.max() > 200
    assert shown_box(told)[3] <= shown_box(bare)[3] + 1
    assert (told[0] > 150).sum() < (bare[0] > 150).sum()


def test_a_missing_letter_in_a_caption_is_named(tmp_path: Path) -> None:
    """Captions go through the same font chain."""
    path = tmp_path / "still.png"
    Image.fromarray(halves()).save(path)
    with pytest.raises(InputError, match=r"U\+13000"):
        still_planes(path, SIZE, chain(), "𓀀")


def bomb(width: int, height: int) -> bytes:
    """A PNG whose header claims a size that its few bytes do not hold."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b""))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("text.png", b"no picture at all", "is not a PNG, JPEG, TIFF or WebP picture"),
        ("empty.png", b"", "is not a PNG, JPEG, TIFF or WebP picture"),
        ("page.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is not a PNG"),
        ("run.eps", b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "is not a PNG"),
        ("large.png", bomb(12000, 12000), "has 12000x12000 pixels, more than 120 million"),
        ("bomb.png", bomb(60000, 60000), "more than 120 million pixels"),
        ("cut.png", bomb(20, 20), "is damaged"),
    ],
)
def test_what_is_no_picture_is_refused_in_one_sentence(
    name: str, content: bytes, message: str, tmp_path: Path
) -> None:
    """One error naming the file as the case names it, whatever is wrong with it."""
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(InputError, match=message) as caught:
        read_still(path, f"pictures/{name}")
    assert str(caught.value).startswith(f"pictures/{name}: ")
    assert "\n" not in str(caught.value)


def test_a_cut_jpeg_is_refused(tmp_path: Path) -> None:
    """Half a file gives an error, not half a picture."""
    path = tmp_path / "half.jpg"
    noise = np.random.default_rng(1).integers(0, 256, (200, 200, 3), dtype=np.uint8)
    Image.fromarray(noise).save(path)
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(InputError, match=r"half\.jpg: the picture is damaged"):
        read_still(path)


def test_a_picture_that_is_not_there(tmp_path: Path) -> None:
    """The name is given, no path of the machine."""
    with pytest.raises(InputError, match=r"^gone\.png: there is no such file"):
        read_still(tmp_path / "gone.png")
    with pytest.raises(InputError, match=r"^a folder: "):
        read_still(tmp_path, "a folder")
