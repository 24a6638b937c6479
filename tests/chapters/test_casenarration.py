"""Narration in the case file: takes by step, one talk over a cut, levels, terms."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from chapters.assemble import Freeze, assemble, film_elements, make_line, resolve_ends
from chapters.case import Case, Part, Show, SoundLabel, Step, Take, Talk
from chapters.casechecks import check_against
from chapters.casefile import read_case
from chapters.errors import CaseFileError
from chapters.speedplan import no_faster_than, plan_speeds
from chapters.steptimes import make_ledger
from chapters.times import RecordingTime as R

HEAD = """\
case: c
title: C
subject: simulated
recordings: [a.mp4]
steps:
  - {id: isolate, title: Isolate, from: 0}
  - {id: locate, title: Locate, from: 20}
"""


def case(more: str) -> Case:
    """The two-step case with more lines."""
    read, warnings = read_case(HEAD + more, "case.yaml")
    assert warnings == ()
    return read


def test_takes_are_read_by_step() -> None:
    """A bare file refuses to be late; a group may hold the picture and carry its script."""
    found = case(
        "narration:\n  isolate: takes/isolate.wav\n"
        "  locate: {file: takes/locate.m4a, script: Look here. Then there., late: run on}\n"
    )
    assert found.narration == (
        Take("isolate", "takes/isolate.wav"),
        Take("locate", "takes/locate.m4a", "Look here. Then there.", "run on"),
    )


def test_a_talk_names_the_cut_it_was_spoken_over() -> None:
    """One file and a kept time map; levels and terms beside it."""
    found = case(
        "talk: {file: talk.wav, cut: kept/time-map.json}\nloudness: broadcast\n"
        "terms: [MTA, gutta-percha]\nlexicon: words.txt\n"
    )
    assert found.talk == Talk("talk.wav", "kept/time-map.json")
    assert (found.loudness, found.terms, found.lexicon) == (
        "broadcast",
        (("MTA", "MTA"), ("gutta-percha", "gutta-percha")),
        "words.txt",
    )


def test_terms_may_be_pairs() -> None:
    """Another spelling and the one that is kept."""
    found = case("terms: {gutter perches: gutta-percha, naocl: NaOCl}\n")
    assert found.terms == (("gutter perches", "gutta-percha"), ("naocl", "NaOCl"))


def test_a_recogniser_is_a_folder_below_the_case_file() -> None:
    """The name alone; whether a model is in it is seen where files are opened."""
    assert case("recogniser: models/en\n").recogniser == "models/en"


def test_sound_labels_stand_in_the_order_of_their_times() -> None:
    """A time of the recording and what sounds."""
    found = case(
        "sound: room\nsound_labels: [{at: 30, label: suction}, {at: 0:12, label: drill whines}]\n"
    )
    assert found.sound_labels == (
        SoundLabel(R(F(12)), "drill whines"),
        SoundLabel(R(F(30)), "suction"),
    )
    told = check_against(found, F(25))
    assert [str(m) for m in told] == [
        "case.yaml:9:21: sound_labels[2].at: 0:30 is not before the recording's end at 0:25; "
        "times count along the recordings end to end"
    ]


def test_sound_labels_want_the_sound_they_label() -> None:
    """Without the room's sound nothing is heard; a warning says so."""
    _, told = read_case(HEAD + "sound_labels: [{at: 12, label: drill whines}]\n", "case.yaml")
    assert [m.found for m in told] == ["the film has no sound of the room, so nothing is labelled"]


@pytest.mark.parametrize(
    ("old", "new"), [("from: 20", "from: 1:75"), ("{id: locate,", "{id: Locate It,")]
)
def test_a_take_is_not_blamed_for_a_mistake_in_its_step(old: str, new: str) -> None:
    """The step is there, whatever is wrong in it: its own mistake is told, and no other."""
    step = "Locate It" if "It" in new else "locate"
    with pytest.raises(CaseFileError) as told:
        read_case(HEAD.replace(old, new) + f"narration: {{{step}: a.wav}}\n", "case.yaml")
    field = "steps[2].id" if "It" in new else "steps[2].from"
    assert [m.field for m in told.value.mistakes] == [field]


