"""Words from a take alone: no script, a recogniser that the user chose, or the shipped one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from annotate.captions.cues import TimedWord
from annotate.speech.heard import HeardWord, Recogniser, shifted
from annotate.speech.mask import SpeechMask, stretches
from annotate.speech.sound import ArraySound, Pcm, Sound, between, frame_levels

#: What is said of words that a weak recogniser heard.
WEAK = "about every third word of such a draft is wrong"


@dataclass(frozen=True, slots=True)
class Heard:
    """The words of a take; ``draft`` marks text that must be corrected before it is published."""

    words: tuple[TimedWord, ...]
    draft: bool
    recogniser: str


def hear_take(take: Sound | Pcm, recogniser: Recogniser) -> Heard:
    """Every word that the recogniser hears in a take of 16 kHz mono int16 sound.

    Text that is capitals from end to end, as some models write it, becomes small letters.
    """
    sound = ArraySound(take) if isinstance(take, np.ndarray) else take
    levels = frame_levels(sound)
    heard: list[HeardWord] = []
    for start, end in stretches(SpeechMask(sound, levels).spans, levels):
        heard += shifted(recogniser.words(between(sound, start, end)), start)
    calm = str.lower if all(h.text.isupper() for h in heard) else str
    words = tuple(
        TimedWord(calm(h.text), round(1000 * h.start_s), round(1000 * h.end_s)) for h in heard
    )
    return Heard(words, recogniser.draft, recogniser.name)
