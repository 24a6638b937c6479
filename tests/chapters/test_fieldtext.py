"""What the text of one field means, and what is said of a text that means nothing."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chapters.case import Expect, Show
from chapters.fieldtext import (
    FieldTextError,
    as_id,
    choice,
    clean_text,
    expected_range,
    file_value,
    frame_rate,
    height_px,
    id_value,
    language_value,
    nearest,
    show_value,
    time_between,
    time_text,
    time_value,
    yes_no,
)
from chapters.times import LONGEST_S, parse_time


def refusal(read: Callable[[str], object], text: str) -> str:
    """What is said of a text that the reader refuses."""
    with pytest.raises(FieldTextError) as caught:
        read(text)
    found, advice = caught.value.args
    return f"{found}; {advice}"


@settings(derandomize=True)
@given(st.integers(0, int(LONGEST_S) * 10**9))
def test_time_texts_round_trip(billionths: int) -> None:
    """Every time of nine decimals up to 100 hours is written so that it reads back exactly."""
    seconds = Fraction(billionths, 10**9)
    assert parse_time(time_text(seconds)) == seconds


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (Fraction(0), "0:00"),
        (Fraction(5, 2), "0:02.5"),
        (Fraction(90), "1:30"),
        (Fraction(3600), "1:00:00"),
        (Fraction(3723) + Fraction(1, 10**9), "1:02:03.000000001"),
        (Fraction(360000), "100:00:00"),
    ],
)
def test_time_text_is_short(seconds: Fraction, text: str) -> None:
    """No more digits than the time needs."""
    assert time_text(seconds) == text


@pytest.mark.parametrize("seconds", [Fraction(1, 3), Fraction(-1)])
def test_time_text_writes_nothing_inexact(seconds: Fraction) -> None:
    """A third of a second and a time below zero have no text."""
    with pytest.raises(ValueError, match="no exact text of nine decimals"):
        time_text(seconds)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1:75", '"1:75" is not a time: seconds after a colon run from 00 to 59; write two digits, '
         "such as 2:05"),
        ("12:30:15:00", '"12:30:15:00" is not a time; write h:mm:ss, m:ss or seconds, such as '
         "1:02:03.5"),
        ("-1:30", '"-1:30" is not a time; write h:mm:ss, m:ss or seconds, such as 1:02:03.5'),
        ("1e3", '"1e3" is not a time; write h:mm:ss, m:ss or seconds, such as 1:02:03.5'),
        ("٣:٣٠", '"٣:٣٠" is not a time; write h:mm:ss, m:ss or seconds, such as 1:02:03.5'),
        ("101:00:00", '"101:00:00" is longer than 100 hours; check the number'),
        ("9" * 5000, '"' + "9" * 40 + '"... is not a time; write h:mm:ss, m:ss or seconds, such as '
         "1:02:03.5"),
    ],
)  # fmt: skip
def test_what_is_no_time_is_said(text: str, said: str) -> None:
    """A text that is no time is shown, with the reason and the form to write."""
    assert refusal(time_value, text) == said


def test_time_limits_say_which_end() -> None:
    """A length outside its limits names the limit it passes."""
    read = time_between(Fraction(0), Fraction(600))
    assert read("10:00") == 600
    assert refusal(read, "0") == "0:00 is too short; write more than 0:00"
    assert refusal(read, "10:01") == "10:01 is too long; write at most 10:00"
    assert time_between(Fraction(0), Fraction(1), open_low=False)("0") == 0


def test_expected_range_includes_both_ends() -> None:
    """``low..high`` in any time form; blanks around the dots do not matter."""
    assert expected_range("1:30..3:00") == Expect(Fraction(90), Fraction(180))
    assert expected_range("90 .. 90.5") == Expect(Fraction(90), Fraction(181, 2))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("5:00..2:00", "low end 5:00 is above high end 2:00; write low..high, such as 2:00..5:00"),
        ("1:30-3:00", '"1:30-3:00" is not a range; write low..high, such as 1:30..3:00'),
        ("2–4", '"2–4" is not a range; write low..high, such as 2..4'),
        ("3:00", '"3:00" is not a range; write low..high, such as 1:30..3:00'),
        ("0..0", "a range that ends at 0; write low..high, such as 1:30..3:00"),
        ("..3", '"" is not a time; write h:mm:ss, m:ss or seconds, such as 1:02:03.5'),
        ("1...3", '".3" is not a time; write h:mm:ss, m:ss or seconds, such as 1:02:03.5'),
    ],
)
def test_what_is_no_range_is_said(text: str, said: str) -> None:
    """A range that cannot be is answered with one that can."""
    assert refusal(expected_range, text) == said


@pytest.mark.parametrize(
    ("text", "show"),
    [
        ("real", Show("real")),
        ("Skip", Show("skip")),
        ("4x", Show("fixed", Fraction(4))),
        ("2.5x", Show("fixed", Fraction(5, 2))),
        ("1.125 X", Show("fixed", Fraction(9, 8))),
        ("8×", Show("fixed", Fraction(8))),
        ("1x", Show("real")),
        ("100x", Show("fixed", Fraction(100))),
        ("fast", Show("fast")),
        ("fast up to 12x", Show("fast", limit=Fraction(12))),
        ("Fast  up to 2.5x", Show("fast", limit=Fraction(5, 2))),
    ],
)
def test_ways_to_show_a_step(text: str, show: Show) -> None:
    """real, skip, a speed, fast, fast up to a speed."""
    assert show_value(text) == show


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("8", '"8" is no way to show a step; write 8x'),
        ("quick", '"quick" is no way to show a step; write real, skip, fast, fast up to 12x or 4x'),
        ("-4x", '"-4x" is no way to show a step; write real, skip, fast, fast up to 12x or 4x'),
        ("0.5x", '"0.5x" would slow the recording down; write 1x or more, for a slowed hand is '
         "taken for the real pace"),
        ("fast up to 0x", '"0x" would slow the recording down; write 1x or more, for a slowed hand '
         "is taken for the real pace"),
        ("101x", '"101x" is faster than 100x; write a lower speed, or skip'),
    ],
)  # fmt: skip
def test_what_is_no_way_to_show_a_step_is_said(text: str, said: str) -> None:
    """Slow motion is refused with its reason; a bare figure is answered with its x."""
    assert refusal(show_value, text) == said


@pytest.mark.parametrize("text", ["a", "bench-03", "0_x", "a" * 64])
def test_short_names(text: str) -> None:
    """Small letters, digits, - and _, up to 64, are a short name."""
    assert id_value(text) == text


@pytest.mark.parametrize(
    ("text", "example"),
    [
        ("Bench 03", "bench-03"),
        ("-x", "x"),
        ("Aufklappung für Übung", "aufklappung-fur-ubung"),
        ("אבג", "step-1"),
        ("a/../b", "a-b"),
        ("a" * 65, "a" * 40),
        ("COM1", "step-1"),
    ],
)
def test_what_is_no_short_name_gets_one(text: str, example: str) -> None:
    """A refused name is answered with the nearest one that will do."""
    said = refusal(id_value, text)
    assert said.endswith(
        f" is no short name; write up to 64 small letters, digits, - and _, such as {example}"
    )
    assert id_value(example) == example


def test_names_of_devices_are_refused() -> None:
    """``con`` is a short name everywhere but on Windows, where it names no folder."""
    said = refusal(id_value, "con")
    assert said == '"con" is no file name on Windows; write another, such as con-1'


@settings(derandomize=True)
@given(st.text())
def test_any_text_has_a_nearest_short_name(text: str) -> None:
    """The proposal is always a valid short name."""
    assert id_value(as_id(text))


HERE = "put the file beside the case file and write its name"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("scope-001.mp4", "scope-001.mp4"),
        ("day 1/it's 5%.mp4", "day 1/it's 5%.mp4"),
        ("./a//b/../c.mp4", "a/c.mp4"),
        ("case12:30.mp4", "case12:30.mp4"),
        ("-o.mp4", "-o.mp4"),
        ("שלום.mp4", "שלום.mp4"),
        ("..mp4", "..mp4"),
    ],
)
def test_file_names_below_the_case_file(text: str, name: str) -> None:
    """Any name in the case file's folder or below it, written without detours."""
    assert file_value(text) == name


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("../a.mp4", f'"../a.mp4" leads out of the case file\'s folder; {HERE}'),
        ("a/../../b.mp4", f'"a/../../b.mp4" leads out of the case file\'s folder; {HERE}'),
        ("/data/a.mp4", f'"/data/a.mp4" does not begin at the case file\'s folder; {HERE}'),
        ("~/a.mp4", f'"~/a.mp4" does not begin at the case file\'s folder; {HERE}'),
        ("C:/a.mp4", f'"C:/a.mp4" does not begin at the case file\'s folder; {HERE}'),
        ("\\\\disk\\a.mp4", f'"\\\\disk\\a.mp4" does not begin at the case file\'s folder; {HERE}'),
        ("a\\b.mp4", '"a\\b.mp4" holds a backslash; write / between folder and file'),
        ("http://x/a.mp4", f'"http://x/a.mp4" is an address; {HERE}'),
        ("file:a.mp4", f'"file:a.mp4" is an address; {HERE}'),
        ("concat:a.mp4", f'"concat:a.mp4" is an address; {HERE}'),
        (".", f'"." names no file; {HERE}'),
        ("a/..", f'"a/.." names no file; {HERE}'),
        ("a\nb", "the invisible character U+000A in a file name; rename the file and write the "
         "name again"),
        ("a\u202egpj.mp4", "the invisible character U+202E in a file name; rename the file and "
         "write the name again"),
        ("x" * 1001, "a file name of 1001 characters; check the name"),
    ],
)  # fmt: skip
def test_file_names_that_lead_elsewhere_are_refused(text: str, said: str) -> None:
    """No address, no absolute path, no way out of the folder, nothing invisible."""
    assert refusal(file_value, text) == said


