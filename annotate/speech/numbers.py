"""Numbers in English words, as a speaker reads them aloud."""

from __future__ import annotations

_ONES = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
_TENS = [
    "zero",
    "ten",
    "twenty",
    "thirty",
    "forty",
    "fifty",
    "sixty",
    "seventy",
    "eighty",
    "ninety",
]
_GROUPS = ("", "thousand", "million", "billion", "trillion")
_IRREGULAR = {
    "one": "first",
    "two": "second",
    "three": "third",
    "five": "fifth",
    "eight": "eighth",
    "nine": "ninth",
    "twelve": "twelfth",
}
_PARTS = {2: "half", 3: "third", 4: "quarter"}

Words = tuple[str, ...]


def cardinal(number: int) -> Words:
    """``1204`` as one thousand two hundred four; from 10**15 on digit by digit."""
    if number >= 1000 ** len(_GROUPS):
        return digits(str(number))
    if number == 0:
        return ("zero",)
    out: list[str] = []
    for power in reversed(range(len(_GROUPS))):
        group = number // 1000**power % 1000
        if group:
            out += [*_below_thousand(group), *filter(None, [_GROUPS[power]])]
    return tuple(out)


def _below_thousand(number: int) -> list[str]:
    hundreds, rest = divmod(number, 100)
    out = [_ONES[hundreds], "hundred"] if hundreds else []
    if rest >= 20:
        out.append(_TENS[rest // 10])
        rest %= 10
    if rest:
        out.append(_ONES[rest])
    return out


def ordinal(number: int) -> Words:
    """``22`` as twenty second."""
    *front, last = cardinal(number)
    if last in _IRREGULAR:
        return (*front, _IRREGULAR[last])
    return (*front, last[:-1] + "ieth" if last.endswith("y") else last + "th")


def digits(text: str) -> Words:
    """``04`` as zero four."""
    return tuple(_ONES[int(char)] for char in text)


def decimal(text: str) -> Words:
    """``2.5`` as two point five, ``1,204`` as one thousand two hundred four, ``.04`` as point zero four."""
    whole, point, part = text.replace(",", "").partition(".")
    words = (digits(whole) if len(whole) > 15 else cardinal(int(whole))) if whole else ()
    return (*words, "point", *digits(part)) if point and part else words


def fraction(above: int, below: int) -> Words:
    """``1/2`` as one half, ``3/4`` as three quarters, ``2/25`` as two over twenty five."""
    if below in _PARTS or 4 < below <= 20:
        name = _PARTS.get(below) or ordinal(below)[-1]
        if above != 1:
            name = "halves" if below == 2 else name + "s"
        return (*cardinal(above), name)
    return (*cardinal(above), "over", *cardinal(below))


def year(number: int) -> Words:
    """``1997`` as nineteen ninety seven, ``2025`` as twenty twenty five, ``2004`` as a number."""
    high, low = divmod(number, 100)
    if not 1100 <= number <= 2099 or 2000 <= number < 2010:
        return cardinal(number)
    if low == 0:
        return (*cardinal(high), "hundred")
    return (*cardinal(high), *(("oh",) if low < 10 else ()), *cardinal(low))
