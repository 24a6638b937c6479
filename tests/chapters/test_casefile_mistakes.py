"""Mistakes of a case file, one by one: the place, what was found, what to write."""

from __future__ import annotations

import pytest

from chapters.casefile import read_case
from chapters.errors import CaseFileError, Mistake
from tests.chapters.casetexts import SMALL, faulty_at_mark, mistakes, warnings, with_line, with_step


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("‸tittle: x", '"tittle" is not a field here; did you mean title?'),
        ("‸Language: en", '"Language" is not a field here; did you mean language?'),
        ("‸color: bt709", '"color" is not a field here; did you mean colour?'),
        (
            "‸xyz: 1",
            '"xyz" is not a field here; the fields here are case, title, subject, '
            "consent, tooth, recordings, away, away_from_clocks, steps, procedure, "
            "presenter, tags, language, length, ramp, snap, sound, fps, height, "
            "colour, range, fonts, narration, talk, loudness, terms, lexicon, recogniser, "
            "sound_labels, captions, captions_in_picture",
        ),
        ("‸title: x", '"title" stands here twice, first in line 2; delete one of the two'),
        (
            "tooth: ‸14",
            'tooth: "14" does not say its system; it is the upper right first '
            "premolar in ISO 3950 and the upper left first molar in the Universal "
            "system; write {fdi: 14} or {universal: 14}",
        ),
        (
            "tooth: ‸36",
            'tooth: "36" does not say its system; it is the lower left first molar in'
            " ISO 3950; write {fdi: 36}",
        ),
        ("tooth: ‸99", 'tooth: "99" names no tooth; write {fdi: 36} or {universal: 19}'),
        (
            "tooth: {fdi: ‸19}",
            'tooth.fdi: "19" is no ISO 3950 tooth number; write quadrant and tooth, '
            "11 to 18, 21 to 28, 31 to 38 or 41 to 48 (deciduous: 51 to 55, 61 to 65,"
            " 71 to 75, 81 to 85); {universal: 19} is the lower left first molar",
        ),
        (
            "tooth: ‸{fdi: 36, universal: 19}",
            "tooth: both systems are given; write tooth: {fdi: 36} or tooth: {universal: 19}",
        ),
        (
            "tooth: ‸{}",
            "tooth: no tooth is given; write tooth: {fdi: 36} or tooth: {universal: 19}",
        ),
        (
            "tooth: ‸[36]",
            "tooth: a list is not a group of fields; write tooth: {fdi: 36} or tooth:"
            " {universal: 19}",
        ),
        (
            "consent: ‸yes",
            'consent: "yes" is not a group of fields; write consent: {reference: '
            "C-0017, covers: teaching in study clubs}",
        ),
        (
            "consent: ‸{covers: all}",
            "consent.reference: is missing; write reference: and the number of the "
            "record that the practice keeps",
        ),
        (
            "language: ‸english",
            'language: "english" is no language tag; write a tag such as en, en-GB or ar',
        ),
        ("length: ‸0", "length: 0:00 is too short; write more than 0:00"),
        ("ramp: ‸31", "ramp: 0:31 is too long; write at most 0:30"),
        (
            "snap: ‸no",
            'snap: "no" is not a time; write h:mm:ss, m:ss or seconds, such as 1:02:03.5',
        ),
        ("sound: ‸on", 'sound: "on" is not known here; write off or room'),
        ("fps: ‸0", 'fps: "0" frames per second; write 10 to 120'),
        (
            "height: ‸721",
            "height: 721 pixels; write an even number from 120 to 4320, such as 720 or 1080",
        ),
        ("colour: ‸bt710", 'colour: "bt710" is not known here; did you mean bt709?'),
        ("range: ‸[full]", "range: is a list; write one value"),
        ("range: ‸{a: b}", "range: is a group of fields; write one value"),
        (
            "away_from_clocks: ‸perhaps",
            'away_from_clocks: "perhaps" is neither yes nor no; write yes or no',
        ),
        ("tags: ‸endo", "tags: is not a list; write tags: [endo]"),
        ("tags: ‸two words", "tags: is not a list; write one item a line, each after a dash"),
        ("tags:‸", "tags: is empty; write one item a line, each after a dash"),
        ("tags: [a, ‸'']", "tags[2]: is empty; write a value or delete the line"),
        ("presenter:‸", "presenter: is empty; write a value or delete the line"),
        (
            "presenter:‸ #1 team",
            'presenter: is empty, for what follows " #" is a comment; put the text in quotes',
        ),
        (
            "fonts: [‸/x.ttf]",
            'fonts[1]: "/x.ttf" does not begin at the case file\'s folder; put the '
            "file beside the case file and write its name",
        ),
        (
            "away: [{at: 1, lasted: ‸0, reason: x}]",
            "away[1].lasted: 0:00 is too short; write more than 0:00",
        ),
        (
            "away: [‸1:00]",
            'away[1]: "1:00" is not a group of fields; write {at: 12:40, lasted: '
            "1:00, reason: check radiograph}",
        ),
        (
            "away: [{at: 1, lasted: 2, reason: x}, {at: ‸0:01, lasted: 3, reason: y}]",
            "away: 0:01 is also in line 8; write one entry that lasted 0:05",
        ),
    ],
)
def test_mistakes_of_the_case(line: str, said: str) -> None:
    """Each wrong line gives one mistake: its place, its field, what was found, what to write."""
    faulty_at_mark(with_line(line), said)


