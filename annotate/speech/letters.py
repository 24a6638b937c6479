"""A pronunciation for an English word that no dictionary has, by letter rules.

About a hundred rules, longest first, applied from left to right; the phones are ARPAbet as in the
CMU Pronouncing Dictionary, without stress. Good enough to hold a word in its place between
neighbours that are known; not a way to teach a voice to speak.
"""

from __future__ import annotations

import re

#: The 39 phones of the CMU Pronouncing Dictionary.
PHONES: frozenset[str] = frozenset(
    [
        "AA",
        "AE",
        "AH",
        "AO",
        "AW",
        "AY",
        "B",
        "CH",
        "D",
        "DH",
        "EH",
        "ER",
        "EY",
        "F",
        "G",
        "HH",
        "IH",
        "IY",
        "JH",
        "K",
        "L",
        "M",
        "N",
        "NG",
        "OW",
        "OY",
        "P",
        "R",
        "S",
        "SH",
        "T",
        "TH",
        "UH",
        "UW",
        "V",
        "W",
        "Y",
        "Z",
        "ZH",
    ]
)
Phones = tuple[str, ...]
#: Names of the letters, for abbreviations that are spelled.
LETTER_NAMES: dict[str, str] = {
    "a": "EY", "b": "B IY", "c": "S IY", "d": "D IY", "e": "IY", "f": "EH F", "g": "JH IY",
    "h": "EY CH", "i": "AY", "j": "JH EY", "k": "K EY", "l": "EH L", "m": "EH M", "n": "EH N",
    "o": "OW", "p": "P IY", "q": "K Y UW", "r": "AA R", "s": "EH S", "t": "T IY", "u": "Y UW",
    "v": "V IY", "w": "D AH B AH L Y UW", "x": "EH K S", "y": "W AY", "z": "Z IY",
}  # fmt: skip

