"""Cues as WebVTT and SubRip text."""

from __future__ import annotations

import pytest

from annotate.captions import Cue, cues_to_srt, cues_to_vtt
from annotate.words import NOT_FOR_PUBLICATION

CUES = [
    Cue(5200, 9233, ("IOP < 21 &", "CDR > 0.7"), "a"),
    Cue(3_600_000, 3_601_500, ("Rinse.",), "b"),
]


def test_a_whole_webvtt_file() -> None:
    """Header, cautions, numbered cues, text escaped."""
    assert cues_to_vtt(CUES, language="en-GB") == (
        "WEBVTT\n\nNOTE\n"
        "This film teaches. It is not a protocol.\n"
        "Follow the maker's instructions for use and your local rules.\n"
        "A licensed practitioner's own judgement decides in every case.\n"
        "Language: en-GB\n\n"
        "1\n00:00:05.200 --> 00:00:09.233\nIOP &lt; 21 &amp;\nCDR &gt; 0.7\n\n"
        "2\n01:00:00.000 --> 01:00:01.500\nRinse.\n"
    )


def test_a_whole_subrip_file() -> None:
    """Numbers from 1, comma milliseconds, text as it is, the same milliseconds."""
    assert cues_to_srt(CUES) == (
        "1\n00:00:05,200 --> 00:00:09,233\nIOP < 21 &\nCDR > 0.7\n\n"
        "2\n01:00:00,000 --> 01:00:01,500\nRinse.\n"
    )


def test_a_film_not_to_be_published_says_so_first_in_both_files() -> None:
    """For the film's first four seconds, in WebVTT at the top of the picture."""
    vtt, srt = cues_to_vtt(CUES, NOT_FOR_PUBLICATION), cues_to_srt(CUES, NOT_FOR_PUBLICATION)

    lines = "NOT FOR PUBLICATION:\npatient case without a consent record\n\n2\n"
    assert f"\n\n1\n00:00:00.000 --> 00:00:04.000 line:0\n{lines}00:00:05.200" in vtt
    assert vtt.split("\n\n")[1].count(NOT_FOR_PUBLICATION) == 1
    assert srt.startswith(f"1\n00:00:00,000 --> 00:00:04,000\n{lines}00:00:05,200")


def test_a_long_notice_is_shown_whole() -> None:
    """On as many lines as it takes, none wider than a caption's."""
    notice = "NOT FOR PUBLICATION: " + "this sentence goes on and on " * 6 + "to its end."

    lines = cues_to_srt([], notice).rstrip("\n").split("\n")[2:]

    assert " ".join(lines) == notice and max(map(len, lines)) <= 42


def test_settings_stand_on_every_cue_but_the_notice() -> None:
    """Cue settings place the captions away from what the picture shows."""
    text = cues_to_vtt(CUES, NOT_FOR_PUBLICATION, settings="line:80%,end align:start")

    assert text.count(" line:80%,end align:start\n") == 2
    assert text.count(" line:0\n") == 1


@pytest.mark.parametrize("settings", ["line", "line:80%\n\nX", "colour:red", "line:-->"])
def test_settings_that_are_none_are_refused(settings: str) -> None:
    """Nothing but WebVTT cue settings may stand behind the times."""
    with pytest.raises(ValueError, match="are no WebVTT cue settings"):
        cues_to_vtt(CUES, settings=settings)


@pytest.mark.parametrize("cues", [CUES[::-1], [Cue(5, 5, ("x",))], [Cue(-1, 5, ("x",))]])
def test_cues_that_no_reader_would_show_are_refused(cues: list[Cue]) -> None:
    """Out of order, without length, before the film."""
    with pytest.raises(ValueError, match="cues stand by start and end after they start"):
        cues_to_vtt(cues)
    with pytest.raises(ValueError, match="cues stand by start and end after they start"):
        cues_to_srt(cues)


def test_no_line_of_text_can_end_a_cue() -> None:
    """Line breaks inside a line become spaces, empty lines go, a cue of nothing else goes too."""
    cues = [Cue(0, 1000, ("a\n\nb", " ", "c\0")), Cue(1000, 2000, ("\n",))]

    assert cues_to_srt(cues) == "1\n00:00:00,000 --> 00:00:01,000\na  b\nc\ufffd\n"


def test_no_cues_give_a_file_all_the_same() -> None:
    """A film without notes has an empty captions file, valid as it is."""
    assert cues_to_vtt([]).startswith("WEBVTT\n\nNOTE\n")
    assert cues_to_vtt([]).endswith("Language: en\n")
    assert cues_to_srt([]) == ""
