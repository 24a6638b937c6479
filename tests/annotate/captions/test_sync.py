"""Cues against the words they were made from."""

from __future__ import annotations

from dataclasses import replace

import pytest

from annotate.captions import PROFILES, Cue, TimedWord, check_sync, words_to_cues

WORDS = [
    TimedWord("Dry", 2000, 2300),
    TimedWord("it", 2300, 2500),
    TimedWord("now.", 2500, 3000),
    TimedWord("Wait.", 9000, 9600),
]
BBC = PROFILES["bbc"]


@pytest.mark.parametrize("name", PROFILES)
def test_cues_made_from_the_words_are_in_step_with_them(name: str) -> None:
    """What ``words_to_cues`` makes keeps the profile's figures of sync."""
    cues = words_to_cues(WORDS, PROFILES[name], until_ms=20_000)

    assert check_sync(cues, WORDS, PROFILES[name]) == ()


@pytest.mark.parametrize(
    ("start_ms", "end_ms", "rules"),
    [
        (500, 4500, []),
        (499, 4500, ["starts before the speech"]),
        (4000, 4500, []),
        (4001, 4500, ["starts after the speech"]),
        (4001, 4501, ["starts after the speech", "stays after the speech"]),
    ],
)
def test_each_figure_of_sync_is_checked(start_ms: int, end_ms: int, rules: list[str]) -> None:
    """BBC: 1.5 s early, 2 s late and 1.5 s after the speech are allowed, a millisecond more is not."""
    cues = [Cue(start_ms, end_ms, ("Dry it", "now.")), Cue(9000, 9600, ("Wait.",))]

    assert [complaint.rule for complaint in check_sync(cues, WORDS, BBC)] == rules


def test_a_complaint_of_sync_holds_both_numbers() -> None:
    """In seconds, with the clause."""
    cues = [Cue(499, 3000, ("Dry it now.",), "dry"), Cue(9000, 9600, ("Wait.",))]

    [complaint] = check_sync(cues, WORDS, BBC)

    assert str(complaint) == (
        "caption 1 at 00:00:00.499, step dry: starts before the speech: found 1.501 s, allowed at "
        "most 1.5 (BBC Subtitle Guidelines §5.2: not more than 1.5 s before the speech)"
    )


def test_a_profile_without_sync_has_nothing_to_say() -> None:
    """Notes are not spoken."""
    assert check_sync([Cue(0, 1, ("x",))], WORDS, PROFILES["notes"]) == ()


def test_other_words_are_refused_with_their_place() -> None:
    """Cues edited by hand no longer match the take."""
    cues = words_to_cues(WORDS, BBC)
    edited = [replace(cues[0], lines=("Dry it soon.",)), *cues[1:]]

    with pytest.raises(ValueError, match=r"after 5 letters: 'soon\.Wait\.' shown, 'now\.Wait\.'"):
        check_sync(edited, WORDS, BBC)
    with pytest.raises(ValueError, match="differ after 9 letters"):
        check_sync(cues[:1], [*WORDS[:3], TimedWord("Now", 1, 2)], BBC)
