"""Captions from what was said: each scripted take aligned to its words, laid out over its step.

An alignment is kept by the content of take, script and lexicon: an edit elsewhere does not ask
for it again. Where nothing here can listen, the step's note makes its captions as before.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from annotate.cache import SegmentCache
from annotate.captions.cues import Cue, TimedWord
from annotate.captions.profiles import Profile
from annotate.captions.spoken import words_to_cues
from annotate.captions.terms import fix_terms, terms_of
from annotate.decide import Decided
from annotate.narrate import Heard
from annotate.progress import Report
from annotate.sound.takes import Laid
from annotate.speech.align import align_take
from annotate.speech.alignment import Alignment
from annotate.speech.lexicon import read_lexicon
from annotate.speech.sound import RATE_HZ
from annotate.version import VERSION
from chapters.errors import WorkError
from chapters.media.files import sha256_of
from chapters.media.takes import Spool, TakeReader
from chapters.times import milliseconds, short_clock_text


@dataclass(frozen=True)
class SpokenCues:
    """Captions of the steps that have a scripted take, by step, and what is worth telling of them."""

    cues: Mapping[str, tuple[Cue, ...]]
    notices: tuple[str, ...]


@dataclass(frozen=True)
class _Kept:
    """An alignment as it is kept: words with their times in the take, and sentences for the user."""

    words: tuple[TimedWord, ...]
    notices: tuple[str, ...]


def spoken_cues(
    decided: Decided, profile: Profile, cache: SegmentCache, report: Report
) -> SpokenCues:
    """Align every scripted take and lay its words out. Raises CaseFileError for a faulty lexicon."""
    plan = decided.plan
    scripted = [(laid, h) for laid in plan.laid for h in decided.narration.heard if _said(laid, h)]
    cues: dict[str, tuple[Cue, ...]] = {}
    notices: list[str] = []
    lexicon = _lexicon(decided) if scripted else {}
    terms = terms_of(dict(plan.case.terms))
    for number, (laid, heard) in enumerate(scripted):
        report("timing the words", number, len(scripted))
        try:
            kept = _aligned(heard, plan.case.language, lexicon, cache)
        except WorkError as error:
            notices.append(f"captions of step {laid.step} come from its note: {error}")
            continue
        notices += kept.notices
        words = [_moved(word, laid, terms) for word in kept.words]
        until = milliseconds(laid.cut.end)
        own = words_to_cues(
            words, profile, step=laid.step, until_ms=until, language=plan.case.language
        )
        cues[laid.step] = tuple(own)
    return SpokenCues(cues, tuple(notices))


def _said(laid: Laid, heard: Heard) -> bool:
    return heard.file == laid.file and bool(heard.script.strip())


def _moved(word: TimedWord, laid: Laid, terms: Mapping[str, str]) -> TimedWord:
    shift = milliseconds(laid.at - laid.start)
    return TimedWord(fix_terms(word.text, terms), word.start_ms + shift, word.end_ms + shift)


def _lexicon(decided: Decided) -> dict[str, str]:
    name = decided.plan.case.lexicon
    return read_lexicon(decided.loaded.path_of(name), name) if name else {}


def _aligned(heard: Heard, language: str, lexicon: Mapping[str, str], cache: SegmentCache) -> _Kept:
    said = json.dumps([VERSION, heard.script, language, sorted(lexicon.items())])
    key = hashlib.sha256(f"words {sha256_of(heard.path)} {said}".encode()).hexdigest()
    found = cache.get(key)
    if found is not None:
        try:
            return _from_values(json.loads(found.read_text("utf-8")))
        except (OSError, ValueError, KeyError, TypeError):
            cache.drop(key)
    with TakeReader(heard.path, heard.file, RATE_HZ) as reader, Spool(reader) as sound:
        kept = _worth_keeping(heard, align_take(sound, heard.script, language, lexicon))

    def write(path: Path) -> None:
        path.write_text(json.dumps(_values(kept)), encoding="utf-8")

    cache.put(key, write)
    return kept


def _worth_keeping(heard: Heard, found: Alignment) -> _Kept:
    told = [f"{heard.file}: {note}" for note in found.notes]
    for lack in found.not_spoken:
        what = "the sentence" if lack.whole else "the words"
        told.append(f"{heard.file} at {_at(lack.at_ms)}: {what} “{lack.text}” cannot be heard")
    for start, end in found.unscripted:
        told.append(
            f"{heard.file} at {_at(start)}: {(end - start) / 1000:.1f} s are spoken that the script "
            "does not hold; they have no captions"
        )
    return _Kept(found.timed_words(), tuple(told))


def _at(ms: int) -> str:
    return short_clock_text(Fraction(ms, 1000))


def _values(kept: _Kept) -> dict[str, Any]:
    return {
        "words": [[w.text, w.start_ms, w.end_ms] for w in kept.words],
        "notices": list(kept.notices),
    }


def _from_values(values: dict[str, Any]) -> _Kept:
    words = tuple(TimedWord(str(t), int(a), int(b)) for t, a, b in values["words"])
    return _Kept(words, tuple(str(n) for n in values["notices"]))
