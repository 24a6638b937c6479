"""Spoken words, each with its time, as captions: laid out over the whole take at once."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from annotate.captions.cues import Cue, TimedWord
from annotate.captions.layout import Block, Layout
from annotate.captions.phrases import Piece, joins_unspaced, pieces_of, single_spaced
from annotate.captions.profiles import NOTES, Profile
from annotate.captions.sentences import sentence_ends
from annotate.textunits import word_count
from chapters.markers.titles import plain_text

#: A silence longer than this always ends a caption.
PAUSE_MS = 1000
#: A silence this long makes a border a better one; all there is in text without punctuation.
BREATH_MS = 300
#: Pauses between captions shorter than this are closed where the profile has no rule: they flicker.
_FLICKER_MS = 500
#: Price of a caption for every second it lacks to be read, and to be read in comfort.
_TOO_SHORT, _TIGHT = 12.0, 1.5
#: Comfortable reading against the fastest allowed, per cent (20 against 17 characters a second).
_COMFORT = 118
#: What a breath leaves of a border's price, in text with punctuation and in text without.
_BREATH, _BREATH_ALONE = 0.4, 0.1
#: How long the last cue of a take may stay after it where nobody says.
_AFTER_LAST_MS = 3000


@dataclass(frozen=True, slots=True)
class _Take:
    """The layout's pieces with the times each begins and ends at, and sums along them."""

    layout: Layout
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    words: tuple[Fraction, ...]
    pauses: tuple[int, ...]
    until_ms: int
    profile: Profile

    def next_start(self, stop: int) -> int:
        """Where the speech after piece ``stop - 1`` begins, or the take's own end."""
        return self.starts[stop] if stop < len(self.starts) else self.until_ms

    def needed_ms(self, first: int, stop: int) -> int:
        """The shortest time in which the pieces can be read."""
        words = self.words[stop] - self.words[first]
        return self.profile.needed_ms(self.layout.width(first, stop), words)


def words_to_cues(
    words: Sequence[TimedWord],
    profile: Profile = NOTES,
    *,
    step: str = "",
    until_ms: int | None = None,
    language: str = "en",
    abbreviations: Collection[str] = (),
) -> tuple[Cue, ...]:
    """The words of one take as cues, in their order, none left out.

    ``words`` stand by start. No cue ends after ``until_ms`` (default: whatever the last one needs)
    unless the words do. A cue starts with its first word, or as much later as the profile says,
    never spans a silence of more than a second, and stays until it can be read, as far as the next
    cue and the profile let it. ``check_cues`` tells where the speech is faster than the profile's
    reader. Raises ValueError for words out of order.
    """
    spoken = plain_words(words)
    for before, after in pairwise(spoken):
        if after.start_ms < before.start_ms:
            raise ValueError(
                f"the word {after.text!r} starts at {after.start_ms} ms, before the one ahead of "
                f"it at {before.start_ms} ms; sort the words by start"
            )
    if not spoken:
        return ()
    take = _take(spoken, profile, until_ms, _pieces(spoken, profile, language, abbreviations))
    cues: list[Cue] = []
    for block in take.layout.blocks(lambda first, stop: _time_cost(take, first, stop)):
        start, end = _times(take, block, cues[-1].end_ms if cues else 0)
        cues.append(Cue(start, end, block.lines, step))
    return tuple(cues)


def plain_words(words: Sequence[TimedWord]) -> list[TimedWord]:
    """The words without controls and runs of space, empty ones left out; none ends before it starts."""
    return [word for word in map(_plain, words) if word.text]


def _plain(word: TimedWord) -> TimedWord:
    text = single_spaced(plain_text(word.text).replace("\u200b", ""))
    return TimedWord(text, word.start_ms, max(word.start_ms, word.end_ms))


def _pieces(
    words: Sequence[TimedWord], profile: Profile, language: str, abbreviations: Collection[str]
) -> tuple[Piece, ...]:
    """The pieces of all words, sentence by sentence."""
    line = ""
    for word in words:
        space = "" if not line or joins_unspaced(line, word.text) else " "
        line += space + word.text
    edges = [0, *sorted(sentence_ends(line, abbreviations))]
    sentences = [line[a:b].strip(" ") for a, b in pairwise(edges)]
    return pieces_of(filter(None, sentences), profile.line_columns.value, language)


