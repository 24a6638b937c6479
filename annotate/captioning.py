"""All captions of a film, and everything there is to say about them: by ``make`` and by ``check``.

What only a listener can tell (sentences not spoken, words not scripted) is told here too, so that
a case is checked by the same work that makes it.
"""

from __future__ import annotations

from collections.abc import Iterable

from annotate.cache import SegmentCache
from annotate.captions.cues import Complaint, Cue, check_cues, summed_up
from annotate.captions.labels import RoomSound
from annotate.captions.profiles import Profile
from annotate.decide import Decided
from annotate.plan import Plan
from annotate.progress import Report
from annotate.sidecars import Words, make_words
from annotate.sound.room import FASTEST_HEARD
from annotate.spokencues import spoken_cues
from chapters.case import SoundLabel
from chapters.fieldtext import time_text
from chapters.times import milliseconds


def caption_film(
    decided: Decided, cache: SegmentCache, report: Report
) -> tuple[Words, tuple[str, ...]]:
    """The film's captions and chapters, and a sentence for each thing worth telling of them.

    Listens to every take whose words are not kept in ``cache``. Raises CaseFileError for a faulty
    lexicon and for a recogniser that cannot be loaded.
    """
    spoken = spoken_cues(decided, cache, report)
    plan, profile = decided.plan, decided.profile
    sounds, silent = room_sounds(plan)
    words = make_words(plan, spoken.cues, profile, spoken.drafts, sounds)
    return words, spoken.notices + silent + _told(words, profile, spoken.complaints)


def caption_unheard(decided: Decided) -> tuple[Words, tuple[str, ...]]:
    """The same without listening: takes that will have captions of their own have none here."""
    plan, profile = decided.plan, decided.profile
    heard_over = decided.narration.heard_over
    spoken: dict[str, tuple[Cue, ...]] = {
        take.step: ()
        for take in decided.narration.takes
        if plan.case.recogniser or ((own := heard_over(take.step)) and own.script)
    }
    sounds, silent = room_sounds(plan)
    words = make_words(plan, spoken, profile, sounds=sounds)
    return words, silent + _told(words, profile)


def _told(words: Words, profile: Profile, of_times: Iterable[Complaint] = ()) -> tuple[str, ...]:
    """Notes too long, labels left out, and what the profile forbids in each language's captions.

    ``of_times`` are complaints found before. The mark of a draft is left aside.
    """
    own = check_cues([cue for cue in words.cues if cue.step], profile)
    out = [*map(str, words.too_long), *words.remarks, *summed_up((*of_times, *own))]
    for tag, cues in words.others:
        out += [f"captions in {tag}: {said}" for said in summed_up(check_cues(cues, profile))]
    return tuple(out)


def room_sounds(plan: Plan) -> tuple[tuple[RoomSound, ...], tuple[str, ...]]:
    """Where the case's labelled sounds are heard in the film, and a sentence for each that is not."""
    if not plan.case.room_sound:
        return (), ()
    found = [_room_sound(plan, label) for label in plan.case.sound_labels]
    heard = tuple(one for one in found if isinstance(one, RoomSound))
    return heard, tuple(one for one in found if isinstance(one, str))


def _room_sound(plan: Plan, label: SoundLabel) -> RoomSound | str:
    at, shown = plan.film.cut_at(label.at)
    name = f"the sound label “{label.text}” at {time_text(label.at)}"
    if not shown:
        return f"{name} is left out: that part of the recording is not shown"
    if plan.film.speed_at(at) > FASTEST_HEARD:
        return f"{name} is left out: the picture runs too fast there to be heard"
    piece = plan.film.piece_at(at)
    until = plan.film.step_cut(piece.step) if piece.step is not None else piece.cut
    assert until is not None
    return RoomSound(label.text, milliseconds(at), milliseconds(until.end), piece.step or "")