def test_a_take_of_a_step_that_is_not_shown_is_not_heard() -> None:
    """Nobody should speak for nothing."""
    skipped = HEAD.replace("from: 20}", "from: 20, show: skip}")
    _, told = read_case(skipped + "narration: {locate: a.wav}\n", "case.yaml")
    assert [(m.line, m.column, m.field) for m in told] == [(8, 21, "narration.locate")]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (
            "narration: {shape: a.wav}\n",
            'case.yaml:8:13: narration.shape: "shape" is no step; the steps are isolate, locate',
        ),
        (
            "narration: a.wav\n",
            "case.yaml:8:12: narration: is no mapping of steps; write one line a step",
        ),
        ("narration: {isolate: }\n", "narration.isolate: is empty"),
        ("narration: {isolate: {script: x}}\n", "narration.isolate.file: is missing; write file:"),
        (
            "narration: {isolate: {file: a.wav, late: wait}}\n",
            'narration.isolate.late: "wait" is not known here',
        ),
        ("narration: {isolate: ../a.wav}\n", "narration.isolate:"),
        ("talk: {file: talk.wav}\n", "talk.cut: is missing; write cut:"),
        ("terms: MTA\n", "case.yaml:8:8: terms: is neither a list nor pairs of spellings"),
        ("terms: {gutta percha: }\n", "terms.gutta percha: is empty; write a value"),
        (
            "recogniser: ../models/en\n",
            'recogniser: "../models/en" leads out of the case file\'s folder; put the folder, or a link',
        ),
        ("recogniser: https://host/model\n", 'recogniser: "https://host/model" is an address'),
        ("sound_labels: [drill whines]\n", "sound_labels[1]: "),
        ("sound_labels: [{label: drill whines}]\n", "sound_labels[1].at: is missing; write at:"),
        ("sound_labels: [{at: 3}]\n", "sound_labels[1].label: is missing; write label:"),
        ("loudness: loud\n", 'loudness: "loud" is not known here; write speech or broadcast'),
    ],
)
def test_mistakes_are_told_with_their_place(more: str, said: str) -> None:
    """One mistake each."""
    with pytest.raises(CaseFileError) as caught:
        case(more)
    (told,) = (str(m) for m in caught.value.mistakes)
    assert said in told


def test_a_fast_step_slows_until_its_take_fits() -> None:
    """80 seconds at 8x with a take of 16 s run at 5x at most."""
    steps = resolve_ends((Step("a", "A", R(F(0)), show=Show("fast")),), F(80))
    (slowed,) = no_faster_than(steps, {"a": F(16)})
    assert slowed.show.limit == 5
    line = make_line(Case("c", "C", (Part("p"),), steps), [F(80)])
    elements = film_elements((slowed,), line)
    plan = plan_speeds((slowed,), elements, F(1))
    film = assemble(elements, line, plan.speeds, F(1), F(30))
    cut = film.step_cut("a")
    assert cut is not None and cut.length >= 16


def test_a_step_with_a_long_take_holds_its_last_picture() -> None:
    """The clock stands on the step's last second; no clinical time is made up."""
    steps = resolve_ends((Step("a", "A", R(F(0))), Step("b", "B", R(F(10)))), F(30))
    line = make_line(Case("c", "C", (Part("p"),), steps), [F(30)])
    elements = film_elements(steps, line, holds={"a": F(3)})
    assert [e for e in elements if isinstance(e, Freeze)] == [Freeze("a", F(10), F(3))]
    film = assemble(elements, line, {"a": F(1), "b": F(1)}, F(1), F(30))
    held = next(p for p in film.pieces if p.kind == "still")
    assert held.cut.length == 3
    clock, r = film.clinical_at(held.cut.start + 1), film.recording_at(held.cut.start + 1)
    assert clock is not None and clock // 1 == 9
    assert r is not None and 9 < r < 10
    ledger = make_ledger(steps, film)
    assert (ledger.total, ledger.real, ledger.stills) == (30, 30, 3)
