"""Pictures taken out of the film as JPEG files, without any metadata."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from annotate.picture.colours import U8

QUALITY = 88


def write_jpeg(path: Path, rgb: U8) -> None:
    """Write an (h, w, 3) R'G'B' picture; nothing but the picture goes into the file."""
    Image.fromarray(rgb).save(path, "JPEG", quality=QUALITY, optimize=True)
