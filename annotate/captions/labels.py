"""Sound labels among captions: a sound that nobody speaks, written in its profile's form.

A label stands alone where the captions leave it room, else on a line of its own in the caption
that is on the picture. It is never early by more than it takes to close a gap, and where there is
no room within two seconds it is left out and named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from annotate.captions.cues import Cue
from annotate.captions.profiles import NOTES, Profile, SoundLabels
from annotate.textunits import columns, word_count
from chapters.times import short_clock_text

#: A label later than this says nothing of its sound (BBC Subtitle Guidelines §5.4 for speech).
LATEST_MS = 2000
#: It stays longer than it must where nothing follows, per cent.
_COMFORT = 150


@dataclass(frozen=True, slots=True)
class RoomSound:
    """A sound heard in the film from ``at_ms`` on, and until when its picture is on; cut time."""

    text: str
    at_ms: int
    until_ms: int
    step: str = ""


def label_text(text: str, profile: Profile) -> str:
    """The label in its profile's form: ``[drill whines]`` or ``DRILL WHINES``."""
    bare = text.strip().removeprefix("[").removesuffix("]").strip()
    return bare.upper() if _labels(profile).form == "capitals" else f"[{bare}]"


def needed_ms(line: str, profile: Profile) -> int:
    """The shortest time a label may stay, whole milliseconds."""
    extra = _labels(profile).extra_ms
    return profile.needed_ms(columns(line), word_count(line)) + (extra.value if extra else 0)


def _labels(profile: Profile) -> SoundLabels:
    own = profile.sound_labels or NOTES.sound_labels
    assert own is not None
    return own


def lay_labels(
    cues: Sequence[Cue], sounds: Sequence[RoomSound], profile: Profile
) -> tuple[tuple[Cue, ...], tuple[str, ...]]:
    """The cues with the labels among them, and a sentence for each label that has no room.

    ``cues`` stand in order and apart, and so do the cues returned.
    """
    out = list(cues)
    left_out = []
    for sound in sounds:
        line = label_text(sound.text, profile)
        if not (_alone(out, sound, line, profile) or _joined(out, sound, line, profile)):
            left_out.append(
                f"the sound label “{line}” at {short_clock_text(Fraction(sound.at_ms, 1000))} of the "
                "film has no room beside the captions there and is left out"
            )
    return tuple(out), tuple(left_out)


def _alone(cues: list[Cue], sound: RoomSound, line: str, profile: Profile) -> bool:
    """A cue of its own in the first pause that holds it."""
    needed = needed_ms(line, profile)
    wished = needed * _COMFORT // 100
    longest = profile.longest_ms.value if profile.longest_ms else wished
    for place, free_ms, next_ms in _pauses(cues, sound):
        start = _start(free_ms, sound.at_ms, profile)
        latest = sound.until_ms if next_ms is None else next_ms
        end = _end(start, min(start + min(wished, longest), latest), next_ms, profile)
        if start - sound.at_ms <= LATEST_MS and end - start >= needed:
            cues.insert(place, Cue(start, end, (line,), sound.step))
            return True
    return False


def _pauses(cues: Sequence[Cue], sound: RoomSound) -> Iterator[tuple[int, int | None, int | None]]:
    """Where the label would stand, the end of the cue before it and the start of the cue after it."""
    for place in range(len(cues) + 1):
        free = cues[place - 1].end_ms if place else None
        following = cues[place].start_ms if place < len(cues) else None
        if following is None or following > sound.at_ms:
            yield place, free, following


def _start(free_ms: int | None, at_ms: int, profile: Profile) -> int:
    """As soon as the sound begins; a gap that the profile forbids is closed or kept whole."""
    if free_ms is None:
        return at_ms
    start = max(at_ms, free_ms)
    gap = profile.gap
    if gap is None or start - free_ms >= gap.shortest_ms.value:
        return start
    return free_ms if gap.closed else free_ms + gap.shortest_ms.value


def _end(start_ms: int, end_ms: int, next_ms: int | None, profile: Profile) -> int:
    """The same before the next cue."""
    gap = profile.gap
    if gap is None or next_ms is None or next_ms - end_ms >= gap.shortest_ms.value:
        return end_ms
    longest = profile.longest_ms
    if gap.closed and (longest is None or next_ms - start_ms <= longest.value):
        return next_ms
    return next_ms - gap.shortest_ms.value


def _joined(cues: list[Cue], sound: RoomSound, line: str, profile: Profile) -> bool:
    """A line of its own above the words of the cue on the picture, where that can still be read."""
    extra = _labels(profile).extra_ms
    for place, cue in enumerate(cues):
        if cue.end_ms <= sound.at_ms or cue.start_ms > sound.at_ms + LATEST_MS:
            continue
        both = replace(cue, lines=(line, *cue.lines))
        needed = profile.needed_ms(both.columns, both.words) + (extra.value if extra else 0)
        narrow = columns(line) <= profile.line_columns.value
        if narrow and len(both.lines) <= profile.lines.value and needed <= cue.length_ms:
            cues[place] = both
            return True
    return False
