"""Phones from the espeak-ng program, where it is installed: its IPA as ARPAbet.

The program runs as a process of its own with a list of arguments, no shell, and gets words on its
standard input. ARPAbet symbols as in the CMU dictionary; IPA values after the International
Phonetic Association's chart.
"""

from __future__ import annotations

import shutil
import subprocess
import unicodedata
from collections.abc import Sequence

from annotate.speech.letters import Phones

_TABLE = {
    "eɪ": "EY", "aɪ": "AY", "ɔɪ": "OY", "oɪ": "OY", "aʊ": "AW", "oʊ": "OW", "əʊ": "OW",
    "tʃ": "CH", "dʒ": "JH", "ɑː": "AA", "ɔː": "AO", "oː": "AO", "iː": "IY", "uː": "UW", "ɜː": "ER",
    "ɛɹ": "EH R", "ɪɹ": "IH R", "ʊɹ": "UH R", "ɑːɹ": "AA R", "ɔːɹ": "AO R", "oːɹ": "AO R",
    "aɪə": "AY AH", "aɪɚ": "AY ER", "əl": "AH L", "əm": "AH M", "ən": "AH N", "iə": "IY AH",
    "n̩": "AH N", "l̩": "AH L", "ɐ": "AH", "ə": "AH", "ɚ": "ER", "ɝ": "ER", "ɛ": "EH", "e": "EH",
    "æ": "AE", "a": "AE", "ɑ": "AA", "ɒ": "AA", "ɔ": "AO", "o": "OW", "ʌ": "AH", "ɪ": "IH",
    "ᵻ": "IH", "i": "IY", "ʊ": "UH", "u": "UW", "b": "B", "d": "D", "f": "F", "ɡ": "G", "g": "G",
    "h": "HH", "j": "Y", "k": "K", "l": "L", "ɫ": "L", "m": "M", "n": "N", "ŋ": "NG", "p": "P",
    "ɹ": "R", "r": "R", "ɾ": "T", "s": "S", "ʃ": "SH", "t": "T", "ʔ": "T", "θ": "TH", "ð": "DH",
    "v": "V", "w": "W", "z": "Z", "ʒ": "ZH", "x": "K", "ɬ": "L", "ç": "HH", "y": "Y UW",
}  # fmt: skip
_LONGEST = max(map(len, _TABLE))
_WAIT_S = 20


def arpabet(ipa: str) -> Phones:
    """ARPAbet phones of an IPA text; stress, length and unknown marks are passed over."""
    text = unicodedata.normalize("NFC", ipa)
    text = "".join(char for char in text if char not in "ˈˌ_ -‿͡")
    out: list[str] = []
    place = 0
    while place < len(text):
        for size in range(min(_LONGEST, len(text) - place), 0, -1):
            phones = _TABLE.get(text[place : place + size])
            if phones is not None:
                out += phones.split()
                break
        else:
            size = 1
        place += size
    return tuple(
        p for n, p in enumerate(out) if p != "R" or n == 0 or out[n - 1] not in ("ER", "R")
    )


def espeak_program() -> str | None:
    """Where the espeak-ng program stands, None where it is not installed."""
    return shutil.which("espeak-ng")


def espeak_phones(words: Sequence[str], program: str, voice: str = "en-us") -> dict[str, Phones]:
    """The phones of each word the program could read; words it failed on are absent."""
    lines = [word for word in words if word.isalpha()]
    if not lines:
        return {}
    try:
        done = subprocess.run(
            [program, "-q", "--ipa", "-v", voice, "--stdin"],
            input="\n\n".join(lines) + "\n",
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=_WAIT_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return {}
    heard = [line for line in done.stdout.splitlines() if line.strip()]
    if done.returncode or len(heard) != len(lines):
        return {}
    found = {word: arpabet(line) for word, line in zip(lines, heard, strict=True)}
    return {word: phones for word, phones in found.items() if phones}
