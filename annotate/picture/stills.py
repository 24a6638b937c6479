"""A picture laid into the film: a radiograph, a slice, a photograph, fitted whole on the dark ground.

Only the pixels come along: EXIF, colour profiles, thumbnails and comments stay behind. A profile
is followed before it is dropped. One channel deeper than 8 bits (radiographs, slices) is scaled
by the depth its values need, so that 12 bits kept in 16 do not come out black.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from annotate.picture import colours
from annotate.picture.colours import U8, rgb_to_planes
from annotate.picture.figures import FigureCase, bare_plate
from annotate.picture.fonts import FontChain
from annotate.picture.layout import Box, even_up, strip_layout
from annotate.picture.plates import blend, ink, prepare
from annotate.picture.strip import StripText, build_strip
from annotate.picture.textfit import fit
from chapters.errors import InputError

#: Kinds of file that are read; nothing that runs a program or points elsewhere.
FORMATS = ("PNG", "JPEG", "TIFF", "WEBP")
#: More pixels than this are refused before any is decoded.
MOST_PIXELS = 120_000_000
_DEPTHS = (255, 1023, 4095, 16383, 65535)


def read_still(path: Path, shown_as: str = "") -> U8:
    """The picture upright as (h, w, 3) R'G'B' (sRGB). Raises InputError naming the file."""
    name = shown_as or path.name
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=FORMATS) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise InputError(
                        f"{name}: has {image.width}x{image.height} pixels, more than "
                        f"{MOST_PIXELS // 1_000_000} million; save it smaller"
                    )
                image.load()
                return _rgb(image)
    except FileNotFoundError as error:
        raise InputError(f"{name}: there is no such file; check the name and folder") from error
    except Image.DecompressionBombError as error:
        raise InputError(
            f"{name}: has more than {MOST_PIXELS // 1_000_000} million pixels; save it smaller"
        ) from error
    except UnidentifiedImageError as error:
        raise InputError(
            f"{name}: is not a PNG, JPEG, TIFF or WebP picture; save it as one of these"
        ) from error
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError) as error:
        raise InputError(
            f"{name}: the picture is damaged and cannot be read; save it again"
        ) from error


def _rgb(image: Image.Image) -> U8:
    upright = ImageOps.exif_transpose(image)
    if upright.mode.startswith(("I", "F")):
        grey = _eight_bits(np.asarray(upright).astype(np.float64))
        return np.repeat(grey[..., None], 3, axis=2)
    if "transparency" in upright.info or upright.mode in ("LA", "PA", "La", "RGBa"):
        upright = upright.convert("RGBA")
    upright = _srgb(upright)
    if upright.mode == "RGBA":
        ground = Image.new("RGBA", upright.size, (*colours.GROUND, 255))
        upright = Image.alpha_composite(ground, upright)
    return np.array(upright.convert("RGB"), dtype=np.uint8)


