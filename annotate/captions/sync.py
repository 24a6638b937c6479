"""Cues against the words they were made from: are they in step with the speech?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from annotate.captions.cues import Complaint, Cue, TimedWord
from annotate.captions.profiles import Figure, Profile
from annotate.captions.spoken import character_times, letters, plain_words


def check_sync(
    cues: Sequence[Cue], words: Sequence[TimedWord], profile: Profile
) -> tuple[Complaint, ...]:
    """Where cues start too early or too late, or stay too long, by the profile's figures of sync.

    ``words`` are those of the cues, all of them and in their order. Raises ValueError where the
    letters do not match.
    """
    if profile.sync is None:
        return ()
    rules = profile.sync
    out: list[Complaint] = []
    for number, (cue, start_ms, end_ms) in enumerate(_spoken(cues, plain_words(words)), start=1):
        for rule, found, figure in (
            ("starts before the speech", start_ms - cue.start_ms, rules.earliest_ms),
            ("starts after the speech", cue.start_ms - start_ms, rules.latest_ms),
            ("stays after the speech", cue.end_ms - end_ms, rules.lingers_ms),
        ):
            if figure is not None and found > figure.value:
                out.append(_complaint(cue, number, rule, found, figure))
    return tuple(out)


def _complaint(cue: Cue, number: int, rule: str, found_ms: int, figure: Figure) -> Complaint:
    found, allowed = Fraction(found_ms, 1000), Fraction(figure.value, 1000)
    return Complaint(rule, found, allowed, "s", number, cue.start_ms, cue.step, figure.source)


def _spoken(cues: Sequence[Cue], words: Sequence[TimedWord]) -> Iterator[tuple[Cue, int, int]]:
    """Each cue with the time its first letter begins and its last one ends at."""
    said = "".join(word.text for word in words).replace(" ", "")
    shown = "".join(line for cue in cues for line in cue.lines).replace(" ", "")
    if said != shown:
        same = next((n for n, (a, b) in enumerate(zip(said, shown, strict=False)) if a != b), -1)
        place = same if same >= 0 else min(len(said), len(shown))
        raise ValueError(
            f"the captions and the words differ after {place} letters: "
            f"{shown[place : place + 20]!r} shown, {said[place : place + 20]!r} said"
        )
    times = character_times(words)
    at = 0
    for cue in cues:
        size = sum(map(letters, cue.lines))
        yield cue, times[at][0], times[at + size - 1][1]
        at += size
