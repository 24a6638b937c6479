"""What the text of one field means: times, speeds, ranges, names, languages, frame rates.

Each reader takes the text as written and returns the value, or raises FieldTextError, whose two
arguments say what was found and what to write. Nothing here knows where the text stood.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import PurePosixPath

from chapters.case import DEFAULT_FAST_LIMIT, HIGHEST_SPEED, Expect, Show
from chapters.times import TimeTextError, parse_time
from chapters.yamltext import quoted

LONGEST_TITLE = 300
LONGEST_FILE_NAME = 1000
HEIGHTS_PX = (120, 4320)
FRAME_RATES = (Fraction(10), Fraction(120))

#: Unicode's explicit direction marks (UAX #9, section 2): they make text read as what it is not.
#: With them go zero-width space, word joiner and byte order mark, which only pasting leaves behind.
_INVISIBLE = re.compile("[\u202a-\u202e\u2066-\u2069\u200b\u2060\ufeff]")
_ID = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
#: Names that Windows keeps for devices, whatever their extension.
_DEVICES = re.compile(r"con|prn|aux|nul|com[0-9]|lpt[0-9]")
_SPEED = re.compile(r"(\d{1,6}(?:\.\d{1,3})?)\s*[x×]", re.ASCII | re.IGNORECASE)
_UP_TO = re.compile(r"fast\s+up\s+to\s+(.+)", re.IGNORECASE)
_RATE = re.compile(r"(\d{1,6})/(\d{1,4})|(\d{1,3}(?:\.\d{1,3})?)", re.ASCII)
_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://|(file|data|concat|pipe|https?):", re.IGNORECASE)
_DRIVE = re.compile(r"[A-Za-z]:")
#: RFC 5646, section 2.1, without the reserved primary languages of four to eight letters and the
#: grandfathered tags, which the RFC itself tells writers to replace.
_LANGUAGE = re.compile(
    r"(?P<language>[a-z]{2,3}(?:-[a-z]{3}){0,3})"
    r"(?:-(?P<script>[a-z]{4}))?"
    r"(?:-(?P<region>[a-z]{2}|[0-9]{3}))?"
    r"(?P<variants>(?:-(?:[a-z0-9]{5,8}|[0-9][a-z0-9]{3}))*)"
    r"(?P<extensions>(?:-[a-wyz0-9](?:-[a-z0-9]{2,8})+)*)"
    r"(?P<private>-x(?:-[a-z0-9]{1,8})+)?"
)


class FieldTextError(ValueError):
    """A text that its field cannot hold; ``args[0]`` says what was found, ``args[1]`` what to write."""


def clean_text(
    text: str, longest: int = LONGEST_TITLE, *, keep_lines: bool = False
) -> tuple[str, bool]:
    """A title or note as it goes on: NFC, runs of blanks made one, line breaks only if kept.

    With ``keep_lines`` blank lines stay too, one where there were several: they part paragraphs.
    The flag says whether invisible direction marks were left out. Raises FieldTextError for
    control characters, for what is no character at all, and for more than ``longest`` characters.
    """
    visible = _INVISIBLE.sub("", text)
    for character in visible:
        if _no_character(character):
            raise FieldTextError(f"the control character U+{ord(character):04X}", "delete it")
    lines = [" ".join(line.split()) for line in visible.splitlines()]
    if keep_lines:
        clean = re.sub(r"\n{3,}", "\n\n", "\n".join(lines).strip("\n"))
    else:
        clean = " ".join(line for line in lines if line)
    clean = unicodedata.normalize("NFC", clean)
    if not clean:
        raise FieldTextError("is empty", "write a text or delete the line")
    if len(clean) > longest:
        raise FieldTextError(f"{len(clean)} characters long", f"write at most {longest}")
    return clean, visible != text


def _no_character(character: str) -> bool:
    code = ord(character)
    if character in "\t\n\r\x85":
        return False
    noncharacter = code & 0xFFFE == 0xFFFE or 0xFDD0 <= code <= 0xFDEF
    return noncharacter or unicodedata.category(character) in ("Cc", "Cs")


def time_value(text: str) -> Fraction:
    """Seconds from ``h:mm:ss``, ``m:ss`` or seconds."""
    try:
        return parse_time(text)
    except TimeTextError as error:
        why, advice = error.args
        raise FieldTextError(f"{quoted(text)} {_as_clause(why)}", advice) from None


def _as_clause(why: str) -> str:
    return why if why.startswith("is ") else f"is not a time: {why}"


def time_between(
    low: Fraction, high: Fraction, *, open_low: bool = True
) -> Callable[[str], Fraction]:
    """A reader of times above ``low`` (``open_low`` False: from it) up to ``high`` seconds."""

    def read(text: str) -> Fraction:
        value = time_value(text)
        if value < low or (open_low and value == low):
            word = "more than" if open_low else "at least"
            raise FieldTextError(
                f"{time_text(value)} is too short", f"write {word} {time_text(low)}"
            )
        if value > high:
            raise FieldTextError(
                f"{time_text(value)} is too long", f"write at most {time_text(high)}"
            )
        return value

    return read


def time_text(seconds: Fraction) -> str:
    """``1:02:03.5``: the shortest text that ``parse_time`` reads back as exactly these seconds.

    Raises ValueError for a time below zero or one that nine decimals cannot hold.
    """
    billionths = seconds * 10**9
    if billionths.denominator != 1 or billionths < 0:
        raise ValueError(f"{seconds} s has no exact text of nine decimals")
    whole, rest = divmod(billionths.numerator, 10**9)
    decimals = f".{rest:09d}".rstrip("0") if rest else ""
    minutes = f"{whole // 60 % 60}:{whole % 60:02d}"
    if whole < 3600:
        return minutes + decimals
    return f"{whole // 3600}:{minutes.zfill(5)}{decimals}"


def expected_range(text: str) -> Expect:
    """``1:30..3:00`` as the range of a step's clinical duration, both ends included."""
    low_text, dots, high_text = text.partition("..")
    if not dots:
        between = re.fullmatch(r"([\d:.]+)\s*[-–—]\s*([\d:.]+)", text.strip())
        example = f"{between[1]}..{between[2]}" if between and len(text) < 40 else "1:30..3:00"
        raise FieldTextError(
            f"{quoted(text)} is not a range", f"write low..high, such as {example}"
        )
    low, high = time_value(low_text), time_value(high_text)
    if low > high:
        raise FieldTextError(
            f"low end {low_text.strip()} is above high end {high_text.strip()}",
            f"write low..high, such as {high_text.strip()}..{low_text.strip()}",
        )
    if high == 0:
        raise FieldTextError("a range that ends at 0", "write low..high, such as 1:30..3:00")
    return Expect(low, high)