def _srgb(image: Image.Image) -> Image.Image:
    """The picture in sRGB: its own profile is followed where there is one that can be."""
    profile = image.info.get("icc_profile")
    if not profile or image.mode not in ("RGB", "RGBA", "CMYK", "L"):
        return image
    mode = "RGBA" if image.mode == "RGBA" else "RGB"
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        out = ImageCms.profileToProfile(
            image, source, ImageCms.createProfile("sRGB"), outputMode=mode
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image
    return out or image


def _eight_bits(values: npt.NDArray[np.float64]) -> U8:
    """One deep channel as 0..255, black to the value range's end; values below 0 lift the black."""
    values = np.nan_to_num(values, nan=0.0, posinf=0.0, neginf=0.0)
    low = min(float(values.min()), 0.0)
    high = float(values.max()) - low
    white = 1.0 if high <= 1.0 else float(next((depth for depth in _DEPTHS if high <= depth), high))
    return np.rint((values - low) * (255 / white)).astype(np.uint8)


def still_planes(
    path: Path,
    size_px: tuple[int, int],
    fonts: FontChain,
    caption: str = "",
    *,
    shown_as: str = "",
) -> tuple[U8, U8, U8]:
    """The picture whole on the dark ground as y (h, w), u and v (h/2, w/2), its caption above it.

    It stands above or beside the overlay strip, wherever it is larger, so that the clock does not
    lie on a finding (a title of two lines is allowed for).
    Raises InputError for a file that is no picture or a caption no font can draw.
    """
    width, height = size_px
    safe = strip_layout(width, height).safe
    above = _caption(fonts, caption, size_px) if caption else None
    top = safe.y_px
    if above is not None:
        top += above.shape[0] + even_up(strip_layout(width, height).gap_px)
    picture = read_still(path, shown_as)
    rooms = _rooms(fonts, size_px, top)
    room = max(
        rooms,
        key=lambda box: min(box.width_px / picture.shape[1], box.height_px / picture.shape[0]),
    )
    picture = _fitted(picture, (room.width_px, room.height_px))
    canvas = np.empty((height, width, 3), np.uint8)
    canvas[:] = colours.GROUND
    x = (room.x_px + (room.width_px - picture.shape[1]) // 2) // 2 * 2
    y = (room.y_px + (room.height_px - picture.shape[0]) // 2) // 2 * 2
    canvas[y : y + picture.shape[0], x : x + picture.shape[1]] = picture
    planes = rgb_to_planes(canvas)
    if above is not None:
        blend(*planes, prepare(above), safe.x_px, safe.y_px)
    return planes


def _rooms(fonts: FontChain, size_px: tuple[int, int], top_px: int) -> tuple[Box, Box]:
    """The room above the overlay strip and the room beside it, both below row ``top_px``."""
    layout = strip_layout(*size_px)
    safe, gap = layout.safe, even_up(layout.gap_px)
    bare = build_strip(
        fonts, FigureCase(fonts), layout, StripText(0, 0, "", "", "0:00:00", "00:00")
    ).box
    strip_top = bare.y_px - even_up(2.3 * layout.title_px) - gap
    strip_right = max(bare.right_px, safe.x_px + layout.narrow_px + 2 * layout.pad_px)
    left = even_up(strip_right + gap)
    return (
        Box(safe.x_px, top_px, safe.width_px, max(2, strip_top - gap - top_px)),
        Box(left, top_px, max(2, safe.right_px - left), max(2, safe.bottom_px - top_px)),
    )


def _fitted(picture: U8, room_px: tuple[int, int]) -> U8:
    """The picture as large as it stays whole in the room, its proportions kept."""
    height, width = picture.shape[:2]
    scale = min(room_px[0] / width, room_px[1] / height)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    size = (min(size[0], room_px[0]), min(size[1], room_px[1]))
    return np.array(Image.fromarray(picture).resize(size, Image.Resampling.LANCZOS))


def _caption(fonts: FontChain, caption: str, size_px: tuple[int, int]) -> U8:
    """The caption on a plate of its own, RGBA."""
    layout = strip_layout(*size_px)
    pad = layout.pad_px
    fitted = fit(
        fonts,
        caption,
        layout.title_px,
        weight="strong",
        narrow_px=layout.wide_px,
        wide_px=layout.wide_px,
    )
    masks = [fonts.draw(line, fitted.size_px, "strong") for line in fitted.lines]
    rise = max([round(fitted.size_px * 0.75), *(-m.top_px for m in masks)])
    fall = max([round(fitted.size_px * 0.22), *(m.top_px + m.mask.shape[0] for m in masks)])
    inner = max([0, *(int(np.ceil(m.right_px - min(m.left_px, 0))) for m in masks)])
    height = even_up(len(masks) * (rise + fall) + pad)
    rgba = bare_plate(even_up(inner) + 2 * pad, height, pad * 0.6)
    baseline = pad // 2 + rise
    for mask in masks:
        ink(rgba, mask.mask, colours.CHALK, max(0, pad + mask.left_px), baseline + mask.top_px)
        baseline += rise + fall
    return rgba
