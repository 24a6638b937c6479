"""Sounds of the room in the film: where a labelled moment is heard, and why it is not."""

from __future__ import annotations

from fractions import Fraction as F

from annotate.captioning import room_sounds
from annotate.captions.labels import RoomSound
from annotate.plan import Plan, make_plan
from annotate.sidecars import make_words
from chapters.assemble import make_line
from chapters.casefile import read_case

CASE = """\
case: c
title: C
subject: simulated
recordings: [a.mp4]
sound: room
ramp: 0
steps:
  - {id: real, title: Real, from: 0, to: 20}
  - {id: fast, title: Fast, from: 30, to: 50, show: 8x}
  - {id: twice, title: Twice, from: 50, show: 2x}
sound_labels:
  - {at: 12.5, label: drill whines}
  - {at: 25, label: door opens}
  - {at: 40, label: suction hisses}
  - {at: 55, label: tip rings}
"""


def plan(text: str = CASE) -> Plan:
    """The case over a minute of recording."""
    case, _ = read_case(text, "case.yaml")
    return make_plan(case, make_line(case, [F(60)]), F(1, 25))


def test_a_label_stands_where_its_moment_is_in_the_film() -> None:
    """In real time and at twice the speed the room is heard; faster, or not shown, it is not."""
    film = plan().film
    sounds, silent = room_sounds(plan())
    ends = [film.step_cut(step) for step in ("real", "twice")]
    starts = [round(1000 * float(cut.start)) for cut in ends if cut]
    until = [round(1000 * float(cut.end)) for cut in ends if cut]
    assert sounds == (
        RoomSound("drill whines", starts[0] + 12_500, until[0], "real"),
        RoomSound("tip rings", starts[1] + 2_500, until[1], "twice"),
    )
    assert silent == (
        "the sound label “door opens” at 0:25 is left out: that part of the recording is not shown",
        "the sound label “suction hisses” at 0:40 is left out: the picture runs too fast there to "
        "be heard",
    )


def test_labels_become_captions_of_their_step() -> None:
    """Written in brackets by the default profile, among whatever else is said."""
    sounds, _ = room_sounds(plan())
    words = make_words(plan(), sounds=sounds)
    assert [(c.step, c.lines) for c in words.cues] == [
        ("real", ("[drill whines]",)),
        ("twice", ("[tip rings]",)),
    ]
    assert words.sources == {} and words.remarks == ()


def test_without_the_room_s_sound_there_is_nothing_to_label() -> None:
    """The case file's own warning says so already."""
    assert room_sounds(plan(CASE.replace("sound: room", "sound: off"))) == ((), ())