@settings(derandomize=True)
@given(st.text(alphabet="./ab\\:~", max_size=12))
def test_no_accepted_file_name_leaves_its_folder(text: str) -> None:
    """Whatever is accepted is a plain walk down from the case file's folder."""
    try:
        name = file_value(text)
    except FieldTextError:
        return
    assert not name.startswith("/")
    assert all(part not in ("", ".", "..") for part in name.split("/"))


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("25", Fraction(25)),
        ("29.97", Fraction(30000, 1001)),
        ("29.970", Fraction(30000, 1001)),
        ("23.976", Fraction(24000, 1001)),
        ("23.98", Fraction(24000, 1001)),
        ("59.94", Fraction(60000, 1001)),
        ("119.88", Fraction(120000, 1001)),
        ("24.00", Fraction(24)),
        ("12.5", Fraction(25, 2)),
        ("30000/1001", Fraction(30000, 1001)),
    ],
)
def test_frame_rates_are_exact(text: str, rate: Fraction) -> None:
    """29.97 and its like stand for n·1000/1001 (SMPTE ST 12-1); everything else for itself."""
    assert frame_rate(text) == rate


@pytest.mark.parametrize("text", ["30/0", "abc", "1e2", "-25", "30 fps", "9" * 5000])
def test_what_is_no_frame_rate(text: str) -> None:
    """Anything but a number or a fraction is no rate."""
    assert refusal(frame_rate, text).endswith(
        "is no frame rate; write a rate such as 25, 30, 29.97 or 30000/1001"
    )


