"""The drafted case file: read without a mistake, findings at their times, steps at the joints."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.draft import MOST_REMARKS, draft_case
from chapters.case import Case
from chapters.casechecks import check_against
from chapters.casefile import read_case
from chapters.errors import RecordingError
from chapters.marks import MarkReader
from chapters.proposals import MOST_STEPS, StepProposal, changes, propose
from chapters.scenecuts import SceneCut
from chapters.spans import Span
from chapters.stillness import StillStretch
from chapters.times import RecordingTime


@dataclass(frozen=True)
class Part:
    """One file of a recording."""

    file: str
    start: Fraction
    length: Fraction
    notices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Findings:
    """What was found, as ``draft_case`` takes it."""

    parts: tuple[Part, ...]
    scene_cuts: tuple[SceneCut, ...] = ()
    still: tuple[StillStretch, ...] = ()
    holes: tuple[Span, ...] = ()
    like: tuple[StepProposal, ...] = ()

    @property
    def proposals(self) -> tuple[StepProposal, ...]:
        """The steps as ``find`` proposes them, or those laid over by ``like``."""
        begins = [part.start for part in self.parts]
        nothing = MarkReader().finish()
        found = changes(nothing, self.scene_cuts, self.still, begins, holes=self.holes)
        last = self.parts[-1]
        return self.like or propose(found, last.start + last.length, self.still)


def cut(at: Fraction | int, confidence: float = 0.9, kind: str = "cut") -> SceneCut:
    """A scene cut."""
    return SceneCut(RecordingTime(Fraction(at)), kind, confidence)


def dull(start: int, end: int, kind: str = "still") -> StillStretch:
    """A dull stretch."""
    return StillStretch(Span(Fraction(start), Fraction(end)), kind, 0.8)


def one(length: Fraction | int, **found: tuple[object, ...]) -> Findings:
    """What was found in a recording of one file."""
    return Findings((Part("scope-001.mp4", Fraction(0), Fraction(length)),), **found)  # type: ignore[arg-type]


TWO = Findings(
    (
        Part("scope-001.mp4", Fraction(0), Fraction(842)),
        Part("it's 2.mp4", Fraction(842), Fraction(360), ("variable frame rate",)),
    ),
    scene_cuts=(
        cut(Fraction(31267, 1000) + Fraction(1, 3000)),
        cut(200, 0.5, "swap"),
        cut(842, 0.9, "stop"),
    ),
    still=(dull(100, 190), dull(300, 310, "black"), dull(850, 1100, "repeats")),
    holes=(Span(Fraction(500), Fraction(530)),),
)


def case_of(text: str) -> Case:
    """The case of a draft; its one warning is that no consent record is named."""
    case, told = read_case(text, "case.yaml")
    assert [m.field for m in told] == ["subject"]
    assert "NOT FOR PUBLICATION" in told[0].found
    return case


def proposals(findings: Findings) -> list[tuple[int, str]]:
    """Start in whole seconds of every proposed step, and how it is shown."""
    return [(int(p.span.start), p.show) for p in findings.proposals]


def starts(findings: Findings) -> list[Fraction]:
    """Where the proposed steps start."""
    return [p.span.start for p in findings.proposals]


def test_draft_reads_without_a_mistake_and_fits_its_recording() -> None:
    """A draft can be checked and made as it stands."""
    case = case_of(draft_case(TWO, clock_gaps=[Fraction(0), Fraction(70)]))
    assert [p.file for p in case.parts] == ["scope-001.mp4", "it's 2.mp4"]
    assert (case.subject, case.consent) == ("patient", None)
    assert check_against(case, Fraction(1202)) == ()


def test_draft_says_what_was_found_where_it_was_found() -> None:
    """Every finding is a remark under its step, in a colleague's words, with its time."""
    steps = draft_case(TWO).split("\nsteps:\n")[1].split("\n\n")
    remarks = [re.findall(r"^    # (\d.*)$", step, re.MULTILINE) for step in steps]
    assert remarks == [
        [],
        [],
        [],
        ["3:20  likely a scene cut, the view is swapped"],
        ["5:00  the picture is black until 5:10", "8:20  no pictures until 8:50"],
        [],
        [
            "14:02  it's 2.mp4 begins",
            "14:02  scene cut, the recorder was stopped; if you know for how long, "
            "write it under away",
            "14:10  the same small movement goes on until 18:20",
        ],
        [],
    ]


def test_a_step_says_why_it_begins_and_why_it_is_not_shown_as_recorded() -> None:
    """The reason stands beside the time, what is dull beside the way it is shown."""
    lines = draft_case(TWO).splitlines()
    assert "    from: 0:31.268  # 1:09 long; another view" in lines
    assert "    from: 1:40  # 1:30 long; from here on nothing moves" in lines
    assert "    show: fast  # nothing moves" in lines
    assert "    from: 8:50  # 5:12 long; pictures again after 0:30 without" in lines


