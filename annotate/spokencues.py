"""Captions from what was said: each take's words with their times, laid out over its step.

A scripted take is aligned to its words. A take without a script is heard by the recogniser that
the case names, and what it hears is a draft. Both are kept by content: an edit elsewhere does not
ask for them again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any

from annotate.cache import SegmentCache
from annotate.captions.cues import Complaint, Cue, TimedWord
from annotate.captions.spoken import words_to_cues
from annotate.captions.sync import check_sync
from annotate.captions.terms import fix_timed, terms_of
from annotate.decide import Decided
from annotate.narrate import Heard, told
from annotate.progress import Report
from annotate.sound.faults import Fault
from annotate.sound.takes import PHRASE_PAUSE_S, Laid
from annotate.speech.align import align_take
from annotate.speech.alignment import Alignment
from annotate.speech.draft import WEAK, hear_take
from annotate.speech.heard import Recogniser
from annotate.speech.lexicon import read_lexicon
from annotate.speech.plugs import load_recogniser, model_files
from annotate.speech.sound import RATE_HZ
from annotate.speech.spoken import is_english
from annotate.version import VERSION
from chapters.casefile import mistake_at
from chapters.errors import CaseFileError, DiskFull, RecordingError, WorkError
from chapters.media.files import sha256_of
from chapters.media.takes import Spool, TakeReader
from chapters.times import milliseconds

#: The form in which words are kept; another one is not read.
_FORM = "2"
#: A pause this long begins a new line in the text that is to be corrected.
_HEARD_PAUSE_MS = 700


@dataclass(frozen=True)
class SpokenCues:
    """Captions of the steps that are spoken over, by step, and what is worth telling of them.

    ``drafts`` holds, by step, the text that a recogniser heard and nobody has read;
    ``complaints`` is what the profile says against their times.
    """

    cues: Mapping[str, tuple[Cue, ...]]
    drafts: Mapping[str, str]
    notices: tuple[str, ...]
    complaints: tuple[Complaint, ...]


@dataclass(frozen=True)
class _Kept:
    """What was heard of a take, as it is kept: words with their times in the take, and findings.

    ``notes`` are about the whole take. ``by`` names the recogniser where there was no script.
    """

    words: tuple[TimedWord, ...]
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()
    by: str = ""


@dataclass
class _Found:
    """What grows while the takes are gone through."""

    cues: dict[str, tuple[Cue, ...]] = field(default_factory=dict)
    drafts: dict[str, str] = field(default_factory=dict)
    notices: list[str] = field(default_factory=list)
    complaints: list[Complaint] = field(default_factory=list)


def spoken_cues(decided: Decided, cache: SegmentCache, report: Report) -> SpokenCues:
    """Find every take's words and lay them out.

    A step whose take gives no words is left out: its note makes its captions. Raises CaseFileError
    for a faulty lexicon and for a model that cannot be loaded.
    """
    plan = decided.plan
    pairs = [(laid, heard) for laid in plan.laid if (heard := _heard(decided, laid)) is not None]
    listener = _Listener(decided, cache)
    kept: dict[str, _Kept | None] = {}
    found = _Found()
    for number, (laid, heard) in enumerate(pairs):
        report("timing the words", number, len(pairs))
        key = f"{heard.file}\n{heard.script}"
        if key not in kept:
            kept[key] = _listen(listener, heard, laid, found)
        one = kept[key]
        if one is not None:
            rivals = [other for other, theirs in pairs if theirs is heard]
            _lay(decided, laid, one, rivals, found)
    return SpokenCues(found.cues, found.drafts, tuple(found.notices), tuple(found.complaints))


def _heard(decided: Decided, laid: Laid) -> Heard | None:
    return decided.narration.heard_over(laid.step)


def _listen(listener: _Listener, heard: Heard, laid: Laid, found: _Found) -> _Kept | None:
    """A take's words; None, and a notice that says why, where there are none to be had."""
    if not heard.script.strip() and not listener.recogniser_name:
        noted = any(row.id == laid.step and row.note for row in listener.rows)
        lacks = f"step {laid.step} has {'those of its note' if noted else 'none'}"
        found.notices.append(
            f"{heard.file}: no script to make captions from, so {lacks}; write script: and what is "
            "said, or recogniser: and a model's folder"
        )
        return None
    try:
        kept = listener.words(heard)
    except WorkError as error:
        found.notices.append(f"captions of step {laid.step} come from its note: {error}")
        return None
    found.notices += [f"{heard.file}: {note}" for note in kept.notes]
    found.notices += told(heard, kept.faults)
    return kept