@pytest.mark.parametrize("text", ["1", "9.99", "120.1", "240", "1/3"])
def test_rates_that_no_film_has(text: str) -> None:
    """Below 10 and above 120 frames per second there is no film to watch."""
    assert refusal(frame_rate, text) == f'"{text}" frames per second; write 10 to 120'


def test_heights_are_even() -> None:
    """Heights are even numbers of pixels within reason; the p of 720p may stand."""
    assert [height_px(t) for t in ("720", "1080p", "480 px")] == [720, 1080, 480]
    even = "write an even number from 120 to 4320, such as 720 or 1080"
    assert refusal(height_px, "721") == f"721 pixels; {even}"
    assert refusal(height_px, "118") == f"118 pixels; {even}"
    assert refusal(height_px, "4322") == f"4322 pixels; {even}"
    assert refusal(height_px, "tall") == '"tall" is no height; write pixels, such as 720 or 1080'


def test_yes_and_no() -> None:
    """Yes and no in the words people use, whatever YAML makes of them."""
    assert [yes_no(t) for t in ("yes", "ON", "true", "no", "Off", "false")] == [True] * 3 + [
        False
    ] * 3
    assert refusal(yes_no, "maybe") == '"maybe" is neither yes nor no; write yes or no'


def test_choices_hint_at_the_near_word() -> None:
    """A misspelt word is answered with the near one, a strange one with all."""
    read = choice("simulated", "patient")
    assert read(" Patient ") == "patient"
    assert refusal(read, "simulatd") == '"simulatd" is not known here; did you mean simulated?'
    assert refusal(read, "dog") == '"dog" is not known here; write simulated or patient'
    assert nearest("x" * 10_000, ["x"]) == ""


