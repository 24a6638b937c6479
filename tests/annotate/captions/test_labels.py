"""Sounds that nobody speaks, among captions."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.captions import NOTES, PROFILES, Cue, Profile, check_cues
from annotate.captions.labels import LATEST_MS, RoomSound, label_text, lay_labels, needed_ms

BBC, KARAMITROGLOU = PROFILES["bbc"], PROFILES["karamitroglou-1998"]


def sound(at_ms: int, text: str = "drill whines", until_ms: int = 60_000) -> RoomSound:
    """A sound of the step ``drill``."""
    return RoomSound(text, at_ms, until_ms, "drill")


def test_each_profile_writes_a_label_in_its_own_form() -> None:
    """Capitals after the BBC's guidelines, brackets after the DCMP; brackets where a source is silent."""
    assert label_text("drill whines", BBC) == "DRILL WHINES"
    assert label_text("[drill whines]", PROFILES["dcmp-adult"]) == "[drill whines]"
    assert label_text("drill whines", KARAMITROGLOU) == "[drill whines]"
    assert KARAMITROGLOU.sound_labels is None


def test_a_label_stands_where_its_sound_begins() -> None:
    """Alone in a pause, for as long as it can be read, the BBC's second more included."""
    (cue,), left_out = lay_labels([], [sound(10_000)], BBC)
    assert left_out == ()
    assert (cue.start_ms, cue.lines, cue.step) == (10_000, ("DRILL WHINES",), "drill")
    assert cue.length_ms >= needed_ms("DRILL WHINES", BBC) == 667 + 1000


def test_a_label_joins_the_caption_on_the_picture() -> None:
    """On a line of its own above the words, where both can be read."""
    cues = [Cue(9_000, 15_000, ("Look at the wall.",), "drill")]
    (cue,), left_out = lay_labels(cues, [sound(10_000)], NOTES)
    assert left_out == ()
    assert cue == Cue(9_000, 15_000, ("[drill whines]", "Look at the wall."), "drill")


def test_a_label_without_room_is_named_and_left_out() -> None:
    """Full captions all along: nothing is pushed aside."""
    cues = [
        Cue(n * 3000, n * 3000 + 3000, ("Look at the wall.", "And at the floor."), "drill")
        for n in range(9)
    ]
    found, left_out = lay_labels(cues, [sound(10_000)], NOTES)
    assert found == tuple(cues)
    assert left_out == (
        "the sound label “[drill whines]” at 0:10 of the film has no room beside the captions "
        "there and is left out",
    )


def test_a_label_ends_with_its_picture() -> None:
    """Where the stretch is too short to read it, it is left out."""
    assert lay_labels([], [sound(10_000, until_ms=10_900)], NOTES)[0] == ()
    (cue,), _ = lay_labels([], [sound(10_000, until_ms=11_200)], NOTES)
    assert cue.end_ms == 11_200


@pytest.mark.parametrize("profile", PROFILES.values(), ids=lambda p: p.name)
@given(
    gaps=st.lists(st.tuples(st.integers(0, 5000), st.integers(2000, 6000)), max_size=6),
    at_ms=st.integers(0, 30_000),
)
def test_labels_keep_what_the_profile_asks_for(
    profile: Profile, gaps: list[tuple[int, int]], at_ms: int
) -> None:
    """Whatever the captions around it, a label adds no complaint, and every caption stays."""
    cues, at = [], 0
    for gap, length in gaps:
        least = profile.gap.shortest_ms.value if profile.gap else 0
        start = at + (gap if gap >= least or at == 0 else least)
        cues.append(Cue(start, start + length, ("Look here.",), "drill"))
        at = start + length
    found, left_out = lay_labels(cues, [sound(at_ms)], profile)
    assert check_cues(found, profile) == check_cues(cues, profile)
    words = [(c.start_ms, c.end_ms, c.lines[-1]) for c in found if c.lines[-1] == "Look here."]
    assert words == [(c.start_ms, c.end_ms, c.lines[0]) for c in cues]
    label = label_text("drill whines", profile)
    places = [c for c in found if label in c.lines]
    assert len(places) + len(left_out) == 1
    assert all(c.end_ms > at_ms and c.start_ms <= at_ms + LATEST_MS for c in places)
