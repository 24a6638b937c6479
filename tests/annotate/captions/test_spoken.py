"""Spoken words as captions."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.captions import NOTES, PROFILES, TimedWord, check_cues, words_to_cues


def speak(text: str, word_ms: int = 300, pauses: dict[str, int] | None = None) -> list[TimedWord]:
    """Words of equal length one after another, with a pause after the words named."""
    words, at = [], 1000
    for word in text.split():
        words.append(TimedWord(word, at, at + word_ms))
        at += word_ms + (pauses or {}).get(word, 0)
    return words


def test_captions_start_with_their_first_word() -> None:
    """And stay until read in comfort where nothing follows."""
    cues = words_to_cues(speak("Dry it with a paper point."), step="dry")

    [cue] = cues
    assert (cue.start_ms, cue.lines, cue.step) == (1000, ("Dry it with a paper point.",), "dry")
    assert cue.end_ms == 2800  # the last word's end: 26 characters read in 1.3 s


def test_short_flickers_between_captions_are_closed() -> None:
    """A caption stays until the next one when less than half a second lies between."""
    words = speak("Dry the canal with a point. Then wait for a while.", 400, {"point.": 300})

    first, second = words_to_cues(words)

    assert first.end_ms == second.start_ms == words[6].start_ms


def test_a_long_silence_ends_a_caption() -> None:
    """Even in the middle of a sentence; and the caption does not hang through it."""
    words = speak("Dry the canal with care", 300, {"canal": 5000})

    first, second = words_to_cues(words)

    assert (first.lines, second.lines) == (("Dry the canal",), ("with care",))
    assert first.end_ms < second.start_ms - 2000


def test_text_without_punctuation_breaks_where_the_speaker_breathes() -> None:
    """A breath beats a word border without one."""
    words = speak(
        "we dry the canal with some points until the very last one of them stays quite dry "
        "now mix the cement and carry it to the wall with the small carrier",
        300,
        {"dry": 400},
    )

    cues = words_to_cues(words)

    assert any(cue.lines[0].startswith("now mix") for cue in cues)


def test_sentence_ends_are_found_as_in_notes() -> None:
    """`no. 36` stays together; extra abbreviations are known."""
    words = speak("Now take the file no. 36 and the prox. Box again please. Then rinse the canal.")

    found = [" ".join(cue.lines) for cue in words_to_cues(words, abbreviations=["prox"])]

    assert found == [
        "Now take the file no. 36 and the prox. Box again please.",
        "Then rinse the canal.",
    ]


def test_nothing_ends_after_the_take() -> None:
    """The last caption ends where the caller's time ends."""
    words = speak("Dry it with a paper point and wait.", 120)

    assert words_to_cues(words, until_ms=2100)[-1].end_ms == 2100


def test_a_word_that_is_a_run_of_ideographs_is_spread_over_its_time() -> None:
    """Its parts begin where their characters begin, evenly; no spaces are put in."""
    word = "仮封材を除去し髄腔を精製水で洗浄したのち乾燥させて根管口を拡大鏡で確認する必要がある。"

    cues = words_to_cues([TimedWord(word, 0, 10_000)], language="ja")

    assert len(cues) > 1
    assert "".join(line for cue in cues for line in cue.lines) == word
    size = sum(len(line) for line in cues[0].lines)
    assert cues[1].start_ms == 10_000 * size // len(word)


def test_words_out_of_order_are_refused_with_their_times() -> None:
    """The caller is told which word."""
    with pytest.raises(ValueError, match="the word 'a' starts at 400 ms, before the one ahead"):
        words_to_cues([TimedWord("b", 500, 600), TimedWord("a", 400, 450)])


def test_no_words_give_no_cues() -> None:
    """Empty words are not shown."""
    assert words_to_cues([]) == ()
    assert words_to_cues([TimedWord(" \u200b", 0, 10)]) == ()


@pytest.mark.parametrize("name", PROFILES)
def test_unhurried_speech_keeps_every_figure_of_every_profile(name: str) -> None:
    """At about 100 words a minute nothing is too fast, too short, too long or too close."""
    text = (
        "Place the clamp first, then stretch the sheet over it, and check the seal with air. "
        "If you see bubbles along the margin, seal them with a little material before you open "
        "the chamber. Now look at the floor of the chamber under high magnification, please. "
    ) * 4
    words = speak(text, 600, {"air.": 700, "please.": 1300, "chamber.": 400})

    cues = words_to_cues(words, PROFILES[name])

    assert check_cues(cues, PROFILES[name]) == ()
    ends = [cue.lines[-1].split()[-1].lower() for cue in cues]
    assert not {"a", "the", "with", "of", "at"} & set(ends)


takes = st.lists(
    st.tuples(
        st.sampled_from(
            ["Dry", "the", "canal.", "wait,", "no.", "36", "仮封材を", "2\u00a0ml", "a\u2003 b"]
        ),
        st.integers(0, 1500),
        st.integers(0, 2500),
    ),
    max_size=60,
)


@pytest.mark.parametrize("name", PROFILES)
@settings(deadline=None, derandomize=True)
@given(take=takes)
def test_any_take_is_shown_whole_in_order_and_without_overlap(
    name: str, take: list[tuple[str, int, int]]
) -> None:
    """No word is lost; no cue starts before its first word or runs into the next; lines fit."""
    words, at = [], 0
    for text, lasts, pause in take:
        words.append(TimedWord(text, at, at + lasts))
        at += lasts + pause

    cues = words_to_cues(words, PROFILES[name])

    shown = "".join("".join(cue.lines) for cue in cues).replace(" ", "")
    assert shown == "".join(word.text for word in words).replace("\u2003 ", "")
    assert all(a.end_ms <= b.start_ms for a, b in pairwise(cues))
    assert all(cue.start_ms < cue.end_ms for cue in cues)
    wrong = {c.rule for c in check_cues(cues, PROFILES[name])}
    assert not wrong & {"line length", "number of lines", "longest time"}


def test_a_long_take_is_laid_out_in_one_go() -> None:
    """5000 words, half an hour: every word in place, no figure of the default profile broken."""
    text = "We dry the floor with a paper point, and look for the mark of blood on its side. "
    words = speak(text * 295, 330, {"point,": 200, "side.": 700})

    cues = words_to_cues(words, NOTES)

    assert len(words) > 5000 and words[-1].end_ms > 30 * 60_000
    assert check_cues(cues, NOTES) == ()