def test_what_is_black_all_along_is_offered_to_be_left_out() -> None:
    """Half a minute of black becomes a step of its own that is skipped, and says so."""
    text = draft_case(one(200, still=(dull(60, 90, "black"),)))
    assert "    show: skip  # the picture is black" in text.splitlines()
    assert [(str(s.start), s.show.kind) for s in case_of(text).steps] == [
        ("0", "real"),
        ("60", "skip"),
        ("90", "real"),
    ]


def test_steps_of_earlier_cases_keep_their_names() -> None:
    """Id, title, phase, speed and expected range are written as they were, whatever their letters."""
    laid = (
        StepProposal(Span(Fraction(0), Fraction(40)), 'The "neck"', "real", "the recording begins"),
        StepProposal(
            Span(Fraction(40), Fraction(100)),
            "Clean: the margin",
            "8x",
            "another view; it lasted 0:58 in 2 earlier cases",
            id="clean",
            phase="Preparation",
            expect="0:30..1:30",
        ),
    )
    case = case_of(draft_case(one(100, like=laid), procedure="Perforation repair"))
    assert [(s.id, s.title, s.phase) for s in case.steps] == [
        ("step-1", 'The "neck"', ""),
        ("clean", "Clean: the margin", "Preparation"),
    ]
    assert case.steps[1].show.speed == 8 and case.steps[1].expect is not None
    assert case.procedure == "Perforation repair"


def test_steps_are_proposed_at_the_joints_of_the_recording() -> None:
    """New files, holes, scene cuts and the edges of dull stretches begin a step."""
    case = case_of(draft_case(TWO))
    found = [(str(s.start), s.show.kind) for s in case.steps]
    assert found == [
        ("0", "real"),
        ("7817/250", "real"),
        ("100", "fast"),
        ("190", "real"),
        ("300", "real"),
        ("530", "real"),
        ("842", "fast"),
        ("1100", "real"),
    ]


def test_step_starts_on_the_first_frame_after_its_cut() -> None:
    """A time that milliseconds cannot hold is rounded up: rounded down it shows the frame before."""
    at = Fraction(1001 * 947, 30000)
    (_, second) = case_of(draft_case(one(60, scene_cuts=(cut(at),)))).steps
    assert at <= second.start < at + Fraction(1, 1000)


def test_nothing_found_gives_one_step() -> None:
    """A recording without joints is one step from its first frame; a short one too."""
    assert starts(one(600)) == [0]
    assert starts(one(4, scene_cuts=(cut(2),))) == [0]
    assert [s.id for s in case_of(draft_case(one(600))).steps] == ["step-1"]


def test_many_cuts_give_no_more_steps_than_one_can_take_in() -> None:
    """Of a hundred cuts the surest become steps; the rest are counted remarks."""
    many = one(3000, scene_cuts=tuple(cut(30 * i, 0.8 + i / 1000) for i in range(1, 100)))
    found = starts(many)
    assert len(found) == MOST_STEPS
    assert found[0] == 0
    text = draft_case(many)
    shown = text.count("scene cut, another view")
    hidden = sum(int(n) for n in re.findall(r"# and (\d+) more; teachcut find lists them", text))
    assert shown + hidden == 99 - (len(found) - 1)
    assert max(step.count("scene cut") for step in text.split("- id:")) == MOST_REMARKS


def test_unsure_cuts_in_a_row_are_told_together() -> None:
    """Nine doubtful stops in half a minute of spray are one remark, not nine; a sure one stands."""
    cuts = [cut(60 + 3 * n, 0.55, "stop") for n in range(9)]
    text = draft_case(one(200, scene_cuts=(*cuts, cut(96, 0.9)), still=(dull(50, 100, "repeats"),)))
    told = [line for line in text.splitlines() if "scene cut" in line]

    assert told == [
        "    # 1:00  9 places until 1:24 that may be scene cuts; teachcut find lists them",
        "    # 1:36  scene cut, another view",
    ]


def test_the_surer_of_two_near_cuts_begins_the_step() -> None:
    """Two cuts closer than the shortest step give one step, at the surer one."""
    assert starts(one(100, scene_cuts=(cut(50, 0.4), cut(53, 0.9)))) == [0, 53]


def test_a_new_file_goes_before_a_sure_cut() -> None:
    """The joint of two files is certain, a scene cut is found."""
    parts = (Part("a.mp4", Fraction(0), Fraction(50)), Part("b.mp4", Fraction(50), Fraction(50)))
    assert starts(Findings(parts, scene_cuts=(cut(48, 1.0),))) == [0, 50]


