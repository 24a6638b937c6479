"""Where each take of narration lies in the film, and which do not fit; values in, values out.

A take lies at the start of its step, sample 0 on the step's first frame. Its sound is needed to
the end of its last word and a breath more; what follows in the file is left out. A ``fast`` step
has been slowed for it before this is asked (``speedplan.no_faster_than`` with ``needed_s``).

One narration spoken over a whole cut becomes such takes too: it is split at its pauses, and each
piece keeps the distance that it had from its step's start.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from chapters.errors import InputError
from chapters.spans import Span
from chapters.times import duration_text, round_half_up

Late = Literal["refuse", "hold", "run on"]
ZERO = Fraction(0)
#: Room after the last word, so that no word is cut by the next picture; common practice.
BREATH_S = Fraction(3, 10)
#: Between a take that runs on and the next one.
BETWEEN_S = Fraction(3, 10)
#: Speaking rate where no earlier take tells the presenter's own; common practice.
USUAL_WPM = Fraction(150)
#: A pause at least this long separates phrases of a narration.
PHRASE_PAUSE_S = Fraction(35, 100)
#: Sound kept before a phrase's first and after its last word where the pause leaves room for it.
_MARGIN_S = Fraction(3, 20)
#: A phrase this far over its step's border is worth telling.
_STRADDLE_S = Fraction(1)


@dataclass(frozen=True, slots=True)
class SpokenTake:
    """A take as it was recorded.

    ``sound`` is what is laid, in seconds along the file; ``lead`` the silence wished between the
    step's start and it; ``words`` how many words it holds, 0 where that is not known.
    """

    step: str
    file: str
    sound: Span
    words: int = 0
    late: Late = "refuse"
    lead: Fraction = ZERO


@dataclass(frozen=True, slots=True)
class StepPlace:
    """Where a shown step lies in the film, cut seconds."""

    step: str
    cut: Span


@dataclass(frozen=True, slots=True)
class Laid:
    """Sound of a file from ``start`` on, laid from cut time ``at`` on for ``length`` seconds."""

    step: str
    file: str
    at: Fraction
    start: Fraction
    length: Fraction

    @property
    def cut(self) -> Span:
        """Where it sounds, cut seconds."""
        return Span(self.at, self.at + self.length)


@dataclass(frozen=True, slots=True)
class TooLong:
    """A take that does not fit: by how many seconds, about how many words, and what would help."""

    step: str
    file: str
    take_s: Fraction
    room_s: Fraction
    words: int
    advice: str

    @property
    def excess_s(self) -> Fraction:
        """Seconds that do not fit."""
        return self.take_s - self.room_s

    def __str__(self) -> str:
        return (
            f"{self.file}: the take of step {self.step!r} needs {_tenths(self.take_s)} s and has "
            f"{_tenths(self.room_s)} s: {_tenths(self.excess_s)} s too long, about {self.words} "
            f"words; {self.advice}"
        )


class TakesTooLong(InputError):
    """Every take that does not fit, in the order of the film."""

    def __init__(self, takes: tuple[TooLong, ...]) -> None:
        self.takes = takes
        super().__init__("\n".join(str(take) for take in takes))


@dataclass(frozen=True, slots=True)
class TakePlan:
    """``laid`` in the order of the film; ``holds``: how long a step's last picture must be held.

    With holds the film grows: plan it anew with them and lay the takes again, then none is left.
    """

    laid: tuple[Laid, ...]
    holds: Mapping[str, Fraction]
    too_long: tuple[TooLong, ...]

    def check(self) -> None:
        """Raise TakesTooLong where a take does not fit."""
        if self.too_long:
            raise TakesTooLong(self.too_long)


def _tenths(seconds: Fraction) -> str:
    tenths = -((-seconds * 10) // 1)  # rounded up: what is left out must suffice
    return f"{tenths // 10}.{tenths % 10}"


def take_sound(voice_s: Sequence[tuple[float, float]], length_s: Fraction) -> Span:
    """What of a take is laid: from its beginning to a breath after its last word.

    ``voice_s`` are spans of voice in seconds along the file; without any, the whole file.
    """
    if not voice_s:
        return Span(ZERO, length_s)
    end = Fraction(round(voice_s[-1][1] * 1000), 1000) + BREATH_S
    return Span(ZERO, min(length_s, end))


def needed_s(take: SpokenTake) -> Fraction:
    """How long the take's step must last for it, cut seconds."""
    return take.lead + take.sound.length


def shortest_steps(takes: Sequence[SpokenTake]) -> dict[str, Fraction]:
    """The least length of each step that has takes, cut seconds."""
    least: dict[str, Fraction] = {}
    for take in takes:
        least[take.step] = max(least.get(take.step, ZERO), needed_s(take))
    return least


def pace_wpm(takes: Sequence[tuple[int, float]]) -> Fraction:
    """The presenter's words per minute from (words, seconds of voice) of earlier takes.

    Takes of fewer than ten words tell little; without others the usual 150.
    """
    known = [(words, seconds) for words, seconds in takes if words >= 10 and seconds > 0]
    if not known:
        return USUAL_WPM
    minutes = Fraction(round(sum(seconds for _, seconds in known) * 1000), 60_000)
    return Fraction(sum(words for words, _ in known)) / minutes


def words_that_fit(length_s: Fraction, pace: Fraction = USUAL_WPM) -> int:
    """How many words fit in a step, a breath left at its end."""
    return max(0, int((length_s - BREATH_S) * pace / 60))