def show_value(text: str) -> Show:
    """``real``, ``skip``, ``4x``, ``fast`` or ``fast up to 12x``."""
    word = " ".join(text.split()).lower()
    if word in ("real", "skip"):
        return Show("real" if word == "real" else "skip")
    if word == "fast":
        return Show("fast", limit=DEFAULT_FAST_LIMIT)
    limit = _UP_TO.fullmatch(word)
    if limit:
        return Show("fast", limit=_speed(limit[1]))
    speed = _speed(word)
    return Show("real") if speed == 1 else Show("fixed", speed=speed)


def _speed(text: str) -> Fraction:
    match = _SPEED.fullmatch(text.strip())
    if match is None:
        bare = re.fullmatch(r"\d{1,3}(\.\d{1,3})?", text.strip(), re.ASCII)
        advice = (
            f"write {text.strip()}x" if bare else "write real, skip, fast, fast up to 12x or 4x"
        )
        raise FieldTextError(f"{quoted(text)} is no way to show a step", advice)
    speed = Fraction(match[1])
    if speed < 1:
        raise FieldTextError(
            f"{quoted(text)} would slow the recording down",
            "write 1x or more, for a slowed hand is taken for the real pace",
        )
    if speed > HIGHEST_SPEED:
        raise FieldTextError(
            f"{quoted(text)} is faster than {HIGHEST_SPEED}x", "write a lower speed, or skip"
        )
    return speed


def id_value(text: str) -> str:
    """A short name that also serves as file name and as anchor on a page."""
    if not _ID.fullmatch(text):
        example = as_id(text)
        raise FieldTextError(
            f"{quoted(text)} is no short name",
            f"write up to 64 small letters, digits, - and _, such as {example}",
        )
    if _DEVICES.fullmatch(text):
        raise FieldTextError(
            f"{quoted(text)} is no file name on Windows", f"write another, such as {text}-1"
        )
    return text


def as_id(text: str, otherwise: str = "step-1") -> str:
    """The nearest short name: ``Isolate the tooth`` becomes ``isolate-the-tooth``."""
    plain = unicodedata.normalize("NFKD", text[:LONGEST_TITLE])
    ascii_only = plain.encode("ascii", "ignore").decode("ascii").lower()
    name = re.sub(r"[^a-z0-9_]+", "-", ascii_only).strip("-_")[:40].strip("-_")
    return otherwise if not name or _DEVICES.fullmatch(name) else name


def file_value(text: str) -> str:
    """The name of a file in the case file's folder or below it, ``/`` between folder and file.

    A name that leads out of the folder is refused, so that a case can be moved as one folder and
    a case file from elsewhere reads nothing else. The name is returned without ``.`` and ``..``.
    """
    here = "put the file beside the case file and write its name"
    _refuse_name(text, here)
    parts: list[str] = []
    for part in PurePosixPath(text).parts:
        if part != "..":
            parts.append(part)
        elif parts:
            parts.pop()
        else:
            raise FieldTextError(f"{quoted(text)} leads out of the case file's folder", here)
    if not parts:
        raise FieldTextError(f"{quoted(text)} names no file", here)
    return "/".join(parts)


def folder_value(text: str) -> str:
    """The name of a folder in the case file's folder or below it, refused like a file's."""
    try:
        return file_value(text)
    except FieldTextError as error:
        raise FieldTextError(
            error.args[0], "put the folder, or a link to it, beside the case file; write its name"
        ) from None


