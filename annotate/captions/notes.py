"""Step notes as captions: sentence by sentence, at the step's start, never past its end.

Nobody speaks a note, so only the reader sets the pace: a caption stays for a comfortable time
where the step has it, for the shortest readable time where it has not. A sentence is shown whole
or not at all, because half a sentence can say the opposite of the whole one.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

from annotate.captions.cues import Cue, NoteTooLong
from annotate.captions.layout import Block, Layout
from annotate.captions.phrases import pieces_of
from annotate.captions.profiles import NOTES, Profile
from annotate.captions.sentences import split_sentences
from annotate.textunits import columns, word_count
from chapters.spans import Span

#: A note starts this long after its step's first frame, so that the eye meets the picture first.
LEAD_MS = 200
#: No caption goes sooner while there is time.
_COMFORT_MS = 1500


@dataclass(frozen=True, slots=True)
class _Sized:
    """A block with the shortest time it can be read in, and a comfortable one."""

    lines: tuple[str, ...]
    columns: int
    ends_sentence: int
    needed_ms: int
    comfortable_ms: int


def notes_to_cues(
    notes: Iterable[tuple[str, str, Span]],
    profile: Profile = NOTES,
    *,
    language: str = "en",
    abbreviations: Collection[str] = (),
    lead_ms: int = LEAD_MS,
) -> tuple[tuple[Cue, ...], tuple[NoteTooLong, ...]]:
    """Cues of all notes in the order of their steps, and the notes their steps are too short for.

    ``notes`` are (step id, text, the step's span of cut time in seconds), spans disjoint and in
    any order; empty texts are passed over. ``language`` is a BCP 47 tag; ``abbreviations`` extend
    the built-in list. Of a note too long for its step the first whole sentences that fit are
    shown. Times are whole milliseconds inside the step's span.
    """
    ordered = sorted(notes, key=lambda note: note[2].start)
    cues: list[Cue] = []
    complaints: list[NoteTooLong] = []
    for index, (step, text, span) in enumerate(ordered):
        sentences = split_sentences(text, abbreviations)
        if not sentences:
            continue
        blocks = _sized(sentences, profile, language)
        start_ms = -(-span.start * 1000 // 1)
        stop_ms = _last_ms(span, ordered[index + 1 :], profile)
        fitting, complaint = _fit(step, blocks, stop_ms - start_ms, profile)
        if complaint is not None:
            complaints.append(complaint)
        cues.extend(_timed(step, fitting, (start_ms, stop_ms, lead_ms), profile))
    return tuple(cues), tuple(complaints)


def _sized(sentences: Sequence[str], profile: Profile, language: str) -> list[_Sized]:
    """The whole note laid out; no caption needs longer than the profile lets one stay."""
    line = profile.line_columns.value
    layout = Layout(pieces_of(sentences, line, language), line, profile.lines.value)
    counts = [Fraction(0), *accumulate(word_count(piece.text) for piece in layout.pieces)]

    def too_long(first: int, stop: int) -> float:
        needed = profile.needed_ms(layout.width(first, stop), counts[stop] - counts[first])
        longest = profile.longest_ms
        return math.inf if longest and needed > longest.value and stop - first > 1 else 0.0

    return [_size(layout, block, profile) for block in layout.blocks(too_long)]


def _size(layout: Layout, block: Block, profile: Profile) -> _Sized:
    read = sum(map(columns, block.lines)) + len(block.lines) - 1
    words = sum(map(word_count, block.lines), Fraction(0))
    needed = profile.needed_ms(read, words)
    comfortable = max(_COMFORT_MS, needed, profile.speed.needed_ms(read, words) * 4 // 3 + 500)
    if profile.longest_ms is not None:
        comfortable = min(comfortable, max(needed, profile.longest_ms.value))
    ends = sum(piece.ends_sentence for piece in layout.pieces[block.first : block.stop])
    return _Sized(block.lines, read, ends, needed, comfortable)


def _last_ms(span: Span, later: Sequence[tuple[str, str, Span]], profile: Profile) -> int:
    """The last millisecond a cue of this step may end at: the step's end, less the profile's gap."""
    stop_ms = int(span.end * 1000 // 1)
    following = [other.start for _, text, other in later if text.strip()]
    if profile.gap is not None and following:
        stop_ms = min(stop_ms, int(following[0] * 1000 // 1) - profile.gap.shortest_ms.value)
    return stop_ms


def _pause_ms(profile: Profile) -> int:
    """Between the cues of one note: none where the profile allows it."""
    return 0 if profile.gap is None or profile.gap.closed else profile.gap.shortest_ms.value


def _needed_ms(blocks: Sequence[_Sized], profile: Profile) -> int:
    pauses = _pause_ms(profile) * max(0, len(blocks) - 1)
    return sum(block.needed_ms for block in blocks) + pauses


def _fit(
    step: str, blocks: list[_Sized], room_ms: int, profile: Profile
) -> tuple[list[_Sized], NoteTooLong | None]:
    """The blocks up to the last sentence's end that has room, and by how much the rest has none."""
    needed = _needed_ms(blocks, profile)
    if needed <= room_ms:
        return blocks, None
    fitting = len(blocks) - 1
    while fitting and (
        _needed_ms(blocks[:fitting], profile) > room_ms or not blocks[fitting - 1].ends_sentence
    ):
        fitting -= 1
    shown = sum(block.ends_sentence for block in blocks[:fitting])
    total = sum(block.ends_sentence for block in blocks)
    over = needed - max(0, room_ms)
    return blocks[:fitting], NoteTooLong(step, over, _columns_over(blocks, over), shown, total)


def _columns_over(blocks: Sequence[_Sized], over_ms: int) -> int:
    """How many characters the missing time stands for, at the note's own mean pace."""
    read, needed = sum(b.columns for b in blocks), sum(b.needed_ms for b in blocks)
    return min(read, -(-over_ms * read // needed))


def _timed(
    step: str, blocks: Sequence[_Sized], room: tuple[int, int, int], profile: Profile
) -> list[Cue]:
    """The blocks one after another from the lead on, as comfortable as the room allows."""
    if not blocks:
        return []
    start_ms, stop_ms, lead_ms = room
    spare = stop_ms - start_ms - _needed_ms(blocks, profile)
    lead = min(lead_ms, spare)
    spare -= lead
    wish = sum(block.comfortable_ms - block.needed_ms for block in blocks)
    at = start_ms + lead
    cues = []
    for block in blocks:
        extra = block.comfortable_ms - block.needed_ms
        if wish > spare:
            extra = extra * spare // wish
        end = at + block.needed_ms + extra
        cues.append(Cue(at, end, block.lines, step))
        at = end + _pause_ms(profile)
    return cues
