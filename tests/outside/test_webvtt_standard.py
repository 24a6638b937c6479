"""Caption files against the W3C WebVTT rules, three readers that are not ours, and SubRip's form.

Rules: W3C WebVTT, "WebVTT timestamp", "WebVTT cue block", "WebVTT comment block" and the parser's
"collect a WebVTT timestamp". SubRip: Matroska codec draft (IETF CELLAR), "SRT Subtitles".
Readers: the package webvtt-py, the ffmpeg binary that imageio-ffmpeg ships, Chromium.
"""

from __future__ import annotations

import html
import io
import re
import subprocess
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import imageio_ffmpeg  # type: ignore[import-untyped]
import pytest
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

from annotate.captions import Cue, cues_to_srt, cues_to_vtt, notes_to_cues
from annotate.words import CAUTIONS, NOT_FOR_PUBLICATION
from chapters.spans import Span
from chapters.times import srt_time, vtt_time
from tests.outside.chromium import Browser, browser

pytestmark = pytest.mark.outside

#: Texts that break careless writers, as a clinician may type them, and how a reader must see them.
HARD_TEXTS = {
    "comparison": "IOP < 21 & CDR > 0.7",
    "comparison, only the left sign": "IOP < 21 & stable",
    "arrow": "a --> b",
    "tag": "<b>bold</b> & <i>not</i> <c.red>this</c>",
    "reference": "&amp; stays &lt;as typed&gt; &nbsp;",
    "inner time stamp": "at <00:00:01.000> sharp",
    "time line": "00:00:01.000 --> 00:00:02.000",
    "right to left": "بعد ٢٠ ثانية (EDTA 17%) اغسل",
    "hebrew with digits": "לשטוף ב-20 מ״ל",
    "emoji and marks": "e\u0301 👩🏽‍⚕️ ok",
    "ideographs": "仮封材を除去し、髄腔を確認する。",
    "header word": "WEBVTT",
    "note word": "NOTE this is said",
    "style word": "STYLE",
    "digits": "36",
    "line and paragraph separators": "one\u2028two\u2029three",
    "controls": "tab\there, bell\x07, nul\0.",
    "order marks": "left\u200eright\u200f",
}


def _cues() -> list[Cue]:
    """One cue a text, all on one line, half a second apart."""
    return [
        Cue(2000 * n, 2000 * n + 1500, (text,), "s") for n, text in enumerate(HARD_TEXTS.values())
    ]


def _as_shown(text: str) -> str:
    """What a reader may see of a text: controls are spaces, U+0000 is U+FFFD, NFC."""
    text = re.sub("[\t\x07\u2028\u2029]", " ", text).replace("\0", "\ufffd")
    return text.replace("e\u0301", "\u00e9")


@pytest.fixture(scope="module")
def chromium(driver: Any, chromium_program: str) -> Iterator[Browser]:
    """One browser for this file."""
    with browser(driver, chromium_program) as page:
        yield page


# --- the timestamp rules ---------------------------------------------------------------------


def collect_timestamp(text: str) -> Fraction | None:
    """The parser's algorithm "collect a WebVTT timestamp", written from the standard's steps."""
    match = re.fullmatch(r"(\d+):(\d+)(?::(\d+))?\.(\d+)", text, re.ASCII)
    if match is None:
        return None
    first, second, third, decimals = match.groups()
    hours_first = len(first) != 2 or int(first) > 59
    if hours_first or third is not None:
        if third is None:
            return None
        hours, minutes, seconds = first, second, third
    else:
        hours, minutes, seconds = "0", first, second
    if len(minutes) != 2 or len(seconds) != 2 or len(decimals) != 3:
        return None
    if int(minutes) > 59 or int(seconds) > 59:
        return None
    return int(hours) * 3600 + int(minutes) * 60 + int(seconds) + Fraction(int(decimals), 1000)


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ("01:02:03.500", Fraction(7447, 2)),
        ("00:01.000", Fraction(1)),
        ("100:00:00.000", Fraction(360000)),
        ("1:00:00.000", Fraction(3600)),
        ("60:00:01.000", Fraction(216001)),
        ("0:00.000", None),
        ("60:00.000", None),
        ("00:00:60.000", None),
        ("00:60:00.000", None),
        ("00:00,000", None),
        ("00:00:01.00", None),
    ],
)
def test_the_timestamp_reader_of_this_file_meets_the_worked_values(
    written: str, seconds: Fraction | None
) -> None:
    """Worked values of the standard's algorithm, several of them from the web-platform-tests."""
    assert collect_timestamp(written) == seconds


