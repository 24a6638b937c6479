"""A case file read whole: every field, every mistake with its place, every warning."""

from __future__ import annotations

import unicodedata
from fractions import Fraction
from pathlib import Path

import pytest

from chapters.case import Away, Case, Consent, Expect, Part, Show, Step, Still, Tooth
from chapters.casefile import load_case, mistake_at, read_case
from chapters.errors import CaseFileError
from chapters.times import RecordingTime
from tests.chapters.casetexts import FULL, SMALL, place_of, warnings, with_line, with_step


def test_every_field_reaches_the_case() -> None:
    """A case file that writes every field gives exactly these values and no warning."""
    case, told = read_case(FULL, "case.yaml")
    t = RecordingTime
    assert told == ()
    assert case == Case(
        id="bench-03",
        title="Sealing a perforation: practice tooth",
        parts=(
            Part("scope-001.mp4"),
            Part("day 1/scope-002.mp4", Fraction(70), "radiograph"),
            Part("scope-003.mp4", overlap=Fraction(5, 2)),
        ),
        steps=(
            Step(
                id="isolate",
                title="Isolate the tooth",
                start=t(Fraction(8)),
                show=Show("fixed", Fraction(4)),
                expect=Expect(Fraction(90), Fraction(180)),
                note="Clamp first, then the sheet.\n\n- Check the seal with air.",
                phase="Access",
            ),
            Step(
                id="locate",
                title="Locate",
                start=t(Fraction(160)),
                end=t(Fraction(7447, 2)),
                show=Show("fast", limit=Fraction(12)),
                stills=(
                    Still("radiograph.png"),
                    Still(
                        "slice.png", t(Fraction(180)), Fraction(6), "Slice through the furcation"
                    ),
                ),
            ),
            Step("leave", "Leave", t(Fraction(4200)), show=Show("skip")),
        ),
        subject="patient",
        consent=Consent("C-0017", "teaching in study clubs"),
        tooth=Tooth("36", "19"),
        away=(Away(t(Fraction(760)), Fraction(60), "check radiograph"),),
        procedure="Perforation repair",
        presenter="The bench team",
        tags=("perforation", "bench"),
        language="en-GB",
        length=Fraction(360),
        ramp=Fraction(1, 2),
        snap=Fraction(2),
        clocks_give_away=True,
        room_sound=True,
        fps=Fraction(30000, 1001),
        height_px=720,
        colour="bt709",
        colour_range="full",
        fonts=("fonts/own.ttf",),
    )


def test_small_case_takes_the_defaults() -> None:
    """What a case file leaves out is what the values of ``case.py`` say."""
    case, told = read_case(SMALL, "case.yaml")
    assert told == ()
    assert case == Case(
        id="bench-03",
        title="Sealing a perforation",
        parts=(Part("scope-001.mp4"), Part("scope-002.mp4")),
        steps=(
            Step("isolate", "Isolate", RecordingTime(Fraction(8))),
            Step("locate", "Locate", RecordingTime(Fraction(160))),
        ),
    )


def test_places_stand_in_the_values() -> None:
    """Parts, away times, steps and stills know where the file says them."""
    case, _ = read_case(FULL, "case.yaml")
    first, second, third = case.parts
    placed = {
        "scope-001.mp4": first.place,
        "day 1/scope-002.mp4": second.place,
        "scope-003.mp4": third.place,
        "12:40, lasted": case.away[0].place,
        "0:08": case.steps[0].place,
        "2:40\n": case.steps[1].place,
        "1:10:00": case.steps[2].place,
        "radiograph.png": case.steps[1].stills[0].place,
        "3:00, hold": case.steps[1].stills[1].place,
    }
    assert {t: (p.line, p.column) for t, p in placed.items()} == {
        text: place_of(FULL, text) for text in placed
    }


@pytest.mark.parametrize(
    ("written", "title"),
    [("no", "no"), ("010", "010"), ("1:30", "1:30"), ("'step #1'", "step #1"), ("~", "~")],
)
def test_yaml_gives_no_word_another_meaning(written: str, title: str) -> None:
    """A title of ``no`` is the word no, of ``010`` three digits, of ``1:30`` a clock."""
    case, told = read_case(SMALL.replace("Sealing a perforation", written), "case.yaml")
    assert (case.title, told) == (title, ())


