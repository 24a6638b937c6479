"""How words are pronounced: the user's lexicon, our terms, the shipped dictionary, espeak-ng, rules.

A lexicon file has one entry a line, a line that begins with ``#`` is a remark::

    obturation = AA B T ER EY SH AH N       ARPAbet phones, as in the CMU dictionary
    NaOCl = sodium hypochlorite             or the words that are said for it (E D T A spells)

A word that no dictionary has is looked up in its American spelling and as a plural, past or -ing
form of a known word before espeak-ng and the letter rules are asked.
"""

from __future__ import annotations

import functools
import importlib.util
import re
from collections.abc import Iterable, Mapping
from importlib import resources
from pathlib import Path

from annotate.speech.ipa import espeak_phones, espeak_program
from annotate.speech.letters import LETTER_NAMES, PHONES, Phones, letters_to_phones
from chapters.errors import CaseFileError, Mistake

_LONGEST_FILE = 1_000_000
_VOICELESS = frozenset({"P", "T", "K", "F", "TH"})
_HISSING = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})
#: British to American spelling; each change alone and all together are looked up.
_SPELLINGS: tuple[tuple[str, str], ...] = (
    (r"tre(s?)$", r"ter\1"), (r"our", "or"), (r"is(e[ds]?|ing|ation)$", r"iz\1"), (r"ae", "e"),
    (r"oe", "e"), (r"lled$", "led"), (r"lling$", "ling"), (r"ogue$", "og"), (r"nce$", "nse"),
    (r"yse(d?)$", r"yze\1"),
)  # fmt: skip
_STEMS = (("'s", ("",)), ("s", ("",)), ("es", ("",)), ("ed", ("", "e")), ("ing", ("", "e")))

Sounds = tuple[Phones, ...]


class Lexicon:
    """Pronunciations, and the user's own readings; ``said`` is for ``spoken.read_script``.

    ``user`` maps a written word to its phones or to the words that are said for it. The espeak-ng
    program is asked where it is installed, unless ``use_espeak`` is False.
    """

    def __init__(self, user: Mapping[str, str] | None = None, use_espeak: bool = True) -> None:
        self._own: dict[str, Sounds] = {}
        self.said: dict[str, str] = {}
        for word, value in (user or {}).items():
            phones = _as_phones(value)
            if phones:
                self._own[word.casefold()] = (phones,)
            else:
                self.said[word] = value
        self._espeak = espeak_program() if use_espeak else None

    def is_word(self, word: str) -> bool:
        """Whether a dictionary has the word (small letters)."""
        return self._known(word) is not None

    def pronounce(self, words: Iterable[str]) -> dict[str, Sounds]:
        """At least one pronunciation for every word that has a Latin letter; others are absent."""
        wanted = dict.fromkeys(words)
        found = {word: sounds for word in wanted if (sounds := self._sounds(word))}
        missing = [word for word in wanted if word not in found]
        if missing and self._espeak:
            found |= {w: (p,) for w, p in espeak_phones(missing, self._espeak).items()}
        for word in missing:
            if word not in found and (phones := letters_to_phones(word)):
                found[word] = (phones,)
        return found

    def _known(self, word: str) -> Sounds | None:
        if word in self._own:
            return self._own[word]
        ways = trade_terms().get(word) or shipped_words().get(word)
        return tuple(tuple(way.split()) for way in ways) if ways else None

    def _sounds(self, word: str) -> Sounds | None:
        """From the tables alone: itself, a letter's name, another spelling, a regular ending."""
        if len(word) == 2 and word[1] == "." and word[0] in LETTER_NAMES:
            return self._own.get(word) or (tuple(LETTER_NAMES[word[0]].split()),)
        for form in (word, *other_spellings(word)):
            if (sounds := self._known(form)) is not None:
                return sounds
        return self._with_ending(word)

    def _with_ending(self, word: str) -> Sounds | None:
        """``perforations`` from ``perforation``: a plural, past or -ing form of a known word."""
        for ending, stem_ends in _STEMS:
            if not word.endswith(ending) or len(word) < len(ending) + 3:
                continue
            for stem_end in stem_ends:
                stem = self._known(word.removesuffix(ending) + stem_end)
                if stem is not None:
                    return tuple((*phones, *_ending(ending, phones[-1])) for phones in stem)
        return None