@pytest.mark.parametrize(
    "ms", [0, 1, 999, 1000, 59_999, 60_000, 3_599_999, 3_600_000, 3_723_500, 360_000_000]
)
def test_written_timestamps_are_in_the_authoring_form_and_mean_the_same_milliseconds(
    ms: int,
) -> None:
    """Authoring form: two or more digits of hours, two of minutes and seconds, three decimals."""
    written = vtt_time(ms)

    assert re.fullmatch(r"\d{2,}:[0-5]\d:[0-5]\d\.\d{3}", written, re.ASCII)
    assert collect_timestamp(written) == Fraction(ms, 1000)


def test_subrip_times_are_those_of_the_matroska_drafts_example() -> None:
    """00:02:17,440 to 00:02:20,375 lasts 2.935 s (Matroska codec draft, "SRT Subtitles")."""
    assert srt_time(137_440) == "00:02:17,440"
    assert srt_time(140_375) == "00:02:20,375"
    assert 140_375 - 137_440 == 2935


# --- the file rules --------------------------------------------------------------------------


def test_a_captions_file_keeps_every_rule_of_a_webvtt_file_body() -> None:
    """Signature line, blank line, unique one-line ids, arrows only in time lines, no blank in a cue."""
    blocks = cues_to_vtt(_cues(), NOT_FOR_PUBLICATION, "en-GB").rstrip("\n").split("\n\n")

    assert blocks[0] == "WEBVTT"
    assert blocks[1].startswith("NOTE\n") and "-->" not in blocks[1]
    ids, last = set(), -1
    for block in blocks[2:]:
        name, times, *payload = block.split("\n")
        left, _, right = times.partition(" --> ")
        start, end = left, right.split(" ")[0]
        begins, ends = collect_timestamp(start), collect_timestamp(end)
        assert begins is not None and ends is not None and last <= begins < ends
        assert payload and all(line.strip() and "-->" not in line for line in payload)
        assert not any("<" in line for line in payload)
        ids.add(name)
        last = int(begins)
    assert len(ids) == len(blocks) - 2 == len(HARD_TEXTS) + 1


def test_the_cautions_and_the_notice_stand_in_the_note() -> None:
    """The NOTE at the head bears every caution, and the notice of a film not to be published."""
    note = cues_to_vtt([], NOT_FOR_PUBLICATION).split("\n\n")[1].split("\n")

    assert note == ["NOTE", *CAUTIONS, NOT_FOR_PUBLICATION, "Language: en"]


# --- readers that are not ours ---------------------------------------------------------------


def test_webvtt_py_reads_every_cue_back() -> None:
    """webvtt-py leaves references undecoded, so its text is unescaped before it is compared."""
    text = cues_to_vtt(_cues())

    read = webvtt.from_buffer(io.BytesIO(text.encode("utf-8")))

    assert [html.unescape(cue.text) for cue in read.captions] == [
        _as_shown(text) for text in HARD_TEXTS.values()
    ]
    assert [cue.start for cue in read.captions] == [vtt_time(cue.start_ms) for cue in _cues()]
    assert [cue.end for cue in read.captions] == [vtt_time(cue.end_ms) for cue in _cues()]


def test_webvtt_py_reads_the_subrip_file_back() -> None:
    """The same cues out of the SubRip file, as written there: the package strips what looks like tags."""
    text = cues_to_srt(_cues(), NOT_FOR_PUBLICATION)

    read = webvtt.from_buffer(io.BytesIO(text.encode("utf-8")), format="srt")

    said = [cue.raw_text for cue in read.captions]
    assert said[0].replace("\n", " ") == NOT_FOR_PUBLICATION
    times_like = HARD_TEXTS["time line"]
    assert said[1:] == [
        _as_shown(text).replace("-->", "→") if text == times_like else _as_shown(text)
        for text in HARD_TEXTS.values()
    ]


