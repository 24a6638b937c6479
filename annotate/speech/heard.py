"""What a recogniser is: a thing that hears words with times in sound of 16 kHz."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from annotate.speech.sound import Pcm


@dataclass(frozen=True, slots=True)
class HeardWord:
    """A word as heard, seconds from the first sample given; ``confidence`` 0 to 1."""

    text: str
    start_s: float
    end_s: float
    confidence: float = 1.0


class Recogniser(Protocol):
    """A speech recogniser. ``draft`` marks one whose text is too faulty to be published unread."""

    @property
    def name(self) -> str:
        """What it is, for the report."""

    @property
    def draft(self) -> bool:
        """Whether its text must be read and corrected before anybody publishes it."""

    def words(self, samples: Pcm) -> list[HeardWord]:
        """The words in 16 kHz mono int16 samples of shape (n,), in their order."""


def shifted(heard: list[HeardWord], by_s: float) -> list[HeardWord]:
    """The same words later."""
    return [HeardWord(h.text, h.start_s + by_s, h.end_s + by_s, h.confidence) for h in heard]
