"""Texts beside the film: captions follow one another, whatever they come from."""

from __future__ import annotations

from annotate.captions import NOTES, PROFILES, check_cues
from annotate.captions.cues import Cue
from annotate.sidecars import Words, gaps_between_steps, one_after_another


def cue(start_ms: int, end_ms: int) -> Cue:
    """A cue of one line."""
    return Cue(start_ms, end_ms, ("Look.",), "step")


def test_no_captions_are_no_fault() -> None:
    """A film without notes and without narration has no cue."""
    assert one_after_another([]) == ()


def test_captions_never_stand_on_the_picture_together() -> None:
    """In the order of their starts, each ends where the next begins; one with no time left goes."""
    given = [cue(9_000, 12_000), cue(0, 4_000), cue(3_000, 6_000), cue(3_000, 5_000)]
    found = one_after_another(given)
    assert [(c.start_ms, c.end_ms) for c in found] == [(0, 3_000), (3_000, 6_000), (9_000, 12_000)]


def test_a_short_gap_between_steps_is_closed_on_the_step_s_first_picture() -> None:
    """The BBC allows none or a second; a gap inside a step is left to its own layout."""
    cues = [Cue(0, 5_000, ("One.",), "a"), Cue(5_600, 9_000, ("Two.",), "b")]
    found = gaps_between_steps(cues, {"a": 0, "b": 5_200}, PROFILES["bbc"])
    assert [(c.start_ms, c.end_ms) for c in found] == [(0, 5_200), (5_200, 9_000)]
    assert check_cues(found, PROFILES["bbc"]) == ()
    inside = [Cue(0, 5_000, ("One.",), "a"), Cue(5_600, 9_000, ("Two.",), "a")]
    assert gaps_between_steps(inside, {"a": 0}, PROFILES["bbc"]) == tuple(inside)
    assert gaps_between_steps(cues, {}, NOTES) == tuple(cues)


def test_where_no_gap_may_be_closed_the_caption_before_ends_sooner() -> None:
    """A quarter of a second is kept, unless the words could not be read any more."""
    profile = PROFILES["karamitroglou-1998"]
    cues = [Cue(0, 5_000, ("One.",), "a"), Cue(5_100, 9_000, ("Two.",), "b")]
    assert [c.end_ms for c in gaps_between_steps(cues, {}, profile)] == [4_850, 9_000]
    tight = [Cue(0, 1_600, ("One.",), "a"), Cue(1_700, 9_000, ("Two.",), "b")]
    assert gaps_between_steps(tight, {}, profile) == tuple(tight)


def test_words_that_nobody_has_read_are_not_for_the_picture() -> None:
    """Neither the draft nor the mark that says so; what was read is."""
    mark, draft, read = Cue(0, 4_000, ("Draft",)), cue(5_000, 6_000), Cue(7_000, 8_000, ("B",), "b")
    words = Words((mark, draft, read), (), (), drafts={"step": "look"})
    assert words.read_cues == (read,)