#: (letters before, letters, letters after, phones); the first rule that fits is taken.
_RULES: tuple[tuple[str, str, str, str], ...] = (
    ("^", "ps", "", "S"), ("^", "pn", "", "N"), ("^", "kn", "", "N"), ("^", "gn", "", "N"),
    ("^", "wr", "", "R"), ("^", "x", "", "Z"), ("^", "mn", "", "N"), ("^", "pt", "", "T"),
    ("", "ation", "", "EY SH AH N"), ("", "tion", "", "SH AH N"), ("", "ism", "$", "IH Z AH M"),
    ("^", "micro", "", "M AY K R OW"), ("^", "hydro", "", "HH AY D R OW"), ("^", "hypo", "", "HH AY P OW"),
    ("^", "bio", "", "B AY OW"), ("^", "pre", "", "P R IY"), ("", "ate", "$", "EY T"), ("", "ine", "$", "IY N"), ("s", "ion", "", "AH N"), ("", "ssion", "", "SH AH N"),
    ("", "sion", "", "ZH AH N"), ("", "cious", "", "SH AH S"), ("", "tious", "", "SH AH S"),
    ("", "cian", "", "SH AH N"), ("", "tial", "", "SH AH L"), ("", "cial", "", "SH AH L"),
    ("", "ture", "", "CH ER"), ("", "sure", "", "ZH ER"), ("", "ology", "$", "AA L AH JH IY"),
    ("", "itis", "$", "AY T IH S"), ("", "osis", "$", "OW S IH S"), ("", "ical", "", "IH K AH L"),
    ("", "ough", "t", "AO"), ("", "augh", "", "AO"), ("", "eigh", "", "EY"), ("", "igh", "", "AY"),
    ("", "ough", "", "AH F"), ("", "tch", "", "CH"), ("", "dge", "", "JH"), ("", "sch", "", "SH"),
    ("", "chr", "", "K R"), ("", "chl", "", "K L"), ("", "cch", "", "K"), ("", "rrh", "", "R"),
    ("", "eau", "", "OW"), ("", "eous", "", "IY AH S"), ("", "ious", "", "IY AH S"),
    ("", "ous", "", "AH S"), ("", "ph", "", "F"), ("", "sh", "", "SH"), ("", "ch", "", "CH"),
    ("", "th", "", "TH"), ("", "gh", "", "G"), ("", "ck", "", "K"), ("", "ng", "$", "NG"),
    ("", "qu", "", "K W"), ("", "wh", "", "W"), ("", "rh", "", "R"), ("", "gg", "", "G"),
    ("", "cc", "[eiy]", "K S"), ("", "sc", "[eiy]", "S"), ("", "x", "", "K S"),
    ("", "c", "[eiy]", "S"), ("", "c", "", "K"), ("", "g", "[eiy]", "JH"), ("", "g", "", "G"),
    ("", "ai", "", "EY"), ("", "ay", "", "EY"), ("", "au", "", "AO"), ("", "aw", "", "AO"),
    ("", "ae", "", "IY"), ("", "oe", "", "IY"), ("", "ea", "", "IY"), ("", "ee", "", "IY"),
    ("", "ei", "", "IY"), ("", "eu", "", "UW"), ("", "ew", "", "UW"), ("", "ey", "$", "IY"),
    ("", "ie", "$", "IY"), ("", "ie", "", "IY"), ("", "io", "", "IY OW"), ("", "ia", "", "IY AH"),
    ("", "oa", "", "OW"), ("", "oi", "", "OY"), ("", "oy", "", "OY"), ("", "oo", "", "UW"),
    ("", "ou", "", "AW"), ("", "ow", "$", "OW"), ("", "ow", "", "AW"), ("", "ui", "", "UW"),
    ("", "ue", "$", "UW"), ("", "ya", "", "Y AA"), ("", "er", "", "ER"), ("", "ir", "", "ER"),
    ("", "ur", "", "ER"), ("", "ar", "", "AA R"), ("", "or", "", "AO R"), ("", "yr", "", "ER"),
    ("", "al", "$", "AH L"), ("", "le", "$", "AH L"), ("", "ed", "$", "D"), ("", "es", "$", "Z"),
    ("", "a", "$", "AH"), ("", "a", "[bcdfgklmnprstvz]e$", "EY"), ("", "a", "", "AE"),
    ("^", "e", "$", "IY"), ("", "e", "$", ""), ("", "e", "", "EH"),
    ("", "i", "[bcdfgklmnprstvz]e$", "AY"), ("", "i", "$", "IY"), ("", "i", "", "IH"),
    ("", "o", "[bcdfgklmnprstvz]e$", "OW"), ("", "o", "$", "OW"), ("", "o", "", "AA"),
    ("", "u", "[bcdfgklmnprstvz]e$", "UW"), ("", "u", "", "AH"), ("^", "y", "", "Y"),
    ("", "y", "$", "IY"), ("", "y", "", "IH"), ("", "b", "", "B"), ("", "d", "", "D"),
    ("", "f", "", "F"), ("", "h", "", "HH"), ("", "j", "", "JH"), ("", "k", "", "K"),
    ("", "l", "", "L"), ("", "m", "", "M"), ("", "n", "", "N"), ("", "p", "", "P"),
    ("", "q", "", "K"), ("", "r", "", "R"), ("[bdgmnlrvw]", "s", "$", "Z"), ("", "s", "", "S"),
    ("", "t", "", "T"), ("", "v", "", "V"), ("", "w", "", "W"), ("", "z", "", "Z"),
)  # fmt: skip
_TWINS = re.compile(r"([bcdfjklmnprstvz])\1")


def letters_to_phones(word: str) -> Phones:
    """Phones of a lower-case word; empty only where it has none of the letters a to z."""
    text = _TWINS.sub(r"\1", re.sub(r"[^a-z]", "", word))
    out: list[str] = []
    at = 0
    while at < len(text):
        for before, letters, after, phones in _RULES:
            if _fits(text, at, before, letters, after):
                out += phones.split()
                at += len(letters)
                break
        else:
            at += 1
    return tuple(out) or tuple(p for c in text for p in LETTER_NAMES[c].split())


def _fits(text: str, at: int, before: str, letters: str, after: str) -> bool:
    if not text.startswith(letters, at):
        return False
    if before == "^" and at:
        return False
    if before not in ("", "^") and not re.search(f"{before}$", text[:at]):
        return False
    return not after or re.match(after, text[at + len(letters) :]) is not None