def _take(
    words: Sequence[TimedWord], profile: Profile, until_ms: int | None, pieces: Sequence[Piece]
) -> _Take:
    """Each piece's times, found by counting characters along the words."""
    edges = character_times(words)
    starts, ends, counts, pauses = [], [], [Fraction(0)], [0]
    at = 0
    for piece in pieces:
        size = letters(piece.text)
        starts.append(edges[at][0])
        ends.append(edges[at + size - 1][1])
        counts.append(counts[-1] + word_count(piece.text))
        at += size
    for end, start in zip(ends, starts[1:], strict=False):
        pauses.append(pauses[-1] + (start - end > PAUSE_MS))
    last = until_ms if until_ms is not None else ends[-1] + _AFTER_LAST_MS
    silences = [start - end for start, end in zip([*starts[1:], last], ends, strict=True)]
    layout = Layout(_eased(pieces, silences), profile.line_columns.value, profile.lines.value)
    return _Take(layout, tuple(starts), tuple(ends), tuple(counts), tuple(pauses), last, profile)


def letters(text: str) -> int:
    """How many characters but spaces the text has: what words and captions have in common."""
    return len(text.replace(" ", ""))


def character_times(words: Sequence[TimedWord]) -> list[tuple[int, int]]:
    """Start and end of every character but spaces, spread evenly over its word."""
    out: list[tuple[int, int]] = []
    for word in words:
        count = letters(word.text)
        length = word.end_ms - word.start_ms
        marks = [word.start_ms + length * k // count for k in range(count + 1)]
        out.extend(pairwise(marks))
    return out


def _eased(pieces: Sequence[Piece], silences: Sequence[int]) -> list[Piece]:
    """A breath after a piece makes a break there cheaper, most where no punctuation guides."""
    punctuated = any(piece.text[-1] in ".,;:?!" for piece in pieces[:-1])
    left = _BREATH if punctuated else _BREATH_ALONE
    return [
        replace(piece, cost=piece.cost * left) if silence >= BREATH_MS else piece
        for piece, silence in zip(pieces, silences, strict=True)
    ]


def _time_cost(take: _Take, first: int, stop: int) -> float:
    """What time says about a caption: infinite where it may not be, else how hard it is to read."""
    if stop - first > 1:
        longest = take.profile.longest_ms
        if take.pauses[stop - 1] > take.pauses[first]:
            return math.inf
        if longest and take.ends[stop - 1] - take.starts[first] > longest.value:
            return math.inf
    room = take.next_start(stop) - _pause_ms(take.profile) - take.starts[first]
    needed = take.needed_ms(first, stop)
    short, tight = needed - room, needed * _COMFORT // 100 - room
    return _TOO_SHORT * max(0, short) / 1000 + _TIGHT * max(0, tight) / 1000


def _pause_ms(profile: Profile) -> int:
    return 0 if profile.gap is None or profile.gap.closed else profile.gap.shortest_ms.value


def _times(take: _Take, block: Block, free_ms: int) -> tuple[int, int]:
    """Start and end of one cue; ``free_ms`` is where the one before it ends."""
    profile = take.profile
    delay = profile.starts_after_ms.value if profile.starts_after_ms else 0
    spoken_until = take.ends[block.stop - 1]
    start = max(free_ms, take.starts[block.first] + delay)
    latest = take.next_start(block.stop)
    if block.stop < len(take.starts):
        latest += delay - _pause_ms(profile)
    needed = take.needed_ms(block.first, block.stop)
    end = max(spoken_until, start + needed * _COMFORT // 100)
    most = start + profile.longest_ms.value if profile.longest_ms else latest
    lingers = max(spoken_until + profile.sync.lingers_ms.value if profile.sync else most, end)
    end = min(end, most, latest)
    gap = profile.gap.shortest_ms.value if profile.gap else _FLICKER_MS
    if latest - end < gap and _pause_ms(profile) == 0:
        end = _closed_or_open(end, latest, min(most, lingers), max(spoken_until, latest - gap))
    return start, max(start + 1, end)


def _closed_or_open(end: int, latest: int, most: int, open_end: int) -> int:
    """No gap to the next cue where this one may stay so long, else a whole gap where it may go."""
    if latest <= most:
        return latest
    return open_end if open_end < end else end
