"""The spellings a practice prefers, put in place of every other way the same word was written."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from annotate.captions.cues import TimedWord


def terms_of(spellings: Iterable[str] | Mapping[str, str]) -> dict[str, str]:
    """What ``fix_terms`` takes: a list of preferred spellings, or other spelling -> preferred one.

    A plain list corrects capitals only (``naocl`` to ``NaOCl``); a mapping corrects anything, and
    the capitals of its preferred spellings too.
    """
    if isinstance(spellings, Mapping):
        return {right: right for right in spellings.values()} | dict(spellings)
    return {word: word for word in spellings}


def fix_terms(text: str, terms: Mapping[str, str]) -> str:
    """The text with every whole word (or run of words) that is a key in any case replaced.

    Longer keys go first, replaced text is not looked at again. A capital that only begins a
    sentence is kept: with ``sealer`` preferred, ``Sealer`` stays and ``SEALER`` becomes
    ``sealer``; a preferred spelling that has capitals of its own (``pH``) is always taken as it is.
    """
    keys = _keys(terms)
    return _whole_words(keys).sub(lambda match: _fixed(match[0], keys), text) if keys else text


def fix_timed(words: Sequence[TimedWord], terms: Mapping[str, str]) -> tuple[TimedWord, ...]:
    """The same for spoken words; those that a spelling takes together become one, with their time."""
    keys = _keys(terms)
    if not keys:
        return tuple(words)
    line = " ".join(word.text for word in words)
    owners = [number for number, word in enumerate(words) for _ in range(len(word.text) + 1)]
    joined: dict[int, int] = {}
    for match in _whole_words(keys).finditer(line):
        first, last = owners[match.start()], owners[match.end() - 1]
        joined[first] = max(last, joined.get(first, 0))
    out: list[TimedWord] = []
    at = 0
    while at < len(words):
        last = at
        while last in joined and joined[last] > last:  # one spelling may end where another begins
            last = joined[last]
        text = " ".join(word.text for word in words[at : last + 1])
        fixed = _whole_words(keys).sub(lambda match: _fixed(match[0], keys), text)
        out.append(replace(words[at], text=fixed, end_ms=words[last].end_ms))
        at = last + 1
    return tuple(out)


def _keys(terms: Mapping[str, str]) -> dict[str, str]:
    """Spellings as they are compared -> what stands in their place."""
    return {" ".join(key.split()).casefold(): right for key, right in terms.items() if key.strip()}


def _whole_words(keys: Mapping[str, str]) -> re.Pattern[str]:
    """Any of the spellings as whole words, longer ones first."""
    longest_first = sorted(keys, key=len, reverse=True)
    pattern = "|".join(r"\s+".join(map(re.escape, key.split(" "))) for key in longest_first)
    return re.compile(rf"(?<!\w)(?:{pattern})(?!\w)", re.IGNORECASE)


def _fixed(found: str, keys: Mapping[str, str]) -> str:
    right = keys.get(" ".join(found.split()).casefold())
    if right is None:  # a letter whose capital re.IGNORECASE and casefold see differently
        return found
    if right.islower() and found[0].isupper() and found[1:] == found[1:].lower():
        return right[0].upper() + right[1:]
    return right
