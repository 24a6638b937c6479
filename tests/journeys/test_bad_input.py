"""Wrong input through the command itself: exit code 2, where and what and what to write, nothing written."""

from __future__ import annotations

import os
import re

import numpy as np
import pytest
from PIL import Image

from annotate.cli import main
from tests.journeys.places import CASE, Place, contents

pytestmark = pytest.mark.timeout(120)


def test_the_case_that_is_spoilt_here_works_as_it_stands(place: Place) -> None:
    """Else every refusal below would prove nothing."""
    place.with_step("stills: [good.png]")
    code, outcome, _ = place.made()
    assert (code, outcome["status"]) == (0, "made")


# The case file


@pytest.mark.parametrize(
    ("line", "place_in_file", "words"),
    [
        ("titel: Slip", "5:1", ["did you mean title"]),
        ("title: Again", "5:1: ", ["twice", "line 2"]),
        ("tooth: 18", "5:8: tooth", ["{fdi: 18}", "{universal: 18}"]),
        ("tooth: {fdi: 19}", "5:", ["19"]),
        ("length: 0:02", "5:9: length", ["the film can last from", "write another length"]),
        ("length: 1:00:00", "5:9: length", ["the film can last from", "write another length"]),
        ("fps: 500", "5:6: fps", ["10 to 120"]),
        ("height: 241", "5:9: height", ["even"]),
        ("language: en_GB", "5:11: language", ["en-GB"]),
        ("ramp: 1:00", "5:7: ramp", ["at most 0:30"]),
        ("snap: soon", "5:7: snap", ["h:mm:ss"]),
        ("sound: loud", "5:8: sound", ["off or room"]),
        ("colour: red", "5:9: colour", ["bt709"]),
        ("range: wide", "5:8: range", ["limited"]),
        ("captions: huge", "5:11: captions", ["write one of"]),
        ("consent: yes", "5:10: consent", ["reference"]),
        ("away: [{at: 9:00, lasted: 1, reason: x}]", "5:13: away", ["9:00 is not before"]),
        ("away: [{at: 1, lasted: 0:99, reason: x}]", "5:", ["0:99"]),
        ("tags: one", "5:7: tags", ["tags: [one]"]),
        ("procedure: &a word", "5:12", ["anchor"]),
        ("\tpresenter: x", "5:1", ["tab"]),
        ('presenter: "never closed', "9:1", ["quotation mark opened in line 5"]),
    ],
)
def test_a_wrong_line_is_named_with_its_place_and_what_to_write(
    line: str, place_in_file: str, words: list[str], place: Place
) -> None:
    """One line too many or wrong in an otherwise good case."""
    place.with_line(line)
    why = place.refused()
    first = why.splitlines()[0]
    assert re.match(re.escape(f"{place.case}:{place_in_file}"), first), why
    for word in words:
        assert word in why


@pytest.mark.parametrize(
    ("old", "new", "place_in_file", "words"),
    [
        ("case: bench", "case: Bench 3", "1:7: case", ["bench-3"]),
        ("subject: simulated", "subject: yes", "3:10: subject", ["simulated or patient"]),
        ("id: two", "id: one", "7:10: steps[2].id", ["line 6"]),
        ("from: 2,", "from: 2:75,", "7:36: steps[2].from", ["00 to 59"]),
        ("from: 2,", "from: 0.1,", "7:36: steps[2].from", ["order of the recording"]),
        ("from: 2,", "from: 12,", "7:36: steps[2].from", ["before the recording's end"]),
        ("show: fast", "show: 0.5x", "7:45: steps[2].show", ["0.5x"]),
        ("show: fast", "show: quick", "7:45: steps[2].show", ["skip"]),
        ("to: 1.5", "to: 0.1", "6:44: steps[1].to", ["after the step's start"]),
        ("to: 1.5", "expect: 3:00..1:00", "6:", ["expect"]),
    ],
)
def test_a_wrong_value_is_named_with_its_place_and_what_to_write(
    old: str, new: str, place_in_file: str, words: list[str], place: Place
) -> None:
    """One value of the working case replaced."""
    assert old in CASE
    place.write(CASE.replace(old, new))
    why = place.refused()
    assert re.match(re.escape(f"{place.case}:{place_in_file}"), why.splitlines()[0]), why
    for word in words:
        assert word in why


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"only words\n", "does not begin with a field"),
        (CASE.encode("utf-16"), "UTF-16"),
        (CASE.replace("practice", "pr\u00e4ctice").encode("latin-1"), "2:12: byte 0xE4"),
        (b"case: \0x\n", "no text file"),
        (b"# " + b"x" * 1_100_000, "larger than 1 MB"),
        (b"a: &x [1]\nb: *x\n", "alias"),
        (b"a: " + b"[" * 200 + b"]" * 200, "1:"),
        (CASE.encode() + b"---\n" + CASE.encode(), "second document"),
    ],
)
def test_a_file_that_is_no_case_file_is_refused(data: bytes, words: str, place: Place) -> None:
    """Not text, not UTF-8, not one mapping, too large, or with what YAML hides."""
    place.case.write_bytes(data)
    assert words in place.refused()


