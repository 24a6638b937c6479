"""What the tests of the picture share: grounds, sizes, the font chain, and what to do without fonts."""

from __future__ import annotations

import os
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

import numpy as np
import pytest

from annotate.picture.colours import RGB, U8, rgb_to_planes
from annotate.picture.fonts import FontChain
from annotate.picture.overlay import EventLine, OverlayFace, event_text
from chapters.times import ClinicalTime

Planes = tuple[U8, U8, U8]

#: From the smallest film to 4K, wide, narrow, upright, odd.
SIZES: Sequence[tuple[int, int]] = (
    (161, 121),
    (160, 112),
    (121, 161),
    (320, 180),
    (480, 270),
    (640, 480),
    (1280, 720),
    (1080, 1920),
    (360, 640),
    (1920, 1080),
    (3840, 2160),
    (1920, 400),
)

TITLES = {
    "English": "Locate the perforation, gently",
    "Arabic": "عزل السن 36 (FDI) بالحاجز المطاطي",
    "Hebrew": "בידוד השן 36 (FDI) בסכר",
    "Hindi": "दाँत को अलग करें और क्षेत्र को सुखाएँ",
    "Chinese": "用橡皮障隔离患牙并检查密封情况",
    "Japanese": "ラバーダムで歯を隔離する",
    "Korean": "러버댐으로 치아를 격리한다",
    "Thai": "แยกฟันน้ำนมและตรวจสอบ",
    "Tamil": "பல்லை தனிமைப்படுத்து",
    "marks": "Ẹ́ ǵ̃ q̇ Ậ Ǻ Ṩ",
}


@lru_cache(maxsize=1)
def chain() -> FontChain:
    """The installed chain, read once."""
    return FontChain()


def need_scripts(*texts: str) -> None:
    """Skip loudly, or fail where skipping is forbidden, when the fonts extra is not installed."""
    gaps = [text for text in texts if chain().missing(text)]
    if gaps:
        reason = f"no font for {gaps[0]!r}: pip install 'teachcut[fonts]'"
        if os.environ.get("TEACHCUT_NO_SKIP") == "1":
            pytest.fail(reason)
        pytest.skip(reason)


def ground(size_px: tuple[int, int], rgb: RGB) -> Planes:
    """Planes of one colour."""
    picture = np.empty((size_px[1], size_px[0], 3), np.uint8)
    picture[:] = rgb
    return rgb_to_planes(picture)


def noise(size_px: tuple[int, int], seed: int = 1) -> Planes:
    """Planes of every value that a plane can hold, in no order."""
    rng = np.random.default_rng(seed)
    width, height = size_px
    half = ((height + 1) // 2, (width + 1) // 2)
    return (
        rng.integers(0, 256, (height, width), dtype=np.uint8),
        rng.integers(0, 256, half, dtype=np.uint8),
        rng.integers(0, 256, half, dtype=np.uint8),
    )


def face(
    clock: Fraction | int = 725,
    step_clock: Fraction | int = 161,
    speed: Fraction | int = 8,
    title: str = "Locate the perforation",
    events: tuple[EventLine, ...] = (),
    mark: str = "",
) -> OverlayFace:
    """A face of the third of eight steps."""
    return OverlayFace(
        number=3,
        count=8,
        title=title,
        clock=ClinicalTime(Fraction(clock)),
        step_clock=Fraction(step_clock),
        speed=Fraction(speed),
        events=events,
        mark=mark,
    )


BOTH_EVENTS = (
    EventLine(event_text("not_shown", Fraction(190)), "not_shown"),
    EventLine(event_text("away", Fraction(60), "check radiograph"), "away"),
)
