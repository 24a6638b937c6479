"""Sentences cut into the pieces a caption may break between, each border with what a break costs.

Costs follow the published advice on line breaks (BBC Subtitle Guidelines §3.4: break after
punctuation; keep article and noun, preposition and phrase, conjunction and clause, pronoun and
verb, and the parts of a verb together; never break inside a word). Their size is our own: 0 at a
sentence's end, 1 to 1.5 at a clause, 3 before a conjunction, 4 before a preposition, 4.5 before an
article, else 6, and 3 to 8 more after a word that needs the next one. A number stays with its
unit, its label and its sign.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from annotate.textunits import clusters, columns


@dataclass(frozen=True, slots=True)
class Piece:
    """Text that is never broken; ``glue`` joins it to the next piece where no break falls.

    ``cost`` is the price of a break after it, ``ends_sentence`` whether a sentence ends with it.
    """

    text: str
    glue: str
    columns: int
    cost: float
    ends_sentence: bool


@dataclass(frozen=True, slots=True)
class PhraseWords:
    """A language's small words: those a phrase starts with, and those that need the next word.

    ``determiners`` need it most; ``clinging`` are pronouns, auxiliaries and adverbs of degree.
    """

    conjunctions: frozenset[str]
    prepositions: frozenset[str]
    determiners: frozenset[str]
    clinging: frozenset[str]


def _words(*lists: str) -> PhraseWords:
    return PhraseWords(*(frozenset(words.split()) for words in lists))


#: By primary language subtag (BCP 47). Any other language breaks by punctuation and balance alone.
PHRASE_WORDS: dict[str, PhraseWords] = {
    "en": _words(
        "and or but nor so because when while then if unless that which who where whereas "
        "although though whether than as once",
        "of in on at with from to for by into onto over under through between without against "
        "along around behind below above beyond near off out past towards toward upon within "
        "after before during since per via until across beside beneath inside outside",
        "a an the this these those each every no any some its his her their my your our",
        "i you we they he she it is are was were be been being am has have had does did will "
        "would can could may might must shall should not don't doesn't cannot can't never very "
        "too more most less about approximately only just both either neither",
    ),
    "de": _words(
        "und oder aber denn sondern sowie weil wenn während dann falls bis dass damit ob als",
        "von in im an am auf mit aus zu zum zur für bei durch über unter zwischen ohne gegen um "
        "nach vor hinter neben seit pro per ab",
        "der die das den dem des ein eine einen einem einer eines kein keine keinen dieser diese "
        "dieses diesen jeder jede jedes",
        "ich du er sie es wir ihr ist sind war waren wird werden hat haben kann können muss "
        "müssen darf soll sollte nicht nie sehr etwa nur",
    ),
    "fr": _words(
        "et ou mais donc car ni puis quand lorsque si que qui dont où parce comme",
        "de du des d' en dans sur avec sans pour par vers chez entre sous contre après avant "
        "pendant depuis jusque à au aux",
        "le la les l' un une ce cet cette ces mon ma mes ton ta tes son sa ses notre votre leur "
        "chaque aucun aucune",
        "je tu il elle on nous vous ils elles est sont a ont peut peuvent doit doivent ne n' "
        "jamais très trop plus moins environ",
    ),
    "es": _words(
        "y e o u pero sino porque cuando mientras si que quien donde como luego",
        "de del en con sin para por hacia entre sobre bajo contra tras ante desde hasta según a al",
        "el la los las un una unos unas este esta estos estas cada ningún ninguna su sus mi tu",
        "yo tú él ella nosotros ellos es son está están ha han puede pueden debe deben no nunca "
        "muy más menos aproximadamente",
    ),
}
_NO_WORDS = _words("", "", "", "")

_CLAUSE, _COMMA, _CONJUNCTION, _PREPOSITION, _DETERMINER, _PLAIN = 1.0, 1.5, 3.0, 4.0, 4.5, 6.0
_AFTER_DETERMINER, _AFTER_SMALL_WORD, _AFTER_CLINGING = 8.0, 5.0, 3.0
_NUMBER, _INSIDE_WORD = 10.0, 30.0

#: White space that allows a break; no-break spaces (U+00A0, U+2007, U+202F) do not.
_SPACE = re.compile("[ \t\n\u1680\u2000-\u2006\u2008-\u200a\u205f\u3000]+")
_NUMERAL = re.compile(r"[#~≈±+−<>≤≥(]*\d[\d.,:/×x–-]*\d*")
_SIGN = re.compile(r"[<>=≤≥±+×÷~≈−/]+")
_LABEL_MARK = re.compile(r"\w+\.")
_WIDE_BREAK = re.compile("[\u2e80-\u2fff\u3005-\u30ff\u31f0-\u31ff\u3400-\u4dbf\u4e00-\u9fff]")
_NOT_AT_START = frozenset(
    "、。，．・：；？！％）」』】〕》〉”’ぁぃぅぇぉっゃゅょゎァィゥェォッャュョヮヵヶー々…‥"
)
_NOT_AT_END = frozenset("（「『【〔《〈“‘")
_CLOSERS = "\"'”’»)]}」』）】"


def single_spaced(text: str) -> str:
    """The text with every run of white space that allows a break as one space, none at the ends."""
    return _SPACE.sub(" ", text).strip(" ")


def pieces_of(
    sentences: Iterable[str], line_columns: int, language: str = "en"
) -> tuple[Piece, ...]:
    """All the sentences' pieces in order; a word wider than a line comes in several.

    ``language`` is a BCP 47 tag. Sentences are joined by a space where both sides are narrow.
    """
    words = PHRASE_WORDS.get(language.partition("-")[0].lower(), _NO_WORDS)
    out: list[Piece] = []
    for sentence in sentences:
        parts = _parts(sentence, line_columns)
        for index, (text, glue, inside) in enumerate(parts):
            last = index == len(parts) - 1
            cost = 0.0 if last else break_cost(text, parts[index + 1][0], words)
            if inside and not last:
                cost = _inside_cost(text, parts[index + 1][0])
            out.append(Piece(text, glue, columns(text), cost, last))
    return tuple(out)


def _parts(sentence: str, line_columns: int) -> list[tuple[str, str, bool]]:
    """Text, glue and whether the border after it lies inside an unspaced run."""
    out: list[tuple[str, str, bool]] = []
    chunks = [chunk for chunk in _SPACE.split(sentence) if chunk]
    for chunk in chunks:
        runs = [bit for bit in chunk.split("\u200b") if bit]
        bits = [bit for run in runs for bit in _unspaced(run, line_columns)]
        for index, bit in enumerate(bits):
            inside = index < len(bits) - 1
            out.append((bit, "" if inside else " ", inside))
    if out and _wide(out[-1][0][-1]):
        out[-1] = (out[-1][0], "", False)
    return out


def _unspaced(run: str, line_columns: int) -> list[str]:
    """The places a run without spaces may break at: between ideographs, else only if it must."""
    bits = _ideographic(run) if _WIDE_BREAK.search(run) else [run]
    return [part for bit in bits for part in _short_enough(bit, line_columns)]


def _wide(char: str) -> bool:
    """An ideograph, kana or one of their own marks: text that is written without spaces."""
    return bool(_WIDE_BREAK.match(char)) or char in "、。" or "\uff00" <= char <= "\uff60"


def joins_unspaced(before: str, after: str) -> bool:
    """Whether two runs of text are written without a space between them (Chinese, Japanese)."""
    return _wide(before[-1]) and _wide(after[0])


def _ideographic(run: str) -> list[str]:
    bits: list[str] = []
    for cluster in clusters(run):
        if bits and not _may_break(bits[-1], cluster):
            bits[-1] += cluster
        else:
            bits.append(cluster)
    return bits


def _may_break(before: str, cluster: str) -> bool:
    """Between two characters of which one is wide, but not before closing or after opening marks."""
    if cluster[0] in _NOT_AT_START or before[-1] in _NOT_AT_END:
        return False
    return _wide(before[-1]) or bool(_WIDE_BREAK.match(cluster[0])) or cluster[0] in _NOT_AT_END


def _short_enough(bit: str, line_columns: int) -> list[str]:
    """The bit, or where it is wider than a line its parts: at hyphens and slashes, else anywhere."""
    if columns(bit) <= line_columns:
        return [bit]
    out: list[str] = []
    for part in re.findall(r"[^-/‐–]*[-/‐–]+|[^-/‐–]+", bit):
        out.extend([part] if columns(part) <= line_columns else clusters(part))
    return out


def _inside_cost(before: str, after: str) -> float:
    """A break in a run without spaces: cheap after wide punctuation, dear inside a word."""
    if before[-1] in "、，；：":
        return _COMMA
    if _wide(before[-1]) or _wide(after[0]):
        left, right = _is_kana(before[-1]), _is_kana(after[0])
        if left and not right:  # a particle or an ending, then a new word
            return _CONJUNCTION
        return _NUMBER if right else _PLAIN
    return _PREPOSITION if before[-1] in "-/‐–" else _INSIDE_WORD


def _is_kana(char: str) -> bool:
    return "\u3040" <= char <= "\u309f"


def break_cost(before: str, after: str, words: PhraseWords) -> float:
    """What a break between two words of one sentence costs."""
    left, right = _bare(before), _bare(after)
    if before.strip("–—-") == "" or before[-1] in ";:–—؛；：":
        return _CLAUSE
    if before[-1] in ",،，、":
        return _COMMA
    if before[-1] in _CLOSERS and _cling_cost(left, right, words) == 0:
        return _CLAUSE
    return (
        _before_cost(after, right, words)
        + _cling_cost(left, right, words)
        + _number_cost(before, after)
    )


def _before_cost(after: str, right: str, words: PhraseWords) -> float:
    """A phrase may begin with a conjunction, a preposition, an article or a bracket, not with a mark."""
    if right in words.conjunctions or after == "&":
        return _CONJUNCTION
    if not any(char.isalnum() for char in after):
        return _NUMBER
    if after[0] in "([（":
        return _COMMA + 0.5
    if right in words.prepositions:
        return _PREPOSITION
    return _DETERMINER if right in words.determiners else _PLAIN


def _cling_cost(left: str, right: str, words: PhraseWords) -> float:
    """What the word before a break loses by it."""
    if left in words.determiners:
        return _AFTER_DETERMINER
    if left in words.prepositions or left in words.conjunctions:
        return _AFTER_SMALL_WORD
    if left in words.clinging and right not in words.conjunctions:
        return _AFTER_CLINGING
    return 0.0


def _number_cost(before: str, after: str) -> float:
    """What keeps a number with its unit, its label (``no. 36``, ``size 25``) and its sign."""
    if _SIGN.fullmatch(before) or _SIGN.fullmatch(after):
        return _NUMBER
    if before == "&":
        return _AFTER_SMALL_WORD
    if _is_number(after):
        return _NUMBER if _LABEL_MARK.fullmatch(before) else _AFTER_SMALL_WORD
    if _is_number(before):
        return _NUMBER if len(after.rstrip(_CLOSERS + ".,;:")) <= 4 else _AFTER_SMALL_WORD
    return _NUMBER if _LABEL_MARK.fullmatch(before) else 0.0


def _is_number(word: str) -> bool:
    return _NUMERAL.fullmatch(word.rstrip(_CLOSERS + ",;:")) is not None


def _bare(word: str) -> str:
    return word.strip("\"'“”‘’«»()[]{}.,;:!?…").casefold()
