"""Where sentences end in clinical prose: a rule and a word list, no model.

A full stop ends no sentence in ``2.5``, in ``approx. 20 ml``, in ``no. 36``, in ``e.g.`` or before
a small letter. The word lists are what a user extends (``extra``); the rule is measured in the
tests on sentences that this module was not written from.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from itertools import pairwise

from chapters.markers.titles import plain_text


def _listed(words: str) -> frozenset[str]:
    return frozenset(words.split())


#: Never the end of a sentence when text follows; small letters, without the last full stop.
ABBREVIATIONS: frozenset[str] = _listed(
    """
    e.g i.e viz cf vs approx ca incl excl esp resp diam avg dept mt
    dr prof mr mrs ms st messrs hon rev gen sen rep lt col sgt capt
    z.b d.h bzw ggf evtl inkl zzgl vgl sog u.a u.u
    p.ex par.ex env
    """
)
#: The end of no sentence when a number follows: ``no. 36``, ``Fig. 2``, ``pp. 4-7``.
BEFORE_NUMBER: frozenset[str] = _listed(
    """
    no nos nr nrs num fig figs tab p pp pg pgs vol vols ch chap sec sect art eq eqn ref refs
    ex app pt pts ed n° № max min temp conc
    jan feb mar apr jun jul aug sep sept oct nov dec
    abb kap
    """
)

_BULLET = re.compile(r"[-*•‣–]\s+")
_BLANK = re.compile(r"\n[^\S\n]*\n")
_CLOSERS = "\"'”’»)]}›」』）】〉》"
_OPENERS = "\"'“‘«([{‹„「『（【〈《¿¡"
#: A run of end marks with its closers; those of scripts without spaces need none after them.
_END = re.compile(
    rf"(?P<mark>[.!?…؟۔।॥։።]+)(?P<close>[{re.escape(_CLOSERS)}]*)(?=\s)"
    rf"|(?P<wide>[。！？｡．]+)(?P<wide_close>[{re.escape(_CLOSERS)}]*)"
)


def split_sentences(text: str, extra: Collection[str] = ()) -> tuple[str, ...]:
    """The sentences of the text, each on one line with its end mark, none empty.

    ``extra`` are further abbreviations, with or without their full stop, in any case. A blank
    line and a line that starts with a bullet end a sentence without a mark; the bullet goes.
    """
    known = _known(extra)
    out: list[str] = []
    for paragraph in _BLANK.split(plain_text(text)):
        for item in _items(paragraph):
            out.extend(_sentences(item, known))
    return tuple(out)


def _items(paragraph: str) -> list[str]:
    """The paragraph's bullets as items, any other lines joined."""
    items: list[str] = []
    for raw in paragraph.split("\n"):
        line = raw.strip(" \t")
        bullet = _BULLET.match(line)
        if bullet is not None:
            items.append(line[bullet.end() :])
        elif items:
            items[-1] += " " + line
        else:
            items.append(line)
    return items


def _sentences(line: str, known: Collection[str]) -> list[str]:
    """Sentences of one line of text."""
    line = re.sub(r"[ \t]+", " ", line).strip(" ")
    edges = [0, *_end_offsets(line, known), len(line)]
    cut = [line[a:b].strip(" ") for a, b in pairwise(edges)]
    return [sentence for sentence in cut if sentence]


def sentence_ends(line: str, extra: Collection[str] = ()) -> frozenset[int]:
    """The offsets in one line of text right after each sentence's last character; ``extra`` as above."""
    return frozenset((*_end_offsets(line, _known(extra)), len(line.rstrip())))


def _known(extra: Collection[str]) -> frozenset[str]:
    return ABBREVIATIONS | {word.casefold().rstrip(".") for word in extra}


def _end_offsets(line: str, known: Collection[str]) -> list[int]:
    out: list[int] = []
    start = 0
    for match in _END.finditer(line):
        if match["wide"] is not None or _ends(line, start, match, known):
            start = match.end()
            out.append(start)
    return out


def _ends(line: str, start: int, match: re.Match[str], known: Collection[str]) -> bool:
    """Whether the end mark found ends the sentence that began at ``start``."""
    after = line[match.end() :].lstrip()
    follower = after.lstrip(_OPENERS)
    if not follower:
        return not after
    if _starts_small(follower):
        return False
    if match["mark"] != ".":
        return True
    if line[match.start() - 1 : match.start()] == " ":  # a spaced ellipsis
        return False
    before = line[start : match.start()].strip(" " + _OPENERS).split(" ")
    if len(before) == 1 and before[0].isdecimal():
        return False
    if match["close"]:
        return True
    return not _abbreviates([word.lstrip(_OPENERS) for word in before], follower, known)


def _starts_small(follower: str) -> bool:
    """A small letter goes on with the sentence, unless a capital follows it at once, as in pH."""
    return follower[0].islower() and not follower[1:2].isupper()


def _abbreviates(before: Sequence[str], follower: str, known: Collection[str]) -> bool:
    """Whether the last word of the sentence so far is an abbreviation or an initial."""
    word = before[-1].replace("\u00a0", " ").split(" ")[-1]
    small = word.casefold()
    if not word or small in known:
        return True
    if small in BEFORE_NUMBER:
        return re.match(r"[#~≈±]?\d", follower) is not None
    if len(word) != 1 or not word.isupper():
        return False
    named = len(before) > 2 and before[-2][:1].isupper()
    return len(before) == 1 or named or before[-2].casefold().rstrip(".") in known
