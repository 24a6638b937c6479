"""The values a page shows, read from the JSON that a finished case folder holds.

All times are exact seconds (``Fraction``); spans are half-open. Nothing here opens a file: the
functions take what ``json.loads`` returned and raise InputError naming the file and the field.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from chapters.case import Ask
from chapters.errors import InputError
from chapters.spans import Span
from chapters.times import from_exact_text

PieceKind = Literal["footage", "still", "card"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of the film. ``speed`` is recording seconds per cut second at its two ends.

    ``caption`` is what a still shows.
    """

    kind: PieceKind
    cut: Span
    recording: Span | None
    clinical: Span | None
    speed: tuple[Fraction, Fraction]
    step: str | None
    caption: str = ""


@dataclass(frozen=True, slots=True)
class AwayTime:
    """Clinical time no picture shows: at recording time ``at``, from clinical time ``clinical`` on."""

    at: Fraction
    clinical: Fraction
    lasted: Fraction
    reason: str


@dataclass(frozen=True, slots=True)
class Hidden:
    """Recorded and not shown; ``step`` is None between steps."""

    recording: Span
    clinical: Span
    step: str | None


@dataclass(frozen=True, slots=True)
class StepTimes:
    """One step as the film and the table tell it; ``cut`` is None where the film leaves it out."""

    number: int
    id: str
    title: str
    phase: str
    note: str
    show: str
    speed: str
    cut: Span | None
    recording: Span
    clinical: Span
    clinical_s: Fraction
    on_camera_s: Fraction
    away_s: Fraction
    shown_real_s: Fraction
    shown_fast_s: Fraction
    not_shown_s: Fraction
    expect: Span | None
    against_expected: str
    difference_s: Fraction
    ask: Ask | None
    picture: str = ""


@dataclass(frozen=True, slots=True)
class ToothNumbers:
    """One tooth in both notations, with its name in words."""

    fdi: str
    universal: str
    name: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A still laid in: its file beside the page and what it shows."""

    file: str
    caption: str


@dataclass(frozen=True, slots=True)
class Cue:
    """One caption, in whole milliseconds of cut time; lines are joined by a line feed."""

    start_ms: int
    end_ms: int
    text: str


@dataclass(frozen=True, slots=True)
class Words:
    """The captions in one language (BCP 47 tag)."""

    language: str
    file: str
    cues: tuple[Cue, ...]


@dataclass(frozen=True, slots=True)
class LedgerSums:
    """Where every clinical second went; ``cards`` and ``stills`` are cut time only."""

    real: Fraction
    fast: Fraction
    not_shown: Fraction
    away: Fraction
    total: Fraction
    cards: Fraction
    stills: Fraction


@dataclass(frozen=True, slots=True)
class PageData:
    """All that one viewer page shows. ``film``, ``small`` and ``poster`` are names beside the page.

    ``small`` is the small AV1 file of the film, offered first, or "".
    """

    case: str
    title: str
    subject: str
    publishable: bool
    notice: str
    tooth: ToothNumbers | None
    procedure: str
    presenter: str
    tags: tuple[str, ...]
    language: str
    fps: Fraction
    length: Fraction
    steps: tuple[StepTimes, ...]
    pieces: tuple[Piece, ...]
    away: tuple[AwayTime, ...]
    hidden: tuple[Hidden, ...]
    ledger: LedgerSums
    cautions: tuple[str, ...]
    words: tuple[Words, ...] = ()
    words_in_picture: bool = False
    pictures: tuple[Picture, ...] = ()
    film: str = "teaching-cut.mp4"
    poster: str = ""
    small: str = ""


@dataclass(frozen=True, slots=True)
class Field:
    """A JSON object with its place, so that every fault names where it stands."""

    file: str
    at: str
    value: Mapping[str, Any]

    def wrong(self, name: str, found: object, wanted: str) -> InputError:
        """The error for a field that does not hold what it should."""
        place = f"{self.at}.{name}" if self.at else name
        return InputError(
            f"{self.file}: {place}: found {found!r}, wanted {wanted}; make the case again"
        )

    def text(self, name: str) -> str:
        """A text; absent or null reads as empty."""
        found = self.value.get(name)
        if found is None:
            return ""
        if not isinstance(found, str):
            raise self.wrong(name, found, "text")
        return found

    def needed_text(self, name: str) -> str:
        """A text that must be there."""
        found = self.text(name)
        if not found:
            raise self.wrong(name, self.value.get(name), "text")
        return found

    def yes(self, name: str, absent: bool | None = None) -> bool:
        """A truth value; only a real ``true`` counts. ``absent``: what a missing field means."""
        found = self.value.get(name, absent)
        if not isinstance(found, bool):
            raise self.wrong(name, found, "true or false")
        return found

    def whole(self, name: str) -> int:
        """A whole number."""
        found = self.value.get(name)
        if not isinstance(found, int) or isinstance(found, bool):
            raise self.wrong(name, found, "a whole number")
        return found

    def seconds(self, name: str) -> Fraction:
        """Exact seconds."""
        return self._exact(name, self.value.get(name))

    def _exact(self, name: str, found: object) -> Fraction:
        if isinstance(found, bool) or not isinstance(found, (str, int, float)):
            raise self.wrong(name, found, "seconds")
        try:
            return from_exact_text(str(found))
        except (ValueError, ZeroDivisionError):
            raise self.wrong(name, found, "seconds") from None

    def pair(self, name: str) -> tuple[Fraction, Fraction] | None:
        """Two exact numbers, or None for null."""
        found = self.value.get(name)
        if found is None:
            return None
        if not isinstance(found, (list, tuple)) or len(found) != 2:
            raise self.wrong(name, found, "two times")
        return self._exact(name, found[0]), self._exact(name, found[1])

    def span(self, name: str) -> Span | None:
        """A half-open span, or None for null."""
        both = self.pair(name)
        if both is None:
            return None
        if both[1] < both[0]:
            raise self.wrong(name, self.value.get(name), "a start before its end")
        return Span(*both)

    def needed_span(self, name: str) -> Span:
        """A span that must be there."""
        found = self.span(name)
        if found is None:
            raise self.wrong(name, None, "two times")
        return found

    def texts(self, name: str) -> tuple[str, ...]:
        """A list of texts; absent or null reads as empty."""
        found = self.value.get(name) or []
        if not isinstance(found, list) or not all(isinstance(one, str) for one in found):
            raise self.wrong(name, found, "a list of texts")
        return tuple(found)

    def objects(self, name: str) -> tuple[Field, ...]:
        """A list of objects; absent or null reads as empty."""
        found = self.value.get(name) or []
        if not isinstance(found, list) or not all(isinstance(one, Mapping) for one in found):
            raise self.wrong(name, found, "a list of objects")
        place = f"{self.at}.{name}" if self.at else name
        return tuple(Field(self.file, f"{place}[{i}]", one) for i, one in enumerate(found))

    def object(self, name: str) -> Field | None:
        """An object, or None for null."""
        found = self.value.get(name)
        if found is None:
            return None
        if not isinstance(found, Mapping):
            raise self.wrong(name, found, "an object")
        return Field(self.file, f"{self.at}.{name}" if self.at else name, found)


def read_pieces(time_map: Field) -> tuple[Piece, ...]:
    """The pieces of ``time-map.json`` in the order of the film."""
    kinds: dict[str, PieceKind] = {"footage": "footage", "still": "still", "card": "card"}
    out = []
    for one in time_map.objects("pieces"):
        kind = kinds.get(one.text("kind"))
        if kind is None:
            raise one.wrong("kind", one.value.get("kind"), "footage, still or card")
        speed = one.pair("speed") or (Fraction(1), Fraction(1))
        recording, clinical = one.span("recording"), one.span("clinical")
        if kind == "footage" and (recording is None or clinical is None):
            raise one.wrong("recording", None, "two times")
        step = one.text("step") or None
        still = one.object("still")
        caption = still.text("caption") if still else ""
        out.append(Piece(kind, one.needed_span("cut"), recording, clinical, speed, step, caption))
    return tuple(out)


def read_away(time_map: Field) -> tuple[AwayTime, ...]:
    """The away intervals of ``time-map.json``."""
    return tuple(
        AwayTime(a.seconds("at"), a.seconds("clinical"), a.seconds("lasted"), a.text("reason"))
        for a in time_map.objects("away")
    )


def read_hidden(ledger: Field) -> tuple[Hidden, ...]:
    """What was recorded and is not shown, from ``ledger.json``, broken at the steps."""
    return tuple(
        Hidden(h.needed_span("recording"), h.needed_span("clinical"), h.text("step") or None)
        for h in ledger.objects("hidden")
    )


def read_steps(step_times: Field, pictures: Mapping[int, str]) -> tuple[StepTimes, ...]:
    """The steps of ``step-times.json``; ``pictures`` gives the file of a step's picture by number."""
    return tuple(_step(one, pictures) for one in step_times.objects("steps"))


