"""The case as frozen values: what the case file says, with every word already understood.

Nothing here reads a file. ``casefile`` makes these values from text; everything else uses them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from chapters.times import RecordingTime

Subject = Literal["simulated", "patient"]
Late = Literal["refuse", "hold", "run on"]
Loudness = Literal["speech", "broadcast"]
ShowKind = Literal["real", "fixed", "fast", "skip"]

#: Speeds a ``fast`` step may be solved to when the case file names no limit of its own.
DEFAULT_FAST_LIMIT = Fraction(16)
#: Faster than this a step is better skipped; the clock's seconds blur beyond it.
HIGHEST_SPEED = Fraction(100)
DEFAULT_RAMP_S = Fraction(1)
DEFAULT_STILL_S = Fraction(4)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a value stands in the case file; line and column count from 1."""

    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class Tooth:
    """One tooth, kept as its ISO 3950 two-digit number (``"36"``) with the Universal twin (``"19"``)."""

    fdi: str
    universal: str


@dataclass(frozen=True, slots=True)
class Part:
    """One file of the recording as the case declares it.

    ``away_before`` is clinical time that passed before this part while nothing was recorded.
    ``overlap`` is how much of this part's start repeats the end of the part before (dropped).
    """

    file: str
    away_before: Fraction = Fraction(0)
    away_reason: str = "recorder stopped"
    overlap: Fraction = Fraction(0)
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class Away:
    """Clinical time that no picture shows: it passed at recording time ``at`` and lasted ``lasted`` s."""

    at: RecordingTime
    lasted: Fraction
    reason: str
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class Show:
    """How a step is shown. ``speed`` is set for ``fixed``, ``limit`` is the most a ``fast`` step takes."""

    kind: ShowKind
    speed: Fraction | None = None
    limit: Fraction = DEFAULT_FAST_LIMIT


@dataclass(frozen=True, slots=True)
class Expect:
    """The range in which a step's clinical duration is expected, both ends included, seconds."""

    low: Fraction
    high: Fraction


@dataclass(frozen=True, slots=True)
class Still:
    """A picture laid in at recording time ``at`` (None: the step's start) for ``hold`` cut seconds."""

    file: str
    at: RecordingTime | None = None
    hold: Fraction = DEFAULT_STILL_S
    caption: str = ""
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class Ask:
    """A question for the viewer. No ``choices`` means a free answer; ``look`` says where to look."""

    question: str
    choices: tuple[str, ...]
    answer: str
    look: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One named piece of the procedure; ``end`` None means: until the next step, or the recording's end.

    ``notes_in`` holds the note in other languages, as pairs of BCP 47 tag and text.
    """

    id: str
    title: str
    start: RecordingTime
    end: RecordingTime | None = None
    show: Show = Show("real")
    expect: Expect | None = None
    note: str = ""
    phase: str = ""
    stills: tuple[Still, ...] = ()
    ask: Ask | None = None
    notes_in: tuple[tuple[str, str], ...] = ()
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class Take:
    """Narration of one step: a sound file, what was meant to be said, and what to do when it is late.

    ``late`` counts where the step, as shown, is shorter than the take: ``refuse`` it, ``hold`` the
    step's last picture until the take ends, or let it ``run on`` into the next step.
    """

    step: str
    file: str
    script: str = ""
    late: Late = "refuse"
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class Talk:
    """One continuous narration, spoken over the cut whose time map was kept in ``cut``."""

    file: str
    cut: str
    script: str = ""
    late: Late = "refuse"
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class SoundLabel:
    """A sound of the room worth a caption (``drill whines``), heard from recording time ``at`` on."""

    at: RecordingTime
    text: str
    place: Place = field(default=Place(), compare=False)


@dataclass(frozen=True, slots=True)
class Consent:
    """The record that a patient's consent exists; teachcut keeps the reference, never the name."""

    reference: str
    covers: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """One procedure. Steps are in order of their start and do not overlap.

    ``length`` is the wished length of the whole film in seconds, or None. ``snap`` is the
    tolerance in seconds within which a step's start moves to the nearest scene cut (0: never).
    ``clocks_give_away`` says whether gaps between the parts' creation times count as away.
    ``room_sound`` keeps the recording's own sound. ``fps`` None means: chosen from the recording.
    ``height_px`` None means: the recording's own height. ``fonts`` are extra font files.
    ``terms`` are pairs of a spelling and the one that captions keep in its place; ``lexicon`` is a
    file of pronunciations or ""; ``recogniser`` a model's folder, the word ``pocketsphinx``, or "".
    ``captions`` names the readability profile; ``captions_in_picture`` draws them into the film.
    """

    id: str
    title: str
    parts: tuple[Part, ...]
    steps: tuple[Step, ...]
    subject: Subject = "simulated"
    consent: Consent | None = None
    tooth: Tooth | None = None
    away: tuple[Away, ...] = ()
    procedure: str = ""
    presenter: str = ""
    tags: tuple[str, ...] = ()
    language: str = "en"
    length: Fraction | None = None
    ramp: Fraction = DEFAULT_RAMP_S
    snap: Fraction = Fraction(0)
    clocks_give_away: bool = False
    room_sound: bool = False
    fps: Fraction | None = None
    height_px: int | None = None
    colour: Literal["auto", "bt601", "bt709"] = "auto"
    colour_range: Literal["auto", "limited", "full"] = "auto"
    fonts: tuple[str, ...] = ()
    narration: tuple[Take, ...] = ()
    talk: Talk | None = None
    loudness: Loudness = "speech"
    terms: tuple[tuple[str, str], ...] = ()
    lexicon: str = ""
    recogniser: str = ""
    sound_labels: tuple[SoundLabel, ...] = ()
    captions: str = "notes"
    captions_in_picture: bool = False

    @property
    def publishable(self) -> bool:
        """Whether the film may leave the practice: simulated, or with a consent record."""
        return self.subject == "simulated" or self.consent is not None