def test_times_mean_the_same_with_and_without_leading_zero() -> None:
    """``2:40`` and ``02:40`` are 160 seconds, which YAML 1.1 reads as a number and a text."""
    for text in ("2:40", "02:40", "0:02:40", "160", "160.000"):
        case, _ = read_case(SMALL.replace("from: 2:40", f"from: {text}"), "case.yaml")
        assert case.steps[1].start == 160


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            SMALL.replace("title: Sealing a perforation", "title: step #1"),
            '2:8: title: "#1" is a comment and not in the text; '
            "put the whole text in quotes if it belongs there",
        ),
        (
            SMALL.replace("[scope-001.mp4, scope-002.mp4]", "\n  - scope #1.mp4"),
            '5:5: recordings[1]: "#1.mp4" is a comment and not in the text; '
            "put the whole text in quotes if it belongs there",
        ),
        (
            SMALL.replace("title: Sealing", "title: \u202eSealing"),
            "2:8: title: invisible direction marks or zero-width characters are left out; "
            "type the text anew where its order looks wrong",
        ),
        (
            SMALL.replace("simulated", "patient"),
            "3:10: subject: a patient case without a consent record is marked NOT FOR PUBLICATION; "
            "once there is a record, write consent: {reference: ..., covers: ...}",
        ),
        (
            with_line("length: 6:00"),
            "8:9: length: no step is fast, so nothing can be fitted to the wished length; "
            "write show: fast for the steps that may run fast",
        ),
        (
            with_line(
                "away: [{at: 5, lasted: 1, reason: a}, {at: 3, lasted: 1, reason: b}]",
            ),
            "8:44: away: 0:03 stands after 0:05; the order of time is easier to check",
        ),
        (
            with_step("{id: c, title: C, from: 5:00, show: skip, note: Not said}"),
            "8:53: steps[3].note: the step is not shown, so its note is not either",
        ),
    ],
)
def test_warnings(text: str, said: str) -> None:
    """What can be worked with and is probably not meant is a warning with its place."""
    assert warnings(text) == [f"case.yaml:{said}"]
    assert read_case(text, "case.yaml")[1][0].severity == "warning"


def test_comments_beside_times_and_ids_are_no_warning() -> None:
    """Remarks after values that cannot hold a # are what remarks are for."""
    text = SMALL.replace("case: bench-03", "case: bench-03  # short").replace(
        "  - {id: isolate, title: Isolate, from: 0:08}",
        "  - id: isolate  # one word\n    title: 'Isolate' # said\n    from: 0:08  # clamp",
    )
    assert warnings(text) == []


def test_time_away_is_sorted() -> None:
    """The case holds away times in order, whatever the order of the file."""
    text = with_line("away: [{at: 5, lasted: 1, reason: a}, {at: 3, lasted: 1, reason: b}]")
    case, _ = read_case(text, "case.yaml")
    assert [a.at for a in case.away] == [3, 5]


def test_load_case_knows_its_folder_and_places(tmp_path: Path) -> None:
    """A loaded case names its folder, its file as the user wrote it, and every field's place."""
    path = tmp_path / "case.yaml"
    path.write_text(FULL, encoding="utf-8")
    loaded = load_case(path)
    assert loaded.case == read_case(FULL, "x")[0]
    assert (loaded.folder, loaded.path, loaded.shown_as) == (tmp_path, path, str(path))
    told = mistake_at(loaded, "length", "no speed gives it", "write more")
    assert str(told) == f"{path}:17:9: length: no speed gives it; write more"
    assert mistake_at(loaded, "steps[2].to", "x", "y").line == 40
    assert mistake_at(loaded, "nothing", "x", "y").line == 1


def test_load_case_names_the_file_in_mistakes(tmp_path: Path) -> None:
    """Mistakes carry the path that was given, so that the right one of many files is mended."""
    path = tmp_path / "case.yaml"
    path.write_text(SMALL.replace("simulated", "dog"), encoding="utf-8")
    with pytest.raises(CaseFileError, match="subject") as caught:
        load_case(path)
    assert caught.value.mistakes[0].file == str(path)


def test_files_are_found_in_either_spelling_of_an_accent(tmp_path: Path) -> None:
    """A name of composed letters finds the file that a disk keeps with combining marks."""
    text = SMALL.replace("scope-001.mp4", "zähne.mp4")
    (tmp_path / "case.yaml").write_text(text, encoding="utf-8")
    kept = tmp_path / unicodedata.normalize("NFD", "zähne.mp4")
    kept.write_bytes(b"")
    loaded = load_case(tmp_path / "case.yaml")
    assert loaded.path_of("zähne.mp4").samefile(kept)
    assert loaded.path_of("none.mp4") == tmp_path / "none.mp4"
    assert loaded.path_of("no/none.mp4") == tmp_path / "no" / "none.mp4"
