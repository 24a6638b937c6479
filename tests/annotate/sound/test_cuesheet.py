"""The cue sheet: places, lengths, words that fit, and what comes next."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser

from annotate.sound.cuesheet import Cue, CuePart, CueSheet, cue_sheet_html, cue_sheet_text
from chapters.spans import Span

F = Fraction
REAL = CuePart("real", F(21))
SHEET = CueSheet(
    title="Sealing a perforation on a practice tooth",
    film_length=F(64),
    cues=(
        Cue(
            1,
            "Isolate the tooth",
            Span(F(4), F(14)),
            (CuePart("fast", F(8), F(4)), CuePart("still", F(2))),
            note="Clamp first, then the sheet; check the seal with air.",
            take="isolate.wav, 9.4 s, fits",
            frames=(b"\xff\xd8one", b"\xff\xd8two"),
        ),
        Cue(2, "Locate <the> perforation", Span(F(14), F(35)), (REAL,)),
    ),
)


class Reader(HTMLParser):
    """Counts tags and checks that each opened one is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.count: dict[str, int] = {}
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.count[tag] = self.count.get(tag, 0) + 1
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.count[tag] = self.count.get(tag, 0) + 1

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    assert not reader.open
    return reader


def test_the_text_tells_place_length_words_note_and_next() -> None:
    """Every figure of the first step stands in its block; the last says when the film ends."""
    text = cue_sheet_text(SHEET)

    assert "1  Isolate the tooth\n   0:04 to 0:14   10.0 s   24 words fit\n" in text
    assert "shown: 4× 8.0 s, still 2.0 s" in text
    assert "note:  Clamp first, then the sheet; check the seal with air." in text
    assert "take:  isolate.wav, 9.4 s, fits" in text
    assert "next:  2 Locate <the> perforation at 0:14" in text
    assert "next:  the film ends at 1:04" in text
    assert "Words are counted at 150 a minute, a usual pace." in text


def test_the_presenters_own_pace_changes_the_words() -> None:
    """At 120 words a minute 19 words fit in 10 s; a longer note is told."""
    slow = replace(SHEET, pace=F(60), measured=True)

    text = cue_sheet_text(slow)

    assert "60 a minute, your own pace in earlier takes" in text
    assert "9 words fit; the note has 10" in text


def test_the_page_holds_the_same_and_its_pictures() -> None:
    """Well-formed HTML with both sections, both pictures inside, and titles escaped."""
    html = cue_sheet_html(SHEET)
    page = read(html)

    assert page.count["section"] == 2
    assert page.count["img"] == 2
    assert html.count("data:image/jpeg;base64,") == 2
    assert "Locate <the> perforation" in page.text
    assert "10.0 s" in page.text
    assert "24 words fit" in page.text
    assert "Next: 2 Locate" in page.text
    assert "http" not in html


def test_a_mark_stands_first() -> None:
    """The mark of a case that may not be published stands above the title, in both."""
    marked = replace(SHEET, mark="NOT FOR PUBLICATION: patient case without a consent record")

    assert cue_sheet_text(marked).startswith("NOT FOR PUBLICATION")
    assert read(cue_sheet_html(marked)).text.index("NOT FOR") < cue_sheet_html(marked).index("<h1")


def test_a_sheet_without_steps_is_still_a_sheet() -> None:
    """No step: title and length only, nothing fails."""
    empty = replace(SHEET, cues=())

    assert cue_sheet_text(empty).startswith("Sealing")
    assert "section" not in read(cue_sheet_html(empty)).count


def test_a_script_is_what_is_to_be_said() -> None:
    """It stands beside the note, and its words are the ones that must fit."""
    long = "Clamp the tooth. " * 10
    spoken = replace(SHEET, cues=(replace(SHEET.cues[0], script=long),))
    text = cue_sheet_text(spoken)
    assert f"   say:   {long.strip()}\n" in text
    assert "24 words fit; the script has 30" in text
    page = read(cue_sheet_html(spoken)).text
    assert long.strip() in page and "Clamp first, then the sheet" in page
