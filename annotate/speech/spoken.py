"""From written text to spoken words and back: display token <-> the words said for it.

English only: numbers, units, signs, abbreviations, formulae and initials are read aloud; in other
languages a token is its own spoken word. Spoken words are small letters; a letter said by its name
has a full stop (``e.``).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from annotate.captions.sentences import split_sentences
from annotate.speech import readings
from annotate.speech.numbers import Words, cardinal, decimal, digits, fraction, ordinal, year

_EDGE = "\"'“”‘’«»‹›()[]{}„‚…,;:!?¿¡*_–—"
_NUMBER = r"[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]*\.[0-9]+|[0-9]+"
_PARTS = re.compile(rf"{_NUMBER}|[^\W\d_]+(?:['’][^\W\d_]+)*|[#%+±=≈~<>≤≥&@→№½¼¾×§°‰]")
_INITIALS = re.compile(r"([A-Z]{2,5})(?:s|'s|’s)?")
#: Words in capitals that are words all the same, where a whole text is set so.
_SHOUTED = frozenset(
    [
        "AND",
        "THE",
        "NOT",
        "DO",
        "IS",
        "OR",
        "IF",
        "IN",
        "ON",
        "AT",
        "TO",
        "OF",
        "BE",
        "NO",
        "SO",
        "WE",
        "IT",
        "GO",
        "AN",
        "AS",
        "BY",
        "UP",
    ]
)
#: Longer figures are read digit by digit.
_LONGEST_NUMBER = 15

Ways = tuple[Words, ...]


@dataclass(frozen=True, slots=True)
class Token:
    """What is shown, the sentence it stands in (from 0), the ways it may be spoken, likeliest first.

    A token without a spoken word (a dash) has one empty way.
    """

    text: str
    sentence: int
    ways: Ways


@dataclass(frozen=True, slots=True)
class Script:
    """A script as sentences and display tokens."""

    sentences: tuple[str, ...]
    tokens: tuple[Token, ...]


def read_script(
    text: str,
    language: str = "en",
    said: Mapping[str, str] | None = None,
    is_word: Callable[[str], bool] = lambda word: False,
) -> Script:
    """The script's sentences and tokens.

    ``said`` holds the user's own readings (written, spoken); ``is_word`` tells whether small
    letters are a word of the dictionary, so that WALL is read and EDTA is spelled.
    """
    sentences = split_sentences(text)
    own = {key: (as_said(value),) for key, value in (said or {}).items()}
    tokens: list[Token] = []
    for number, sentence in enumerate(sentences):
        texts = sentence.split()
        for place, shown in enumerate(texts):
            ways: Ways = (_plain(shown),)
            if is_english(language):
                around = (texts[place - 1] if place else "", (*texts, "")[place + 1])
                ways = ways_of(shown, around, own, is_word)
            tokens.append(Token(shown, number, ways))
    return Script(sentences, tuple(tokens))


def is_english(language: str) -> bool:
    """Whether a BCP 47 tag is one of English."""
    return language.partition("-")[0].casefold() == "en"


def as_said(text: str) -> Words:
    """Words of a reading; single capitals are letters said by their names."""
    return tuple(_letter(w) if len(w) == 1 and w.isupper() else w.casefold() for w in text.split())


def _letter(char: str) -> str:
    return f"{char.casefold()}."


def ways_of(
    shown: str,
    around: tuple[str, str],
    own: readings.Readings,
    is_word: Callable[[str], bool],
) -> Ways:
    """The ways one token may be spoken, given its neighbours."""
    core = shown.strip(_EDGE)
    bare = core.rstrip(".").rstrip(_EDGE)
    for table in (own, readings.TERMS):
        for key in (shown, core, bare):
            if key in table:
                return tuple(as_said(" ".join(way)) for way in table[key])
    found = _unit(bare, around[0]) or _short_form(core, bare, around[1]) or _numeric(bare)
    return tuple(dict.fromkeys(found or (_worded(bare, is_word),)))


def _unit(bare: str, before: str) -> Ways:
    """A unit that stands after a number, in the singular after 1."""
    number = before.strip(_EDGE + "<>≤≥≈~±#")
    if bare not in readings.UNITS or not number or not number[-1].isdigit():
        return ()
    return tuple(as_said(" ".join(_one(way, number))) for way in readings.UNITS[bare])


def _one(way: Words, number: str) -> Words:
    """The unit's name after a number: ``1 mm`` is one millimetre."""
    if number != "1" or way[0].isupper() or way[0] in ("hertz", "per", "times"):
        return way
    if way[0] in ("square", "cubic", "newton"):
        return (way[0], way[1].removesuffix("s"), *way[2:])
    return (way[0].removesuffix("s"), *way[1:])


def _short_form(core: str, bare: str, after: str) -> Ways:
    """A sign that stands alone, or an abbreviation of the table."""
    small = bare.casefold()
    if core in readings.SIGNS:
        return tuple(as_said(" ".join(way)) for way in readings.SIGNS[core])
    if bare.isupper() and len(bare) > 1:
        return ()
    if small in readings.ONLY_WITH_STOP and (not core.endswith(".") or not after):
        return ()
    if small == "no" and not after.strip(_EDGE)[:1].isdigit():
        return ()
    return readings.ABBREVIATIONS.get(small, ())


def _numeric(bare: str) -> Ways:
    """A token that is a number in one of its written forms."""
    for pattern, read in _FORMS:
        match = pattern.fullmatch(bare)
        if match is not None:
            return tuple(way for way in read(match) if way)
    return ()