def test_time_away_needs_its_length_and_its_reason() -> None:
    """An entry with nothing but a time is told of both fields that it lacks."""
    example = "{at: 12:40, lasted: 1:00, reason: check radiograph}"
    assert mistakes(with_line("away: [{at: 1}]")) == [
        f"case.yaml:8:8: away[1].lasted: is missing; write lasted:, as in {example}",
        "case.yaml:8:8: away[1].reason: is missing; write why the clock jumps; the film says it",
    ]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        (
            "‸{title: Seal it, from: 5:00}",
            "steps[3].id: is missing; write id: and a short name, such as seal-it",
        ),
        (
            "‸{id: c, from: 5:00}",
            "steps[3].title: is missing; write title: and what the step is called",
        ),
        (
            "‸{id: c, title: C}",
            "steps[3].from: is missing; write from: and the time at which the step starts",
        ),
        (
            "{id: c, title: C, ‸start: 5:00}",
            'steps[3]: "start" is not a field here; did you mean from?',
        ),
        (
            "{id: ‸isolate, title: C, from: 5:00}",
            "steps[3].id: isolate is also the id of the step in line 6; give each step its own id",
        ),
        (
            "{id: ‸C, title: C, from: 5:00}",
            'steps[3].id: "C" is no short name; write up to 64 small letters, digits,'
            " - and _, such as c",
        ),
        (
            "{id: c, title: C, from: ‸1:30:75}",
            'steps[3].from: "1:30:75" is not a time: seconds after a colon run from '
            "00 to 59; write two digits, such as 2:05",
        ),
        (
            "{id: c, title: C, from: ‸2:40}",
            "steps[3].from: 2:40 is where steps[2] starts as well; give each step its own start",
        ),
        (
            "{id: c, title: C, from: ‸1:00}",
            "steps[3].from: 1:00 is before steps[2] starts, at 2:40; write the steps "
            "in the order of the recording",
        ),
        (
            "{id: c, title: C, from: 5:00, to: ‸5:00}",
            "steps[3].to: 5:00 is not after the step's start at 5:00; write a later "
            "time, or leave to: out",
        ),
        (
            "{id: c, title: C, from: 5:00, show: ‸0.5x}",
            'steps[3].show: "0.5x" would slow the recording down; write 1x or more, '
            "for a slowed hand is taken for the real pace",
        ),
        (
            "{id: c, title: C, from: 5:00, show: ‸8}",
            'steps[3].show: "8" is no way to show a step; write 8x',
        ),
        (
            "{id: c, title: C, from: 5:00, expect: ‸5:00..2:00}",
            "steps[3].expect: low end 5:00 is above high end 2:00; write low..high, "
            "such as 2:00..5:00",
        ),
        (
            '{id: c, title: ‸"a\\ab", from: 5:00}',
            "steps[3].title: the control character U+0007; delete it",
        ),
        (
            f"{{id: c, title: ‸{'x' * 301}, from: 5:00}}",
            "steps[3].title: 301 characters long; write at most 300",
        ),
        (
            f"{{id: c, title: C, from: 5:00, note: ‸{'x' * 5001}}}",
            "steps[3].note: 5001 characters long; write at most 5000",
        ),
        ("{id: c, title: ‸[C], from: 5:00}", "steps[3].title: is a list; write one value"),
        (
            "{id: c, title: C, from: 5:00, stills: [‸{at: 5:01}]}",
            "steps[3].stills[1].file: is missing; write file: and the file's name",
        ),
        (
            "{id: c, title: C, from: 5:00, stills: [{file: a.png, at: ‸4:59}]}",
            "steps[3].stills: the still at 4:59 lies outside its step; write a time "
            "from 5:00, or move it to its step",
        ),
        (
            "{id: c, title: C, from: 5:00, to: 6:00, stills: [{file: a.png, at: ‸6:01}]}",
            "steps[3].stills: the still at 6:01 lies outside its step; write a time "
            "from 5:00 to 6:00, or move it to its step",
        ),
        (
            "{id: c, title: C, from: 5:00, stills: [{file: a.png, hold: ‸0}]}",
            "steps[3].stills[1].hold: 0:00 is too short; write more than 0:00",
        ),
        (
            "{id: c, title: C, from: 5:00, show: skip, stills: ‸[a.png]}",
            "steps[3].stills: the step is not shown, so its pictures would not be "
            "either; delete the stills, or show the step",
        ),
        (
            "{id: c, title: C, from: 5:00, ‸away: 1:00}",
            'steps[3]: "away" is not a field here; the fields here are id, title, '
            "from, to, show, expect, note, notes_in, phase, stills, ask",
        ),
    ],
)
def test_mistakes_of_a_step(fields: str, said: str) -> None:
    """Each wrong step gives one mistake at the field that is wrong; steps count from 1."""
    faulty_at_mark(with_step(fields), said)