@settings(deadline=None, derandomize=True)
@given(st.lists(st.text(st.characters(), max_size=80), max_size=4))
def test_webvtt_py_reads_any_note_back_whole(notes: list[str]) -> None:
    """Whatever is typed: as many cues as were made, and every character that is no space."""
    steps = [
        (str(n), text, Span(Fraction(30 * n), Fraction(30 * n + 30)))
        for n, text in enumerate(notes)
    ]
    cues, _ = notes_to_cues(steps)

    read = webvtt.from_buffer(io.BytesIO(cues_to_vtt(cues).encode("utf-8"))).captions

    assert [(cue.start, cue.end) for cue in read] == [
        (vtt_time(cue.start_ms), vtt_time(cue.end_ms)) for cue in cues
    ]
    assert [html.unescape(cue.text).split() for cue in read] == [
        " ".join(cue.lines).split() for cue in cues
    ]


def _converted(source: Path, target_format: str) -> str:
    done = subprocess.run(
        [
            imageio_ffmpeg.get_ffmpeg_exe(),
            *("-nostdin", "-v", "error", "-i", str(source)),
            *("-f", target_format, "-"),
        ],
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert done.stderr == b""
    return done.stdout.decode("utf-8")


def test_ffmpeg_reads_every_time_of_both_files(tmp_path: Path) -> None:
    """FFmpeg's demuxers find all cues at the same milliseconds in the WebVTT and the SubRip file."""
    expected = [(srt_time(cue.start_ms), srt_time(cue.end_ms)) for cue in _cues()]
    for name, text in (("c.vtt", cues_to_vtt(_cues())), ("c.srt", cues_to_srt(_cues()))):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8", newline="\n")

        found = re.findall(
            r"(\d\d:\d\d:\d\d,\d{3}) --> (\d\d:\d\d:\d\d,\d{3})\n", _converted(path, "srt")
        )

        assert [pair for pair in found if pair in expected] == expected


def test_ffmpeg_decodes_the_clinical_comparison(tmp_path: Path) -> None:
    """FFmpeg's decoders of both formats give back `IOP < 21 & CDR > 0.7` as it was typed."""
    cue = Cue(0, 2000, ("IOP < 21 & CDR > 0.7",))
    for name, text in (("c.vtt", cues_to_vtt([cue])), ("c.srt", cues_to_srt([cue]))):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8", newline="\n")

        assert "IOP < 21 & CDR > 0.7" in _converted(path, "srt")


@pytest.mark.browser
def test_chromium_reads_every_cue_back(chromium: Browser) -> None:
    """Chromium's own parser finds every cue, at its milliseconds, and would show the typed text."""
    found = chromium.cues(cues_to_vtt(_cues()))

    assert [cue["shown"] for cue in found] == [_as_shown(text) for text in HARD_TEXTS.values()]
    assert [(cue["start"], cue["end"]) for cue in found] == [
        (cue.start_ms, cue.end_ms) for cue in _cues()
    ]


@pytest.mark.browser
def test_chromium_shows_the_notice_first_and_at_the_top(chromium: Browser) -> None:
    """A film not to be published says so in the first cue, on the picture's first line."""
    cue = Cue(5000, 7000, ("Rinse.",))

    found = chromium.cues(cues_to_vtt([cue], NOT_FOR_PUBLICATION, settings="line:80%,end"))

    assert found[0]["shown"].replace("\n", " ") == NOT_FOR_PUBLICATION
    assert (found[0]["start"], found[0]["line"]) == (0, 0)
    assert (found[1]["shown"], found[1]["line"]) == ("Rinse.", 80)


@pytest.mark.browser
def test_chromium_would_lose_a_value_that_is_not_escaped(chromium: Browser) -> None:
    """The check above can fail: written raw, `IOP < 21 & CDR > 0.7` loses its middle."""
    raw = "WEBVTT\n\n00:00.000 --> 00:02.000\nIOP < 21 & CDR > 0.7\n"

    assert chromium.cues(raw)[0]["shown"] != "IOP < 21 & CDR > 0.7"


@pytest.mark.browser
def test_blank_lines_in_a_note_do_not_end_its_cue(chromium: Browser) -> None:
    """A note of two paragraphs arrives whole, made into cues and read by Chromium."""
    note = "Dry the canal.\n\nThen place  the cone;\ncheck its length --> radiograph."
    cues, too_long = notes_to_cues([("s", note, Span(Fraction(0), Fraction(30)))])

    found = chromium.cues(cues_to_vtt(cues))

    assert too_long == ()
    assert " ".join(cue["shown"].replace("\n", " ") for cue in found) == " ".join(note.split())
