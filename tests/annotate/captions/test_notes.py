"""Step notes as captions."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.captions import NOTES, PROFILES, Cue, NoteTooLong, check_cues, notes_to_cues
from annotate.captions.sentences import split_sentences
from chapters.spans import Span

NOTE = (
    "Irrigate with approx. 20 ml of 2.5 % sodium hypochlorite, warm. "
    "Use file no. 36. No needle deeper than the perforation."
)


def span(start: int | str | Fraction, end: int | str | Fraction) -> Span:
    """A step's place in the film; decimals as text, so that they are exact."""
    return Span(Fraction(start), Fraction(end))


def test_a_note_becomes_captions_sentence_by_sentence() -> None:
    """From 0.2 s after the step's first frame, each as long as reads comfortably."""
    cues, too_long = notes_to_cues([("clean", NOTE, span(10, 40))])

    assert too_long == ()
    assert cues == (
        Cue(
            10_200,
            14_900,
            ("Irrigate with approx. 20 ml", "of 2.5 % sodium hypochlorite, warm."),
            "clean",
        ),
        Cue(14_900, 16_466, ("Use file no. 36.",), "clean"),
        Cue(16_466, 19_499, ("No needle deeper than the perforation.",), "clean"),
    )


def test_a_short_step_is_used_to_its_end() -> None:
    """Where time is scarce each caption gives up the same share of its comfort, down to 20 a second."""
    cues, too_long = notes_to_cues([("clean", NOTE, span(10, "17.3"))])

    assert too_long == ()
    assert cues[0].start_ms == 10_200 and 17_290 <= cues[-1].end_ms <= 17_300
    assert check_cues(cues, NOTES) == ()


def test_the_lead_gives_way_before_the_note_does() -> None:
    """A step with just the time its note needs starts its caption with the step."""
    note = "Dry it with a paper point."  # 26 characters: 1.3 s

    assert notes_to_cues([("s", note, span(5, "6.3"))]) == ((Cue(5000, 6300, (note,), "s"),), ())


def test_a_note_too_long_shows_whole_sentences_and_tells_the_rest() -> None:
    """The first sentence fits; the step would have to be longer by the rest's reading time."""
    cues, [complaint] = notes_to_cues([("clean", NOTE, span(0, 4))])

    assert [cue.lines for cue in cues] == [
        ("Irrigate with approx. 20 ml", "of 2.5 % sodium hypochlorite, warm.")
    ]
    assert complaint == NoteTooLong("clean", 3150 + 1000 + 1900 - 4000, 40, 1, 3)


def test_half_a_sentence_is_never_shown() -> None:
    """Of a sentence over two captions neither is shown where only one has time."""
    note = (
        "Do not condense the material with force before the radiograph has shown where its "
        "outer margin lies."
    )
    cues, [complaint] = notes_to_cues([("s", note, span(0, 4))])

    assert cues == ()
    assert (complaint.shown, complaint.sentences) == (0, 1)


def test_the_missing_time_is_exactly_what_is_missing() -> None:
    """A step longer by the reported time has room; one millisecond less has not."""
    _, [complaint] = notes_to_cues([("s", NOTE, span(0, 4))])
    enough = Fraction(4000 + complaint.over_ms, 1000)

    assert notes_to_cues([("s", NOTE, span(0, enough))])[1] == ()
    [still] = notes_to_cues([("s", NOTE, span(0, enough - Fraction(1, 1000)))])[1]
    assert still.over_ms == 1


def test_steps_between_milliseconds_keep_their_captions_inside() -> None:
    """Start is rounded up and end down, so no cue leaves its step at 30000/1001 frames a second."""
    step = span(Fraction(1001, 30000), Fraction(1001 * 60, 30000))
    cues, _ = notes_to_cues([("s", "Dry it with a paper point now.", step)], lead_ms=0)

    assert Fraction(cues[0].start_ms, 1000) >= step.start
    assert Fraction(cues[-1].end_ms, 1000) <= step.end


def test_an_empty_note_is_passed_over_and_order_does_not_matter() -> None:
    """Notes come out in the order of their steps in the film."""
    cues, too_long = notes_to_cues(
        [("b", "Second.", span(10, 20)), ("none", " \n", span(5, 10)), ("a", "First.", span(0, 5))]
    )

    assert [cue.step for cue in cues] == ["a", "b"]
    assert too_long == ()


def test_a_step_of_no_length_reports_its_note() -> None:
    """Nothing fits, and the whole reading time is missing."""
    assert notes_to_cues([("s", "Rinse.", span(3, 3))]) == ((), (NoteTooLong("s", 1000, 6, 0, 1),))


def test_wide_characters_take_twice_the_width_and_the_time() -> None:
    """42 columns are 21 ideographs; 20 columns a second are ten ideographs."""
    note = "仮封材を除去し、髄腔を精製水で洗浄したのち、乾燥させて根管口を確認する。"
    cues, _ = notes_to_cues([("s", note, span(0, 60))], language="ja")

    assert "".join(line for cue in cues for line in cue.lines) == note
    assert check_cues(cues, NOTES) == ()
    assert max(len(line) for cue in cues for line in cue.lines) <= 21


def test_right_to_left_text_is_not_touched() -> None:
    """The letters come out in the order they were typed in."""
    note = "اغسل بمحلول EDTA (17%) لمدة ٢٠ ثانية."
    cues, _ = notes_to_cues([("s", note, span(0, 60))], language="ar")

    assert " ".join(line for cue in cues for line in cue.lines) == note


WORDS = (
    "Rinse dry the a of wait. now, 20 ml no. 36 perforation; (a little) ethylenediamine "
    "<21 & --> EDTA. 仮封材を除去。 x-y الآن"
)
texts = st.lists(st.sampled_from(WORDS.split()), max_size=40).map(" ".join)


@pytest.mark.parametrize("name", PROFILES)
@settings(deadline=None, derandomize=True)
@given(notes=st.lists(st.tuples(texts, st.integers(0, 900), st.integers(0, 40)), max_size=5))
def test_whatever_is_shown_keeps_its_profile_and_its_step(
    name: str, notes: list[tuple[str, int, int]]
) -> None:
    """For any notes: no complaint, no cue outside its step, whole sentences, all if none is told."""
    profile, at, steps = PROFILES[name], Fraction(0), []
    for number, (text, frames, pause) in enumerate(notes):
        end = at + Fraction(frames * 1001, 30000)
        steps.append((str(number), text, Span(at, end)))
        at = end + Fraction(pause, 10)

    cues, too_long = notes_to_cues(steps, profile)

    assert check_cues(cues, profile) == ()
    short = {complaint.step: complaint for complaint in too_long}
    for step, text, place in steps:
        own = [cue for cue in cues if cue.step == step]
        assert all(place.start <= Fraction(cue.start_ms, 1000) for cue in own)
        assert all(Fraction(cue.end_ms, 1000) <= place.end for cue in own)
        sentences = split_sentences(text)
        shown = "".join("".join(cue.lines) for cue in own).replace(" ", "")
        count = short[step].shown if step in short else len(sentences)
        assert shown == "".join(sentences[:count]).replace(" ", "")
        assert step not in short or (count < len(sentences) and short[step].over_ms > 0)