def lay_takes(
    takes: Sequence[SpokenTake],
    steps: Sequence[StepPlace],
    film_length: Fraction,
    pace: Fraction = USUAL_WPM,
) -> TakePlan:
    """Lay every take at its step; find holds and all takes that do not fit.

    ``steps`` are the shown steps in film order; takes of steps not shown are left out. A take
    that runs on may reach to the end of the film; the next take then begins after it.
    """
    laid: list[Laid] = []
    holds: dict[str, Fraction] = {}
    too_long: list[TooLong] = []
    by_step = {take.step: take for take in takes}
    free = ZERO
    for place in steps:
        take = by_step.get(place.step)
        if take is None:
            continue
        at = max(place.cut.start + take.lead, free)
        last = film_length if take.late == "run on" else place.cut.end
        excess = at + take.sound.length - last
        if excess > 0 and take.late == "hold":
            holds[place.step] = excess
        elif excess > 0:
            too_long.append(_too_long(take, at, last, pace))
        laid.append(Laid(take.step, take.file, at, take.sound.start, take.sound.length))
        if take.late == "run on":
            free = at + take.sound.length + BETWEEN_S
    return TakePlan(tuple(laid), holds, tuple(too_long))


def _too_long(take: SpokenTake, at: Fraction, last: Fraction, pace: Fraction) -> TooLong:
    room = max(ZERO, last - at)
    excess = take.sound.length - room
    own = take.words / take.sound.length if take.words else pace / 60
    words = -((-excess * own) // 1)
    advice = "leave out that much and record it again, or write late: hold or late: run on"
    if take.late == "run on":
        advice = "the film ends before it; leave out that much, or write late: hold"
    return TooLong(take.step, take.file, take.sound.length, room, int(words), advice)


@dataclass(frozen=True, slots=True)
class TalkSplit:
    """Pieces of one narration by step, and what is worth telling about the split."""

    pieces: tuple[SpokenTake, ...]
    notices: tuple[str, ...]


def split_talk(
    file: str,
    voice_s: Sequence[tuple[float, float]],
    steps: Sequence[StepPlace],
    length_s: Fraction,
    late: Late = "refuse",
) -> TalkSplit:
    """Split a narration at its pauses, each phrase to the step under which most of it was said.

    ``steps`` lie in the cut that was spoken over, whose time 0 is the narration's. What was said
    over a card goes to the step before it, or to the first. Raises ValueError without steps.
    """
    if not steps:
        raise ValueError("a narration cannot be split without steps")
    phrases = _phrases(voice_s)
    owners = _owners(phrases, steps)
    pieces = []
    for number, place in enumerate(steps):
        own = [index for index, owner in enumerate(owners) if owner == number]
        if own:
            sound = _with_margins(phrases, own[0], own[-1], length_s)
            lead = max(ZERO, sound.start - place.cut.start)
            pieces.append(SpokenTake(place.step, file, sound, 0, late, lead))
    return TalkSplit(tuple(pieces), _straddling(phrases, owners, steps))


def _phrases(voice_s: Sequence[tuple[float, float]]) -> list[Span]:
    out: list[Span] = []
    for start_s, end_s in voice_s:
        span = Span(Fraction(round(start_s * 1000), 1000), Fraction(round(end_s * 1000), 1000))
        if out and span.start - out[-1].end < PHRASE_PAUSE_S:
            out[-1] = Span(out[-1].start, span.end)
        else:
            out.append(span)
    return out


def _owners(phrases: Sequence[Span], steps: Sequence[StepPlace]) -> list[int]:
    """For each phrase the number of its step; never earlier than the phrase before."""
    owners: list[int] = []
    for phrase in phrases:
        shared = [
            min(phrase.end, place.cut.end) - max(phrase.start, place.cut.start) for place in steps
        ]
        best = max(range(len(steps)), key=lambda number: shared[number])
        if shared[best] <= 0:
            begun = [n for n, place in enumerate(steps) if place.cut.start <= phrase.start]
            best = begun[-1] if begun else 0
        owners.append(max(best, owners[-1]) if owners else best)
    return owners


def _with_margins(phrases: Sequence[Span], first: int, last: int, length_s: Fraction) -> Span:
    """From a little before phrase ``first`` to a breath after ``last``, at most half each pause."""
    before = phrases[first - 1].end if first else ZERO
    after = phrases[last + 1].start if last + 1 < len(phrases) else length_s
    start = max(phrases[first].start - _MARGIN_S, (before + phrases[first].start) / 2)
    if first == 0:
        start = max(ZERO, phrases[0].start - _MARGIN_S)
    end = min(phrases[last].end + BREATH_S, (phrases[last].end + after) / 2)
    if last + 1 == len(phrases):
        end = min(phrases[last].end + BREATH_S, length_s)
    return Span(start, max(start, end))


def _straddling(
    phrases: Sequence[Span], owners: Sequence[int], steps: Sequence[StepPlace]
) -> tuple[str, ...]:
    notices = []
    for phrase, owner in zip(phrases, owners, strict=True):
        cut = steps[owner].cut
        over = max(cut.start - phrase.start, phrase.end - cut.end)
        if over > _STRADDLE_S:
            notices.append(
                f"what is said from {duration_text(phrase.start)} on lies {_tenths(over)} s outside "
                f"step {steps[owner].step!r}, to which most of it belongs, and stays in one piece"
            )
    return tuple(notices)


def sample(seconds: Fraction, rate_hz: int = 48_000) -> int:
    """The sample at an exact time: rounded once, so that no error adds up along a film."""
    return round_half_up(seconds * rate_hz)
