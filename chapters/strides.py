"""How far things move from one picture to the next, place by place, and whether they are found again.

Movement takes a thing from frame to frame by steps of about one length; a jump in time takes it
farther at once, and there it is: found again elsewhere, which noise, a newly coded picture, a light
or a cover are not. Such a leap over the view is a stride. One that leads just where the steps on
either side, added up, would lead is the movement going on over a lost picture.

Movement is dense optical flow of the light-free pictures (Kroeger, Timofte, Dai and Van Gool, "Fast
optical flow using dense inverse search", ECCV 2016; OpenCV's ``DISOpticalFlow``).

Pictures in, numbers out; a map has one value for each of the 9 x 16 blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from chapters.likeness import Grey, Plane, View, block_mean

#: A block went farther where it moved by so many times what it does near by, and so many pixels more.
FARTHER_TIMES = 1.5
FARTHER_PX = 0.3
#: So much unlike structure is not found again at all; so many times as much as beside it counts.
_LOST_STRUCTURE = 0.5
_LOST_TIMES = 1.3
_LOST_LEAST = 0.02
#: Where so little of the view has structure, in pixels, it has no movement of its own.
_STRUCTURED_PX = 200
_STRUCTURED = 0.3
_STRUCTURE_SCALE = 40.0
#: From so many working pixels on a block's movement says which way things went.
_WAY_PX = 1.0


@dataclass(frozen=True, slots=True)
class Course:
    """The movement from one picture to the next.

    ``px`` length of the movement per block in working pixels, ``way_px`` the movement itself (right
    and down, 2 x 9 x 16); ``own_px`` mean of it over the view where there is structure, the
    movement of the view as a whole taken away; ``unlike`` mean structure that is not there where
    the movement leads, about 0..2; ``lost`` per block what of it is plainly unlike.
    """

    px: Plane
    way_px: Plane
    own_px: float
    unlike: float
    lost: Plane


@dataclass(frozen=True, slots=True)
class Stride:
    """One step beside those near by: ``farther`` share of the blocks that went farther than near by.

    ``own_px`` and ``unlike`` are the step's own (see ``Course``), ``lost`` what is plainly unlike
    beyond what is so on either side. ``astray`` is how far the movement leads from where those on
    either side, added up, would lead, over its own length: near 0 where a picture is missing and
    things moved on as they do, 1 and more where nothing beside it moves so (NaN: next to no
    movement).
    """

    farther: float
    own_px: float
    unlike: float
    lost: float
    astray: float


class Flow:
    """Finds movement; keeps the finder's memory from one pair of pictures to the next."""

    def __init__(self) -> None:
        self._finder = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_FAST)

    def course(self, a: View, b: View) -> Course:
        """The movement from ``a`` to ``b``, two pictures of one size."""
        flow = np.asarray(self._finder.calc(_even(a), _even(b), None), np.float32)  # type: ignore[call-overload]
        rows, columns = a.structure.shape
        x, y = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
        there = cv2.remap(
            b.structure,
            x + flow[..., 0],
            y + flow[..., 1],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        apart = np.abs(there - a.structure)
        structure = np.abs(a.structure)
        shown = structure > _STRUCTURED
        whole = np.median(flow[shown], axis=0) if shown.sum() > _STRUCTURED_PX else 0
        own = flow - whole
        return Course(
            px=block_mean(np.hypot(flow[..., 0], flow[..., 1])),
            way_px=np.stack([block_mean(flow[..., 0].copy()), block_mean(flow[..., 1].copy())]),
            own_px=float((np.hypot(own[..., 0], own[..., 1]) * np.minimum(structure, 1)).mean()),
            unlike=float(apart.mean()),
            lost=block_mean(np.maximum(apart - _LOST_STRUCTURE, 0)),
        )


def _even(seen: View) -> Grey:
    return np.asarray(np.clip(128 + _STRUCTURE_SCALE * seen.structure, 0, 255), np.uint8)


def stride_of(course: Course, beside: Sequence[Course], near: Sequence[Course]) -> Stride:
    """The stride of one step: ``beside`` the steps before and after it, ``near`` all those near by."""
    most = np.maximum.reduce([c.px for c in near])
    lost = np.maximum.reduce([c.lost for c in beside])
    return Stride(
        farther=float((course.px > FARTHER_TIMES * most + FARTHER_PX).mean()),
        own_px=course.own_px,
        unlike=course.unlike,
        lost=float(np.maximum(course.lost - _LOST_TIMES * lost - _LOST_LEAST, 0).mean()),
        astray=_astray(course, beside),
    )


def _astray(course: Course, beside: Sequence[Course]) -> float:
    """How far off the movements on either side, added up, lead, over the length of the step's own."""
    length = np.hypot(*course.way_px)
    shown = length > _WAY_PX
    if not shown.any():
        return float("nan")
    off = np.hypot(*(course.way_px - np.sum([c.way_px for c in beside], axis=0)))
    return float(off[shown].sum() / length[shown].sum())
