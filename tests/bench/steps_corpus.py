"""Recordings whose steps are known, put together from real clips: for the scores of proposed steps.

A step is something that goes on for 12 to 60 s: work (a clip played forth and back), a wait (one
picture of it under a noisy sensor), the same small movement over and over (a second of a clip in
one corner of a standing picture), work under an amber filter or a dimmed lamp, or a covered lens.
A border is a cut, a dissolve, or no more than the change of what goes on. Within the steps lie
flashes, covered views and lamp steps: none of them begins a step.

Pictures are fed as they are, ten a second, without an encoder between.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Rng = np.random.Generator

FPS = 10
SIZE_PX = (160, 90)
#: What repeats comes round after so many frames.
_LOOP_FRAMES = 13
KINDS = ("work", "work", "work", "wait", "repeats", "amber", "dimmed", "covered")


@dataclass(frozen=True)
class TrueStep:
    """One step of a made recording: what goes on, where it ends, how it was joined to the one before."""

    kind: str
    clip: int
    end: Fraction
    joint: str


@dataclass(frozen=True)
class Plan:
    """A made recording: its steps, and what happens in between, as (frame, what)."""

    steps: tuple[TrueStep, ...]
    events: tuple[tuple[int, str], ...]

    @property
    def length(self) -> Fraction:
        """Seconds in all."""
        return self.steps[-1].end


def plan(rng: Rng, clips: int) -> Plan:
    """Six to nine steps over some of the clips, two steps next to each other never alike."""
    steps: list[TrueStep] = []
    end = 0
    clip, kind = int(rng.integers(clips)), "work"
    for n in range(int(rng.integers(6, 10))):
        joint = ""
        if n:
            was = kind
            kind = str(rng.choice([k for k in KINDS if k != was or k == "work"]))
            another = kind == "work" and was in ("work", "amber", "dimmed")
            if another or rng.random() < 0.35:
                clip = (clip + 1 + int(rng.integers(clips - 1))) % clips
                joint = (
                    "dissolve" if rng.random() < 0.25 and "covered" not in (was, kind) else "cut"
                )
        end += FPS * int(rng.integers(12, 61))
        steps.append(TrueStep(kind, clip, Fraction(end, FPS), joint))
    events: list[tuple[int, str]] = []
    for first in range(0, end - 60):
        soon = events and first - events[-1][0] <= 40
        if rng.random() < 1 / (25 * FPS) and not soon and _kind_at(steps, first) != "covered":
            events.append((first, str(rng.choice(["flash", "cover", "lamp"]))))
    return Plan(tuple(steps), tuple(events))


def _kind_at(steps: Sequence[TrueStep], frame: int) -> str:
    return next(step.kind for step in steps if Fraction(frame, FPS) < step.end)


def labels(made: Plan) -> list[int]:
    """The number of the step on screen, for every whole second."""
    ends = [float(step.end) for step in made.steps]
    return [int(np.searchsorted(ends, s, "right")) for s in range(int(made.length))]


def draw(
    made: Plan, clips: Sequence[Sequence[Picture]], rng: Rng
) -> Iterator[tuple[Fraction, Picture, tuple[float, float]]]:
    """(time, luma, tint) of every picture."""
    last: Picture | None = None
    number = 0
    for step in made.steps:
        frames = clips[step.clip]
        anchor = int(rng.integers(len(frames)))
        shake = np.cumsum(rng.normal(0, 0.05, (4000, 2)), axis=0) * 0.3
        before = last
        first = number
        while Fraction(number, FPS) < step.end:
            picture = _goes_on(step.kind, frames, number - first, anchor, shake[number - first])
            since = number - first
            if step.joint == "dissolve" and since < FPS and before is not None:
                share = (since + 1) / (FPS + 1)
                picture = cv2.addWeighted(before, 1 - share, picture, share, 0).astype(np.uint8)
            last = picture
            yield _seen(Fraction(number, FPS), _with_events(picture, number, made.events, rng), rng)
            number += 1


def _goes_on(
    kind: str, frames: Sequence[Picture], n: int, anchor: int, shake: NDArray[np.float64]
) -> Picture:
    """The picture of a step ``n`` frames after its start, BGR."""
    if kind == "covered":
        return np.full((SIZE_PX[1], SIZE_PX[0], 3), 24, np.uint8)
    if kind == "wait":
        return frames[anchor]
    if kind == "repeats":
        still = frames[anchor].copy()
        inner = frames[(anchor + n % _LOOP_FRAMES) % len(frames)]
        still[25:65, 55:105] = inner[25:65, 55:105]
        return still
    turn = 2 * (len(frames) - 1)
    place = (anchor + n) % turn
    picture = frames[min(place, turn - place)]
    move = np.array([[1, 0, shake[0]], [0, 1, shake[1]]], np.float32)
    picture = cv2.warpAffine(picture, move, SIZE_PX, borderMode=cv2.BORDER_REPLICATE)
    if kind == "amber":
        picture = picture * np.array([0.35, 0.8, 1.0])
    if kind == "dimmed":
        picture = picture * 0.5
    return np.asarray(picture, np.uint8)


def _with_events(
    picture: Picture, number: int, events: Sequence[tuple[int, str]], rng: Rng
) -> Picture:
    out = picture.astype(np.float32)
    for first, what in events:
        if what == "flash" and first <= number < first + 6:
            out = out * 0.6 + np.array([120, 60, 30], np.float32)
        if what == "cover" and first <= number < first + 8:
            out[:, : 20 * (number - first + 1)] = 40
        if what == "lamp" and first <= number < first + 40:
            out *= 1.12
    return np.clip(out, 0, 255).astype(np.uint8)


def _seen(
    at: Fraction, picture: Picture, rng: Rng
) -> tuple[Fraction, Picture, tuple[float, float]]:
    """As a camera with a noisy sensor gives it: luma, and mean colour differences (BT.601)."""
    noisy = picture + rng.normal(0, 2, picture.shape)
    grey = cv2.cvtColor(np.clip(noisy, 0, 255).astype(np.uint8), cv2.COLOR_BGR2YCrCb)
    tint = (float(grey[..., 2].mean()) - 128, float(grey[..., 1].mean()) - 128)
    luma = np.rint(grey[..., 0] * (219 / 255) + 16).astype(np.uint8)
    return at, luma, tint
