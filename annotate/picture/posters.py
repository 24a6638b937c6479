"""Pictures taken out of the film as JPEG files, without any metadata."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

from PIL import Image

from annotate.picture.colours import U8

QUALITY = 88


def write_jpeg(path: Path, rgb: U8) -> None:
    """Write an (h, w, 3) R'G'B' picture; nothing but the picture goes into the file."""
    Image.fromarray(rgb).save(path, "JPEG", quality=QUALITY, optimize=True)


def jpeg_bytes(rgb: U8, width_px: int, quality: int = 70) -> bytes:
    """The picture at ``width_px``, its proportions kept, as the bytes of a JPEG file."""
    image = Image.fromarray(rgb)
    height_px = max(1, round(image.height * width_px / image.width))
    out = BytesIO()
    image.resize((width_px, height_px), Image.Resampling.LANCZOS).save(out, "JPEG", quality=quality)
    return out.getvalue()
