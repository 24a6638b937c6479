"""The spellings a practice prefers, put in place of every other way the same word was written."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping


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
    keys = {" ".join(key.split()).casefold(): value for key, value in terms.items() if key.strip()}
    if not keys:
        return text
    longest_first = sorted(keys, key=len, reverse=True)
    pattern = "|".join(r"\s+".join(map(re.escape, key.split(" "))) for key in longest_first)
    whole_word = re.compile(rf"(?<!\w)(?:{pattern})(?!\w)", re.IGNORECASE)
    return whole_word.sub(lambda match: _fixed(match[0], keys), text)


def _fixed(found: str, keys: Mapping[str, str]) -> str:
    right = keys.get(" ".join(found.split()).casefold())
    if right is None:  # a letter whose capital re.IGNORECASE and casefold see differently
        return found
    if right.islower() and found[0].isupper() and found[1:] == found[1:].lower():
        return right[0].upper() + right[1:]
    return right