def test_a_step_that_runs_into_the_next_is_told_at_its_end() -> None:
    """An end after the next step's start is the mistake of the step that ends."""
    text = SMALL.replace("from: 0:08", "from: 0:08, to: 3:00")
    assert mistakes(text) == [
        "case.yaml:6:51: steps[1].to: 3:00 is after steps[2] starts, at 2:40; "
        "write at most 2:40, or leave to: out"
    ]


def test_a_step_may_end_where_the_next_begins_and_hold_stills_on_its_borders() -> None:
    """Ends are borders: a still may lie on them, a step may begin on them."""
    step = "from: 0:08, to: 2:40, stills: [{file: a.png, at: 0:08}, {file: b.png, at: 2:40}]"
    assert warnings(SMALL.replace("from: 0:08", step)) == []


@pytest.mark.parametrize(
    ("recordings", "said"),
    [
        (
            "‸[]",
            "recordings: is an empty list; write recordings: and a list of files, "
            "such as [scope-001.mp4]",
        ),
        ("‸a.mp4", "recordings: is not a list; write recordings: [a.mp4]"),
        (
            "[‸../a.mp4]",
            'recordings[1]: "../a.mp4" leads out of the case file\'s folder; put the '
            "file beside the case file and write its name",
        ),
        (
            "[a.mp4, {file: b.mp4, away_before: ‸1:70}]",
            'recordings[2].away_before: "1:70" is not a time: seconds after a colon '
            "run from 00 to 59; write two digits, such as 2:05",
        ),
        (
            "[{file: ‸a.mp4, overlap: 1}]",
            "recordings[1]: the clock starts with the first recording, so nothing "
            "comes before it; write away_before and overlap for later ones",
        ),
        (
            "[a.mp4, {file: ‸b.mp4, overlap: 1, away_before: 1}]",
            "recordings[2]: away_before and overlap exclude one another; keep the one that is true",
        ),
        ("[é.mp4, ‸é.mp4]", "recordings[2]: é.mp4 is also in line 4; name each recording once"),
        (
            "[‸[a.mp4]]",
            "recordings[1]: a list is not a group of fields; write scope-001.mp4 or "
            "{file: scope-001.mp4, overlap: 2}",
        ),
    ],
)
def test_mistakes_of_the_recordings(recordings: str, said: str) -> None:
    """Each wrong list of recordings gives its mistake."""
    faulty_at_mark(SMALL.replace("[scope-001.mp4, scope-002.mp4]", recordings), said)