def _number(match: re.Match[str]) -> Ways:
    text = match[1]
    if len(text) > _LONGEST_NUMBER:
        return (decimal(text),)
    if "." in text:
        whole, _, part = text.partition(".")
        after_point: Ways = (("point", *digits(part)), ("point", *_oh(part)), _oh(part))
        return (decimal(text), *(after_point if whole in ("", "0") else ()))
    if "," in text:
        return (decimal(text),)
    if text.startswith("0") and len(text) > 1:
        return (digits(text), _oh(text))
    return (cardinal(int(text)), *_other_numbers(text))


def _other_numbers(text: str) -> Ways:
    """Further readings of whole figures: a year, digit by digit, with an ``and``."""
    number = int(text)
    if len(text) == 4:
        return (year(number),)
    if len(text) == 3 and number % 100:
        hundreds = cardinal(number // 100 * 100)
        return ((*hundreds, "and", *cardinal(number % 100)), digits(text))
    return (digits(text),) if len(text) == 2 else ()


def _oh(text: str) -> Words:
    return tuple("oh" if word == "zero" else word for word in digits(text))


def _pair(match: re.Match[str]) -> Ways:
    """``1:30`` as a ratio or as a time: one to thirty, one thirty, one minute thirty."""
    first, second = decimal(match[1]), decimal(match[2])
    clock = _oh(match[2]) if match[2].startswith("0") else second
    minutes = "minute" if match[1] == "1" else "minutes"
    return ((*first, "to", *second), (*first, *clock), (*first, minutes, *second))


def _fraction(match: re.Match[str]) -> Ways:
    above, below = int(match[1]), int(match[2])
    both = (*cardinal(above), *cardinal(below))
    if not below or above >= below:
        return (both, (*cardinal(above), "slash", *cardinal(below)))
    return (fraction(above, below), (*cardinal(above), "over", *cardinal(below)), both)


def _size(match: re.Match[str]) -> Ways:
    """``25/.06``, an instrument's size and taper."""
    first, second = decimal(match[1]), decimal(match[2])
    oh = _oh(match[2].partition(".")[2]) if match[2].startswith((".", "0.")) else second
    return ((*first, *second), (*first, "slash", *second), (*first, *oh))


def _range(match: re.Match[str]) -> Ways:
    first, second, unit = decimal(match[1]), decimal(match[2]), match[3].strip()
    if not unit:
        return ((*first, "to", *second), (*first, *second))
    names = _unit(unit, "2") or (_plain(unit),)
    return tuple((*first, "to", *second, *name) for name in names)


def _with_unit(match: re.Match[str]) -> Ways:
    """``5mm``, ``20%``, ``10x``."""
    return tuple((*decimal(match[1]), *way) for way in _unit(match[2], match[1]))


_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], Ways]], ...] = (
    (re.compile(rf"({_NUMBER})"), _number),
    (re.compile(r"([0-9]{1,15})(?:st|nd|rd|th)", re.I), lambda m: (ordinal(int(m[1])),)),
    (
        re.compile(r"([0-9]+):([0-9]{2}):([0-9]{2})"),
        lambda m: (tuple(word for part in m.groups() for word in decimal(part)),),
    ),
    (re.compile(r"([0-9]+):([0-9]+)"), _pair),
    (re.compile(r"([0-9]{1,9})/([0-9]{1,9})"), _fraction),
    (re.compile(rf"({_NUMBER})/({_NUMBER})"), _size),
    (re.compile(rf"({_NUMBER})[-–—]({_NUMBER})([^0-9]*)"), _range),
    (re.compile(rf"({_NUMBER})([^0-9\s.,:;/-].*)"), _with_unit),
)


def _worded(bare: str, is_word: Callable[[str], bool]) -> Words:
    """A word, initials spelled out, or a mixture taken apart: K-file, C-shaped, #36, B2."""
    initials = _INITIALS.fullmatch(bare)
    if initials and bare not in _SHOUTED and not _shouted(initials[1], is_word):
        return tuple(map(_letter, initials[1]))
    out: list[str] = []
    for part in _PARTS.findall(bare):
        if part[0] in "0123456789.":
            out += decimal(part)
        elif part in readings.SIGNS:
            out += as_said(" ".join(readings.SIGNS[part][0]))
        elif len(part) == 1 and part not in "aAI" and part.isascii():
            out.append(_letter(part))
        elif _spelled(part, bare, is_word):
            out += map(_letter, part)
        else:
            out += _plain(part)
    return tuple(out)


def _shouted(text: str, is_word: Callable[[str], bool]) -> bool:
    return len(text) > 3 and is_word(text.casefold())


def _spelled(part: str, bare: str, is_word: Callable[[str], bool]) -> bool:
    """Initials inside a mixture, as in EDTA-gel."""
    if part == bare or not (part.isupper() and part.isascii()) or len(part) > 5:
        return False
    return not is_word(part.casefold())


def _plain(text: str) -> Words:
    word = plain_word(text)
    return (word,) if word else ()


def plain_word(text: str) -> str:
    """A word as recognisers and dictionaries write it: small letters, no punctuation around it,
    the plain apostrophe, Latin letters without accents; empty where there is no letter or digit."""
    small = text.replace("’", "'").casefold()
    if all(not char.isalpha() or ord(char) < 0x250 for char in small):
        small = unicodedata.normalize("NFKD", small)
        small = "".join(char for char in small if not unicodedata.combining(char))
    kept = "".join(
        char
        for char in small
        if char.isalnum() or char == "'" or unicodedata.category(char)[0] == "M"
    )
    return kept.strip("'")