def test_a_short_dull_stretch_is_no_step_and_a_long_one_is_fast() -> None:
    """Under twenty seconds of nothing are a remark; a minute is a step to run fast."""
    assert proposals(one(300, still=(dull(100, 118),))) == [(0, "real")]
    assert proposals(one(300, still=(dull(100, 160),))) == [
        (0, "real"),
        (100, "fast"),
        (160, "real"),
    ]


def test_gap_by_the_files_clocks_is_offered_not_taken() -> None:
    """Recorders' clocks are often wrong: the gap stands as a remark that can be used."""
    text = draft_case(TWO, clock_gaps=[Fraction(0), Fraction(70)])
    line = "    # away_before: 1:10  # between the two files, by their own clocks"
    assert line in text.splitlines()
    assert [p.away_before for p in case_of(text).parts] == [0, 0]
    used = case_of(text.replace("    # away_before", "    away_before"))
    assert [p.away_before for p in used.parts] == [0, 70]
    assert "# away_before: 0:" not in draft_case(TWO, clock_gaps=[Fraction(0), Fraction(1)])


def test_every_field_offered_behind_a_remark_can_be_used() -> None:
    """With every offered field switched on the draft still has no mistake: the examples are right."""
    text = draft_case(one(1200), clock_gaps=[])
    offered = r"^( *)# (consent|tooth|procedure|presenter|tags|language|away|length|expect|note):"
    used, count = re.subn(offered, r"\1\2:", text, flags=re.MULTILINE)
    used, entries = re.subn(r"^#   - \{", "  - {", used, flags=re.MULTILINE)
    assert (count, entries) == (10, 1)
    case, told = read_case(used, "case.yaml")
    assert [m.field for m in told] == ["length"]
    assert case.consent is not None and case.tooth is not None and case.away and case.length
    assert case.steps[0].expect and case.steps[0].note and case.presenter and case.tags


def test_draft_carries_its_own_name_and_id() -> None:
    """The commands in the draft name the file it is written to."""
    text = draft_case(one(10), case_id="bench-03", file="bench 3/case.yaml")
    assert case_of(text).id == "bench-03"
    assert '#     teachcut make "bench 3/case.yaml"' in text.splitlines()
    assert "#     teachcut make case.yaml" in draft_case(one(10)).splitlines()


@pytest.mark.parametrize("name", ["/data/a.mp4", "../a.mp4", "a\nb.mp4", "http://x/a.mp4"])
def test_a_recording_that_a_case_file_cannot_name_is_refused(name: str) -> None:
    """Better no draft than one that its own check refuses."""
    with pytest.raises(RecordingError) as caught:
        draft_case(Findings((Part(name, Fraction(0), Fraction(10)),)))
    assert caught.value.name == name
    assert caught.value.advice


def test_no_finding_breaks_out_of_its_remark() -> None:
    """A notice or a kind with a line break in it stays on its line."""
    part = Part("a.mp4", Fraction(0), Fraction(60), ("odd\nsteps: []\r\x85\u2028x: y",))
    text = draft_case(Findings((part,), scene_cuts=(cut(30, kind="odd\ncase: x"),)))
    assert case_of(text).id == "my-case"
    assert "# odd steps: [] x: y" in text


times = st.integers(0, 2 * 10**6).map(lambda n: Fraction(n, 1001))


@settings(derandomize=True, deadline=None)
@given(
    lengths=st.lists(st.integers(1, 10**6).map(lambda n: Fraction(n, 999)), min_size=1, max_size=4),
    cuts=st.lists(st.tuples(times, st.floats(0, 1)), max_size=20),
    still=st.lists(st.tuples(times, times), max_size=8),
    holes=st.lists(st.tuples(times, times), max_size=4),
)
def test_any_findings_give_a_case_that_fits(
    lengths: list[Fraction],
    cuts: list[tuple[Fraction, float]],
    still: list[tuple[Fraction, Fraction]],
    holes: list[tuple[Fraction, Fraction]],
) -> None:
    """Whatever was found: no mistake, steps from 0 to the end, none shorter than five seconds."""
    parts = []
    at = Fraction(0)
    for i, length in enumerate(lengths):
        parts.append(Part(f"{i}.mp4", at, length))
        at += length
    found = Findings(
        tuple(parts),
        tuple(cut(t, c) for t, c in sorted(cuts) if t < at),
        tuple(
            StillStretch(Span(min(s), min(max(s), at)), "still", 0.5) for s in still if min(s) < at
        ),
        tuple(Span(min(h), min(max(h), at)) for h in holes if min(h) < at),
    )
    case = case_of(draft_case(found))
    assert check_against(case, at) == ()
    begins = [s.start for s in case.steps]
    assert begins[0] == 0
    assert len(begins) <= MOST_STEPS
    assert all(b - a >= Fraction(4999, 1000) for a, b in pairwise(begins))