def test_all_faults_are_told_at_once_in_their_order(place: Place) -> None:
    """Recording, still and letters in one go, each at its place."""
    place.write(
        CASE.replace("good.mp4", "gone.mp4")
        .replace("title: First", "title: First 𒀀")
        .replace("to: 1.5", "to: 1.5, stills: [none.png]")
    )
    why = place.refused().splitlines()
    assert [re.sub(r"^.*case\.yaml:", "", line).split(" ")[0] for line in why] == [
        "4:14:",
        "6:22:",
        "6:60:",
    ]


# Stills, fonts, letters


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("none.png", "is not there"),
        ("good.mp4", "is not a PNG, JPEG, TIFF or WebP picture"),
        ("cut.png", "is damaged"),
        ("folder", "is a folder"),
        ("{file: good.png, at: 3}", "lies outside its step"),
        ("{file: good.png, hold: 1:00:00}", "hold"),
        ("http://192.0.2.1/x.png", "is an address"),
    ],
)
def test_a_still_that_cannot_be_laid_in_is_refused(
    written: str, words: str, place: Place, good: bytes
) -> None:
    """At its place in the step."""
    noise = np.random.default_rng(1).integers(0, 256, (64, 64, 3), np.uint8)
    Image.fromarray(noise).save(place.folder / "cut.png")
    (place.folder / "cut.png").write_bytes((place.folder / "cut.png").read_bytes()[:4000])
    (place.folder / "folder").mkdir()
    place.with_step(f"stills: [{written}]")
    why = place.refused()
    assert re.match(re.escape(str(place.case)) + r":6:\d+: steps\[1\]\.stills", why), why
    assert words in why


@pytest.mark.parametrize(
    ("written", "words"),
    [("none.ttf", "is not there"), ("good.mp4", "is not a font"), ("folder", "is a folder")],
)
def test_a_font_that_is_none_is_refused(written: str, words: str, place: Place) -> None:
    """Before anything is drawn with it."""
    (place.folder / "folder").mkdir()
    place.with_line(f"fonts: [{written}]")
    place.refused_at("5:8: fonts", words)


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("title: A practice", "title: A 𒀀 practice", "2:8: title"),
        ("title: Second", "title: Second 𒀀", "7:22: steps[2].title"),
    ],
)
def test_a_letter_that_no_font_has_is_named(old: str, new: str, where: str, place: Place) -> None:
    """The character, its number and its Unicode name: an empty box on the film helps nobody."""
    place.write(CASE.replace(old, new))
    place.refused_at(where, "“𒀀” U+12000 CUNEIFORM SIGN A", "fonts:")


# Where results go


def test_a_wished_length_that_cannot_be_had_names_what_can(place: Place) -> None:
    """The shortest and the longest film, to the millisecond where whole seconds would mislead."""
    place.with_line("length: 0:05")
    why = place.refused()
    found = re.search(r"from 0:\d\d \((\d+\.\d{3}) s\) to 0:\d\d \((\d+\.\d{3}) s\)", why)
    assert found is not None, why
    shortest, longest = float(found[1]), float(found[2])
    assert shortest < longest
    for wished, code in ((shortest, 0), (longest, 0), (shortest - 0.5, 2), (longest + 0.5, 2)):
        place.with_line(f"length: {wished:.3f}")
        got, outcome, _ = place.made()
        assert got == code, (wished, outcome["why"])


@pytest.mark.parametrize("how", ["itself", "symbolic link", "hard link"])
@pytest.mark.parametrize("name", ["teaching-cut.mp4", "poster.jpg"])
def test_an_input_that_is_also_a_result_is_refused_and_left_as_it_is(
    how: str, name: str, place: Place, good: bytes
) -> None:
    """The film of an earlier run as the recording, its poster as a still; by whatever link."""
    results = place.folder / "out" / "bench"
    results.mkdir(parents=True)
    target = results / name
    target.write_bytes(good if name.endswith("mp4") else (place.folder / "good.png").read_bytes())
    written = f"out/bench/{name}"
    if how != "itself":
        written = "linked" + target.suffix
        try:
            if how == "hard link":
                os.link(target, place.folder / written)
            else:
                (place.folder / written).symlink_to(target)
        except OSError:
            pytest.skip("NOT CHECKED: this account may not make links")
    if name.endswith("mp4"):
        place.with_recording(written)
    else:
        place.with_step(f"stills: [{written}]")
    assert f"{written}: is also where the result would be written" in place.refused()


def test_results_where_a_file_stands_are_refused(place: Place) -> None:
    """--out names a file, or something below one."""
    (place.folder / "words.txt").write_text("x", encoding="utf-8")
    for out in (place.folder / "words.txt", place.folder / "words.txt" / "sub"):
        assert "words.txt: is a file" in place.refused("--out", str(out))


def test_two_cases_of_one_name_are_refused(place: Place) -> None:
    """Both would write into one folder; both files are named."""
    other = place.folder / "other.yaml"
    other.write_text(CASE, encoding="utf-8")
    before = contents(place.folder)
    place.capsys.readouterr()
    assert main(["make", str(place.case), str(other)]) == 2
    said = place.capsys.readouterr().err
    assert str(other) in said and str(place.case) in said and "another id" in said
    assert contents(place.folder) == before