def test_clean_text_normalises() -> None:
    """NFC, blanks made one, lines joined; a note keeps its lines and one blank line."""
    assert clean_text("  e\u0301  x\n y\u00a0z ") == ("é x y z", False)
    assert clean_text("a \n\n\n\n- b\n- c\n", keep_lines=True) == ("a\n\n- b\n- c", False)


def test_clean_text_leaves_out_direction_marks_and_says_so() -> None:
    """Embeddings, overrides, isolates and zero-width blanks go; joiners that scripts need stay."""
    assert clean_text("a\u202eb\u2066c\u200bd") == ("abcd", True)
    assert clean_text("می\u200cخواهم \u200f") == ("می\u200cخواهم \u200f", False)


@pytest.mark.parametrize("code", [0x0, 0x7, 0x1B, 0x7F, 0x9F, 0xD800, 0xFFFE, 0xFDD0, 0x1FFFF])
def test_clean_text_refuses_what_is_no_character(code: int) -> None:
    """Controls, halves of pairs and noncharacters are refused by their number."""
    said = refusal(clean_text, f"a{chr(code)}b")
    assert said == f"the control character U+{code:04X}; delete it"


def test_clean_text_has_a_limit() -> None:
    """A title of 301 characters is refused, of 300 not; a text of marks alone is empty."""
    assert clean_text("x" * 300) == ("x" * 300, False)
    assert refusal(clean_text, "x" * 301) == "301 characters long; write at most 300"
    assert refusal(clean_text, "\u202e \u200b") == "is empty; write a text or delete the line"


@pytest.mark.parametrize(
    ("text", "tag"),
    [("en", "en"), ("EN-gb", "en-GB"), ("zh-hant-tw", "zh-Hant-TW"), ("es-419", "es-419")],
)
def test_language_tags_take_their_customary_case(text: str, tag: str) -> None:
    """Letters become small, scripts titled, regions large, as RFC 5646 recommends."""
    assert language_value(text) == tag


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("english", "write a tag such as en, en-GB or ar"),
        ("en_gb", "write en-GB"),
        ("e", "write a tag such as en, en-GB or ar"),
        ("en-" + "a" * 5000, "write a tag such as en, en-GB or ar"),
    ],
)
def test_what_is_no_language_tag(text: str, advice: str) -> None:
    """A language's name is no tag; an underscore is answered with the hyphen."""
    assert refusal(language_value, text).endswith(f" is no language tag; {advice}")