def _lay(decided: Decided, laid: Laid, kept: _Kept, rivals: Sequence[Laid], found: _Found) -> None:
    """Captions of one laid take, or of one piece of a talk (``rivals`` are all its pieces)."""
    plan, profile = decided.plan, decided.profile
    of_talk = laid.step not in decided.narration.by_step
    own = [word for word in kept.words if not of_talk or _piece_of(word, rivals) is laid]
    words = fix_timed([_moved(word, laid) for word in own], terms_of(dict(plan.case.terms)))
    if not words:
        return
    until = milliseconds(laid.cut.end)
    language = plan.case.language
    cues = words_to_cues(words, profile, step=laid.step, until_ms=until, language=language)
    found.cues[laid.step] = tuple(cues)
    found.complaints += check_sync(cues, words, profile)
    if kept.by:
        found.drafts[laid.step] = _as_script(words)
        drawn = ", not drawn into the picture" if plan.case.captions_in_picture else ""
        copy = (
            "put its words into the talk's script:" if of_talk else "name a copy of it as script:"
        )
        found.notices.append(
            f"captions of step {laid.step} are a draft{drawn}, heard in {laid.file} by {kept.by}; "
            f"correct heard-{laid.step}.txt in the results and {copy}"
        )


def _piece_of(word: TimedWord, pieces: Sequence[Laid]) -> Laid | None:
    """The piece of a talk that a word belongs to, None where the film leaves that part out."""
    middle = Fraction(word.start_ms + word.end_ms, 2000)

    def apart(piece: Laid) -> Fraction:
        return max(piece.start - middle, middle - piece.start - piece.length, Fraction(0))

    nearest = min(pieces, key=apart)
    return nearest if apart(nearest) <= PHRASE_PAUSE_S else None


def _moved(word: TimedWord, laid: Laid) -> TimedWord:
    shift = milliseconds(laid.at - laid.start)
    return TimedWord(word.text, word.start_ms + shift, word.end_ms + shift)


def _as_script(words: Sequence[TimedWord]) -> str:
    """Heard words as a text to be corrected: a new line where somebody drew breath."""
    text, last = "", 0
    for word in words:
        gap = "" if not text else "\n" if word.start_ms - last > _HEARD_PAUSE_MS else " "
        text += gap + word.text
        last = word.end_ms
    return text + "\n" if text else ""