def test_a_recording_without_its_file_name() -> None:
    """A field that is none, and the one that is needed, are two mistakes."""
    text = SMALL.replace("[scope-001.mp4, scope-002.mp4]", "[{path: a.mp4}]")
    assert mistakes(text) == [
        "case.yaml:4:14: recordings[1].file: is missing; write file: and the file's name",
        'case.yaml:4:15: recordings[1]: "path" is not a field here; '
        "the fields here are file, away_before, reason, overlap",
    ]


def test_a_faulty_recording_does_not_make_the_next_one_the_first() -> None:
    """The second recording keeps its place and its time away when the first has a wrong name."""
    text = SMALL.replace(
        "[scope-001.mp4, scope-002.mp4]", "[/a.mp4, {file: b.mp4, away_before: 1:00}]"
    )
    assert len(mistakes(text)) == 1


def test_missing_fields_are_told_with_what_to_write() -> None:
    """A file with one field is told of the five others it needs, at its first line."""
    assert mistakes("language: en\n") == [
        "case.yaml:1:1: case: is missing; write case: and a short name, such as bench-03",
        "case.yaml:1:1: title: is missing; write title: and the film's title",
        "case.yaml:1:1: recordings: is missing; "
        "write recordings: and a list of files, such as [scope-001.mp4]",
        "case.yaml:1:1: steps: is missing; write at least one step",
        "case.yaml:1:1: subject: is missing; "
        "write subject: simulated for a bench case, or subject: patient",
    ]


def test_a_misspelt_field_is_not_missing_as_well() -> None:
    """One slip, one mistake: the field meant by a near spelling is not reported again."""
    assert mistakes(SMALL.replace("title: Sealing", "titel: Sealing")) == [
        'case.yaml:2:1: "titel" is not a field here; did you mean title?'
    ]


def test_all_mistakes_come_at_once_in_the_order_of_the_file() -> None:
    """Seven faults of every kind in one file are seven mistakes in one error."""
    text = (
        "case: Bench 03\ntitel: x\nsubject: dog\ntooth: 14\nrecordings: [http://x/y.mp4]\n"
        "steps:\n  - {id: a, title: A, from: 0:75, show: 0.5x}\nlanguage: en_GB\n"
    )
    found = [(m.line, m.column, m.field) for m in mistake_values(text)]
    assert found == [
        (1, 7, "case"),
        (2, 1, ""),
        (3, 10, "subject"),
        (4, 8, "tooth"),
        (5, 14, "recordings[1]"),
        (7, 29, "steps[1].from"),
        (7, 41, "steps[1].show"),
        (8, 11, "language"),
    ]


def mistake_values(text: str) -> tuple[Mistake, ...]:
    """The mistakes of a case file as values."""
    with pytest.raises(CaseFileError) as caught:
        read_case(text, "case.yaml")
    return caught.value.mistakes