def _ending(ending: str, last: str) -> Phones:
    if ending == "ing":
        return ("IH", "NG")
    if ending == "ed":
        return ("IH", "D") if last in ("T", "D") else (("T",) if last in _VOICELESS else ("D",))
    if last in _HISSING:
        return ("IH", "Z")
    return ("S",) if last in _VOICELESS else ("Z",)


def other_spellings(word: str) -> tuple[str, ...]:
    """American spellings of a British word: each change alone, then all together."""
    alone = [re.sub(pattern, change, word) for pattern, change in _SPELLINGS]
    together = word
    for pattern, change in _SPELLINGS:
        together = re.sub(pattern, change, together)
    return tuple(dict.fromkeys(form for form in (*alone, together) if form != word))


def _as_phones(value: str) -> Phones:
    """The value as ARPAbet phones (stress digits go), none where it is words."""
    phones = tuple(part.rstrip("012") for part in value.split())
    return phones if phones and all(phone in PHONES for phone in phones) else ()


@functools.cache
def trade_terms() -> Mapping[str, tuple[str, ...]]:
    """Our own small dictionary of dental terms: word -> ways, each phones with spaces."""
    text = resources.files("annotate.speech").joinpath("dental.dic").read_text("utf-8")
    return _dictionary(text.splitlines())


@functools.cache
def shipped_words() -> Mapping[str, tuple[str, ...]]:
    """The dictionary that comes with pocketsphinx; empty where that is not installed."""
    spec = importlib.util.find_spec("pocketsphinx")
    if spec is None or spec.origin is None:
        return {}
    path = Path(spec.origin).parent / "model" / "en-us" / "cmudict-en-us.dict"
    if not path.is_file():
        return {}
    with path.open(encoding="utf-8") as lines:
        return _dictionary(lines)


def _dictionary(lines: Iterable[str]) -> dict[str, tuple[str, ...]]:
    out: dict[str, tuple[str, ...]] = {}
    for line in lines:
        if line.startswith("#"):
            continue
        word, _, phones = line.rstrip().partition(" ")
        word = word.partition("(")[0]
        if word:
            out[word] = (*out.get(word, ()), phones.strip())
    return out


def read_lexicon(path: Path, shown_as: str) -> dict[str, str]:
    """A user's lexicon file as (written, phones or spoken words).

    Raises CaseFileError with every faulty line.
    """
    mistakes: list[Mistake] = []
    entries: dict[str, str] = {}
    advice = "write one word, ' = ', then its phones or the words that are said for it"
    for number, raw in enumerate(_text(path, shown_as).splitlines(), 1):
        line = raw.strip()
        if not line or line == "#" or line.startswith("# "):
            continue
        word, equals, value = (part.strip() for part in line.partition(" = "))
        if not equals or not word or not value or " " in word:
            mistakes.append(Mistake(shown_as, number, 1, "", f"found {line[:60]!r}", advice))
        else:
            entries[word] = value
    if mistakes:
        raise CaseFileError(tuple(mistakes))
    return entries


def _text(path: Path, shown_as: str) -> str:
    def wrong(found: str, advice: str) -> CaseFileError:
        return CaseFileError((Mistake(shown_as, 1, 1, "", found, advice),))

    if not path.is_file():
        raise wrong("is no file", "check the name of the lexicon")
    if path.stat().st_size > _LONGEST_FILE:
        raise wrong("is larger than 1 MB", "name a lexicon of words and their phones")
    try:
        return path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise wrong("is not UTF-8 text", "save it as UTF-8") from error
    except OSError as error:
        raise wrong("cannot be read", "check its permissions") from error