class _Listener:
    """What finds the words of a take, each thing made when it is first needed."""

    def __init__(self, decided: Decided, cache: SegmentCache) -> None:
        self._decided = decided
        self._cache = cache
        case = decided.plan.case
        self._language = case.language
        self.rows = decided.plan.rows
        self.recogniser_name = case.recogniser
        #: Scripts in English are heard by an ear made of the script, which no other model beats.
        self._plugged = bool(case.recogniser) and not is_english(case.language)

    @cached_property
    def _recogniser(self) -> Recogniser:
        loaded, name = self._decided.loaded, self.recogniser_name
        try:
            return load_recogniser(loaded.path_of(name), name, self._language)
        except RecordingError as error:
            found = f"{error.name} {error.found}"
            raise CaseFileError((mistake_at(loaded, "recogniser", found, error.advice),)) from None

    @cached_property
    def _lexicon(self) -> dict[str, str]:
        name = self._decided.plan.case.lexicon
        return read_lexicon(self._decided.loaded.path_of(name), name) if name else {}

    @cached_property
    def _model(self) -> list[str]:
        folder = self._decided.loaded.path_of(self.recogniser_name)
        return [self.recogniser_name, *map(sha256_of, model_files(folder))]

    def words(self, heard: Heard) -> _Kept:
        """The words of a take, kept from an earlier run where nothing they rest on has changed."""
        scripted = bool(heard.script.strip())
        rests_on = [VERSION, _FORM, heard.script, self._language]
        rests_on += self._model if self._plugged or not scripted else []
        rests_on += [f"{a}={b}" for a, b in sorted(self._lexicon.items())] if scripted else []
        said = f"words {sha256_of(heard.path)} {json.dumps(rests_on)}"
        key = hashlib.sha256(said.encode()).hexdigest()
        return self._kept(key) or self._keep(
            key, heard, self._aligned if scripted else self._drafted
        )

    def _kept(self, key: str) -> _Kept | None:
        found = self._cache.get(key)
        if found is None:
            return None
        try:
            return _from_values(json.loads(found.read_text("utf-8")))
        except (OSError, ValueError, KeyError, TypeError):
            self._cache.drop(key)
            return None

    def _keep(self, key: str, heard: Heard, find: Callable[[Heard, Spool], _Kept]) -> _Kept:
        with TakeReader(heard.path, heard.file, RATE_HZ) as reader, Spool(reader) as sound:
            kept = find(heard, sound)
        with suppress(OSError, DiskFull):  # what is not kept is found again
            self._cache.put(key, lambda path: _write(path, kept))
        return kept

    def _aligned(self, heard: Heard, sound: Spool) -> _Kept:
        ear = self._recogniser if self._plugged else None
        found = align_take(sound, heard.script, self._language, self._lexicon, ear)
        return _Kept(found.timed_words(), _faults(found), found.notes)

    def _drafted(self, heard: Heard, sound: Spool) -> _Kept:
        try:
            found = hear_take(sound, self._recogniser)
        except (RuntimeError, ValueError) as error:
            raise WorkError(f"{self.recogniser_name} failed on {heard.file}: {error}") from error
        if not found.words:
            lacks = f"{found.recogniser} heard no word; captions come from the step's note"
            return _Kept((), notes=(lacks,))
        by = f"{found.recogniser} ({WEAK})" if found.draft else found.recogniser
        return _Kept(found.words, by=by)


def _faults(found: Alignment) -> tuple[Fault, ...]:
    """What was not said and what was added, as findings of the take check."""
    out = [
        Fault(
            "not spoken",
            lack.at_ms / 1000,
            lack.at_ms / 1000,
            f"{'the sentence' if lack.whole else 'the words'} “{lack.text}” cannot be heard",
        )
        for lack in found.not_spoken
    ]
    out += [
        Fault(
            "not scripted",
            start / 1000,
            end / 1000,
            f"{(end - start) / 1000:.1f} s are spoken that the script does not hold; they have no "
            "captions",
            bad=False,
        )
        for start, end in found.unscripted
    ]
    return tuple(sorted(out, key=lambda fault: fault.start_s))


def _write(path: Path, kept: _Kept) -> None:
    values = {
        "words": [[w.text, w.start_ms, w.end_ms] for w in kept.words],
        "faults": [[f.kind, f.start_s, f.end_s, f.sentence, f.bad] for f in kept.faults],
        "notes": list(kept.notes),
        "by": kept.by,
    }
    path.write_text(json.dumps(values), encoding="utf-8", newline="\n")


def _from_values(values: dict[str, Any]) -> _Kept:
    words = tuple(TimedWord(str(t), int(a), int(b)) for t, a, b in values["words"])
    faults = tuple(
        Fault(kind, float(a), float(b), str(sentence), bool(bad))
        for kind, a, b, sentence, bad in values["faults"]
    )
    return _Kept(words, faults, tuple(str(n) for n in values["notes"]), str(values["by"]))