def _step(one: Field, pictures: Mapping[int, str]) -> StepTimes:
    number = one.whole("number")
    return StepTimes(
        number=number,
        id=one.needed_text("id"),
        title=one.needed_text("title"),
        phase=one.text("phase"),
        note=one.text("note"),
        show=one.text("show"),
        speed=one.text("speed"),
        cut=one.span("cut"),
        recording=one.needed_span("recording"),
        clinical=one.needed_span("clinical"),
        clinical_s=one.seconds("clinical_s"),
        on_camera_s=one.seconds("on_camera_s"),
        away_s=one.seconds("away_s"),
        shown_real_s=one.seconds("shown_real_s"),
        shown_fast_s=one.seconds("shown_fast_s"),
        not_shown_s=one.seconds("not_shown_s"),
        expect=one.span("expect"),
        against_expected=one.text("against_expected"),
        difference_s=one.seconds("difference_s") if one.value.get("difference_s") else Fraction(0),
        ask=_ask(one.object("ask")),
        picture=pictures.get(number, ""),
    )


def _ask(one: Field | None) -> Ask | None:
    if one is None:
        return None
    return Ask(
        one.needed_text("question"), one.texts("choices"), one.text("answer"), one.text("look")
    )


def read_tooth(step_times: Field) -> ToothNumbers | None:
    """The tooth in both notations, or None where the case names none."""
    one = step_times.object("tooth")
    if one is None:
        return None
    return ToothNumbers(one.needed_text("fdi"), one.needed_text("universal"), one.text("name"))


def read_ledger(ledger: Field) -> LedgerSums:
    """The sums of ``ledger.json``."""
    names: Sequence[str] = ("real", "fast", "not_shown", "away", "total", "cards", "stills")
    return LedgerSums(*(ledger.seconds(name) for name in names))
