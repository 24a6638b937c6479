"""What makes a caption readable, as published: one frozen table, each figure with its clause.

The guides disagree (on gaps even with each other), so no figure is a constant of the program: a
profile is a row of figures, and a figure without a source is not in the row. ``memory`` marks a
figure that was not read in its source's own text.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

SpeedUnit = Literal["characters a second", "words a minute"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One published limit: its value (unit by the field it stands in), clause, and how it was read."""

    value: int
    clause: str
    memory: bool = False

    @property
    def source(self) -> str:
        """The clause as a complaint cites it."""
        return f"{self.clause}, from memory" if self.memory else self.clause


@dataclass(frozen=True, slots=True)
class Speed:
    """The fastest reading speed allowed, in the unit of its source."""

    fastest: Figure
    unit: SpeedUnit

    def needed_ms(self, columns: int, words: Fraction | int) -> int:
        """Whole milliseconds, rounded up, that so many columns or words must stay on the screen."""
        by_columns = self.unit == "characters a second"
        amount = Fraction(columns * 1000) if by_columns else Fraction(words * 60000)
        return -(-amount // self.fastest.value)

    def rate(self, columns: int, words: Fraction | int, length_ms: int) -> Fraction:
        """The speed of a cue of ``length_ms`` (above 0) in this unit."""
        if self.unit == "characters a second":
            return Fraction(columns * 1000, length_ms)
        return Fraction(words * 60000) / length_ms


@dataclass(frozen=True, slots=True)
class Gap:
    """Between two cues: ``shortest_ms`` or more; ``closed`` says whether none at all is right too."""

    shortest_ms: Figure
    closed: bool


@dataclass(frozen=True, slots=True)
class Sync:
    """Against speech, ms: how early and how late a cue may start, how long it may stay after it."""

    earliest_ms: Figure
    lingers_ms: Figure
    latest_ms: Figure | None = None


@dataclass(frozen=True, slots=True)
class SoundLabels:
    """How a sound that nobody speaks is written, on a line of its own.

    ``extra_ms`` is reading time on top of what its words need.
    """

    form: Literal["capitals", "brackets"]
    clause: str
    extra_ms: Figure | None = None
    memory: bool = False


@dataclass(frozen=True, slots=True)
class Profile:
    """One source's figures; None where the source gives none. Columns count wide characters twice.

    ``starts_after_ms`` is how long after the first sound a cue is to start; ``lines_upright`` is for
    pictures higher than wide.
    """

    name: str
    source: str
    line_columns: Figure
    lines: Figure
    speed: Speed
    shortest_ms: Figure | None = None
    longest_ms: Figure | None = None
    gap: Gap | None = None
    sync: Sync | None = None
    starts_after_ms: Figure | None = None
    sound_labels: SoundLabels | None = None
    lines_upright: Figure | None = None

    def for_picture(self, width_px: int, height_px: int) -> Profile:
        """The figures for a picture of this shape: some sources allow more lines on an upright one."""
        if height_px <= width_px or self.lines_upright is None:
            return self
        return replace(self, lines=self.lines_upright)

    def needed_ms(self, columns: int, words: Fraction | int) -> int:
        """The shortest time a cue of this size may stay, whole milliseconds."""
        needed = self.speed.needed_ms(columns, words)
        return max(needed, self.shortest_ms.value if self.shortest_ms else 1)


_NOTES = "teachcut's own default, common practice for subtitles of recorded films"

#: Captions made from step notes, which nobody speaks: the default of teachcut.
NOTES = Profile(
    name="notes",
    source="teachcut",
    line_columns=Figure(42, _NOTES),
    lines=Figure(2, _NOTES),
    speed=Speed(Figure(20, _NOTES), "characters a second"),
    shortest_ms=Figure(1000, _NOTES),
    longest_ms=Figure(7000, _NOTES),
    sound_labels=SoundLabels("brackets", _NOTES),
)

_BBC = "BBC Subtitle Guidelines"

#: BBC Subtitle Guidelines, version 1.2.5, March 2026.
BBC = Profile(
    name="bbc",
    source="BBC Subtitle Guidelines v1.2.5 (March 2026)",
    line_columns=Figure(37, f"{_BBC} §3.1: 37 fixed-width characters"),
    lines=Figure(2, f"{_BBC} §3.3: two lines on a landscape or square picture"),
    lines_upright=Figure(3, f"{_BBC} §3.3: three lines on a vertical picture"),
    # §4.1 asks for about 0.3 s a word, which is 200 words a minute: the two clauses disagree,
    # and the slower one is kept.
    speed=Speed(Figure(180, f"{_BBC} §4: 160 to 180 words a minute"), "words a minute"),
    gap=Gap(
        Figure(1000, f"{_BBC} §4.5: no gap, or at least one second (better one and a half)"), True
    ),
    sync=Sync(
        Figure(1500, f"{_BBC} §5.2: not more than 1.5 s before the speech"),
        Figure(1500, f"{_BBC} §5.2: not more than 1.5 s after the speech has stopped"),
        Figure(2000, f"{_BBC} §5.4: never more than 2 s late"),
    ),
    sound_labels=SoundLabels(
        "capitals",
        f"{_BBC} §17: a label describes the sound, in capitals on a line of its own",
        Figure(1000, f"{_BBC} §4.3.3: one second more for a label"),
    ),
)

_KEY = "DCMP Captioning Key"
_DCMP_SHORTEST = Figure(2000, "DCMP captioning guidelines I.B.4: not less than 2 seconds")
_DCMP_LONGEST = Figure(6000, f"{_KEY}: six seconds", memory=True)
_DCMP_LINE = Figure(32, "DCMP captioning guidelines I.A.1(b): a 32-character line")
_DCMP_LINES = Figure(2, f"{_KEY}, Text: two lines", memory=True)


def _dcmp(level: str, words_a_minute: int, clause: str, memory: bool = False) -> Profile:
    return Profile(
        name=f"dcmp-{level}",
        source="DCMP Captioning Key (Described and Captioned Media Program)",
        line_columns=_DCMP_LINE,
        lines=_DCMP_LINES,
        speed=Speed(Figure(words_a_minute, clause, memory), "words a minute"),
        shortest_ms=_DCMP_SHORTEST,
        longest_ms=_DCMP_LONGEST,
        sound_labels=SoundLabels("brackets", f"{_KEY}, Sound Effects: in brackets", memory=True),
    )


DCMP_LOWER = _dcmp("lower", 130, f"{_KEY}, Presentation Rate: lower level, at most 130")
DCMP_MIDDLE = _dcmp("middle", 140, f"{_KEY}, Presentation Rate: middle level", memory=True)
DCMP_ADULT = _dcmp("adult", 160, "DCMP captioning guidelines I.B.2: special interest, 150 to 160")

_KARAMITROGLOU = "Karamitroglou 1998, "

#: A Proposed Set of Subtitling Standards in Europe, Translation Journal 2(2), April 1998.
KARAMITROGLOU = Profile(
    name="karamitroglou-1998",
    source="Karamitroglou, F.: A Proposed Set of Subtitling Standards in Europe (1998)",
    line_columns=Figure(35, _KARAMITROGLOU + "number of characters per line", memory=True),
    lines=Figure(2, _KARAMITROGLOU + "number of lines", memory=True),
    speed=Speed(
        Figure(180, _KARAMITROGLOU + "duration of a full two-line subtitle: 150 to 180"),
        "words a minute",
    ),
    shortest_ms=Figure(1500, _KARAMITROGLOU + "single-word subtitle", memory=True),
    longest_ms=Figure(6000, _KARAMITROGLOU + "duration of a full two-line subtitle: 6 s"),
    gap=Gap(Figure(250, _KARAMITROGLOU + "between two subtitles: 1/4 s", memory=True), False),
    sync=Sync(
        Figure(0, _KARAMITROGLOU + "leading-in time: not before the speech", memory=True),
        Figure(2000, _KARAMITROGLOU + "lagging-out time: at most 2 s", memory=True),
    ),
    starts_after_ms=Figure(250, _KARAMITROGLOU + "leading-in time: 1/4 s", memory=True),
)

#: Every profile a case file can name.
PROFILES: dict[str, Profile] = {
    profile.name: profile
    for profile in (NOTES, BBC, DCMP_LOWER, DCMP_MIDDLE, DCMP_ADULT, KARAMITROGLOU)
}