def _refuse_name(text: str, here: str) -> None:
    """Raise FieldTextError where ``text`` cannot be a name below the case file's folder."""
    if len(text) > LONGEST_FILE_NAME:
        raise FieldTextError(f"a file name of {len(text)} characters", "check the name")
    for character in text:
        if _no_character(character) or character in "\t\n\r\x85" or _INVISIBLE.match(character):
            raise FieldTextError(
                f"the invisible character U+{ord(character):04X} in a file name",
                "rename the file and write the name again",
            )
    if _URL.match(text):
        raise FieldTextError(f"{quoted(text)} is an address", here)
    if text.startswith(("/", "~", "\\")) or _DRIVE.match(text):
        raise FieldTextError(f"{quoted(text)} does not begin at the case file's folder", here)
    if "\\" in text:
        raise FieldTextError(f"{quoted(text)} holds a backslash", "write / between folder and file")


def language_value(text: str) -> str:
    """A BCP 47 language tag (RFC 5646, well-formed), in the RFC's customary letter case."""
    tag = text.strip().lower()
    match = _LANGUAGE.fullmatch(tag) if len(tag) <= 100 else None
    if match is None or _repeats(match):
        advice = "write a tag such as en, en-GB or ar"
        if "_" in tag and len(tag) <= 100 and _LANGUAGE.fullmatch(tag.replace("_", "-")):
            advice = f"write {language_value(tag.replace('_', '-'))}"
        raise FieldTextError(f"{quoted(text)} is no language tag", advice)
    script = f"-{match['script'].title()}" if match["script"] else ""
    region = f"-{match['region'].upper()}" if match["region"] else ""
    rest = match["variants"] + match["extensions"] + (match["private"] or "")
    return match["language"] + script + region + rest


def _repeats(match: re.Match[str]) -> bool:
    variants = match["variants"].split("-")[1:]
    singletons = [p for p in match["extensions"].split("-") if len(p) == 1]
    return len(set(variants)) < len(variants) or len(set(singletons)) < len(singletons)


def frame_rate(text: str) -> Fraction:
    """Frames per second, exactly: ``25``, ``29.97`` (30000/1001), ``60000/1001``."""
    match = _RATE.fullmatch(text.strip())
    advice = "write a rate such as 25, 30, 29.97 or 30000/1001"
    if match is None or match[2] in ("0", "00", "000", "0000"):
        raise FieldTextError(f"{quoted(text)} is no frame rate", advice)
    rate = Fraction(int(match[1]), int(match[2])) if match[1] else _named_rate(Decimal(match[3]))
    if not FRAME_RATES[0] <= rate <= FRAME_RATES[1]:
        raise FieldTextError(
            f"{quoted(text)} frames per second", f"write {FRAME_RATES[0]} to {FRAME_RATES[1]}"
        )
    return rate


def _named_rate(written: Decimal) -> Fraction:
    """The rate n·1000/1001 that ``29.97`` and its like stand for, else the decimal itself."""
    step = Decimal(1).scaleb(int(written.as_tuple().exponent))
    for whole in (24, 30, 48, 60, 120):
        nominal = Decimal(whole * 1000) / Decimal(1001)
        if step < 1 and abs(nominal - written) <= step / 2 and step <= Decimal("0.01"):
            return Fraction(whole * 1000, 1001)
    return Fraction(written)


def height_px(text: str) -> int:
    """An even picture height in pixels, ``720`` or ``720p``."""
    digits = re.fullmatch(r"(\d{1,5})\s*(?:p|px)?", text.strip(), re.ASCII | re.IGNORECASE)
    if digits is None:
        raise FieldTextError(f"{quoted(text)} is no height", "write pixels, such as 720 or 1080")
    value = int(digits[1])
    low, high = HEIGHTS_PX
    if not low <= value <= high or value % 2:
        raise FieldTextError(
            f"{value} pixels", f"write an even number from {low} to {high}, such as 720 or 1080"
        )
    return value


def yes_no(text: str) -> bool:
    """``yes`` or ``no``; also ``true``, ``false``, ``on`` and ``off``."""
    word = text.strip().lower()
    if word not in ("yes", "no", "true", "false", "on", "off"):
        raise FieldTextError(f"{quoted(text)} is neither yes nor no", "write yes or no")
    return word in ("yes", "true", "on")


def choice(*allowed: str) -> Callable[[str], str]:
    """A reader of one word out of a few."""

    def read(text: str) -> str:
        word = text.strip().lower()
        if word not in allowed:
            near = nearest(word, allowed)
            advice = f"did you mean {near}?" if near else f"write {' or '.join(allowed)}"
            raise FieldTextError(f"{quoted(text)} is not known here", advice)
        return word

    return read


def nearest(word: str, allowed: Sequence[str]) -> str:
    """The allowed word that is spelt most like ``word``, or an empty text."""
    if len(word) > 40:
        return ""
    found = difflib.get_close_matches(word.lower(), allowed, n=1, cutoff=0.7)
    return found[0] if found else ""
