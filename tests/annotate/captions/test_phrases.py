"""Pieces of text and what a break between them costs."""

from __future__ import annotations

import pytest

from annotate.captions.phrases import joins_unspaced, pieces_of


def cost_at(marked: str, language: str = "en") -> float:
    """The cost of the break marked ``|`` in a sentence."""
    left = marked.partition("|")[0].split()
    return pieces_of([marked.replace("|", " ")], 42, language)[len(left) - 1].cost


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        ("Clamp first,| then dry it", "Clamp| first, then dry it"),
        ("Dry it| and wait here", "Dry it and| wait here"),
        ("Look| at the floor", "Look at| the floor"),
        ("Look at| the floor", "Look at the| floor"),
        ("Look| at the floor", "Look at the| floor"),
        ("Use| approx. 20 ml now", "Use approx.| 20 ml now"),
        ("Use| approx. 20 ml now", "Use approx. 20| ml now"),
        ("Take| file no. 36 now", "Take file no.| 36 now"),
        ("if IOP < 21| & CDR > 0.7", "if IOP <| 21 & CDR > 0.7"),
        ("if IOP < 21| & CDR > 0.7", "if IOP| < 21 & CDR > 0.7"),
        ("the wall; |wait for it", "the wall; wait| for it"),
        ("we look| because it bleeds", "we| look because it bleeds"),
        ("it bleeds| (a little) there", "it| bleeds (a little) there"),
        ("it is – |as said – wet", "it is| – as said – wet"),
    ],
)
def test_the_better_break_costs_less(better: str, worse: str) -> None:
    """Published advice as an order: BBC Subtitle Guidelines §3.4, and numbers with what they count."""
    assert cost_at(better) < cost_at(worse)


@pytest.mark.parametrize(
    ("language", "better", "worse"),
    [
        ("de-CH", "Den Boden| mit Papier trocknen", "Den| Boden mit Papier trocknen"),
        ("fr", "sécher le fond| avec du papier", "sécher le| fond avec du papier"),
        ("es", "secar el suelo| con papel", "secar el| suelo con papel"),
    ],
)
def test_other_languages_have_their_own_small_words(language: str, better: str, worse: str) -> None:
    """The primary subtag of a BCP 47 tag chooses the word list."""
    assert cost_at(better, language) < cost_at(worse, language)


def test_a_language_without_a_list_breaks_by_punctuation_alone() -> None:
    """In Finnish `the` is no article."""
    assert cost_at("katso the| hammas", "fi") == cost_at("katso| the hammas", "fi")


def test_a_mark_that_stands_alone_begins_no_line() -> None:
    """French writes a space before a colon; the colon stays with its word."""
    better, worse = "le point :| il marque", "le point| : il marque"

    assert cost_at(better, "fr") < cost_at("vers| le point : il", "fr") < cost_at(worse, "fr")


def test_japanese_breaks_before_a_new_word_not_inside_one() -> None:
    """After kana and before an ideograph begins a new word; before kana goes the old one on."""
    costs = [piece.cost for piece in pieces_of(["水で洗浄した"], 42, "ja")]

    assert costs[1] < costs[2] < min(costs[0], costs[3], costs[4])


def test_no_break_spaces_hold() -> None:
    """U+00A0 and U+202F keep their words on one line."""
    pieces = pieces_of(["Use 20\u00a0ml, 2.5\u202f% now"], 42)

    assert [p.text for p in pieces] == ["Use", "20\u00a0ml,", "2.5\u202f%", "now"]


def test_ideographs_break_anywhere_but_at_punctuation() -> None:
    """No closing mark begins a piece, no opening mark ends one; Latin words stay whole."""
    pieces = pieces_of(["「髄腔」を、MTA粉。"], 42, "ja")

    assert [p.text for p in pieces] == ["「髄", "腔」", "を、", "MTA", "粉。"]
    assert {p.glue for p in pieces} == {""}


def test_a_word_wider_than_a_line_is_cut_at_hyphens_first() -> None:
    """Only a run without any hyphen is cut between characters, and that costs most."""
    word = "carboxymethyl-hydroxyethyl"

    assert [p.text for p in pieces_of([word], 15)] == ["carboxymethyl-", "hydroxyethyl"]
    cut = pieces_of(["x" * 20], 15)
    assert [p.text for p in cut] == ["x"] * 20
    assert cut[0].cost > pieces_of(["the tooth"], 15)[0].cost


def test_a_zero_width_space_is_a_place_to_break() -> None:
    """U+200B, as Thai text may carry it, marks a border and is not shown."""
    pieces = pieces_of(["ล้าง\u200bฟัน"], 42, "th")

    assert [(p.text, p.glue) for p in pieces] == [("ล้าง", ""), ("ฟัน", " ")]


def test_the_last_piece_of_a_sentence_breaks_free_of_charge() -> None:
    """Sentence ends are where captions end."""
    pieces = pieces_of(["Dry it.", "Wait."], 42)

    assert [(p.ends_sentence, p.cost == 0) for p in pieces] == [
        (False, False),
        (True, True),
        (True, True),
    ]


def test_ideographs_are_joined_without_a_space() -> None:
    """Only where both sides are wide."""
    assert joins_unspaced("髄腔", "を")
    assert not joins_unspaced("髄腔", "MTA")


def test_sentences_are_joined_by_a_space_unless_they_are_written_without() -> None:
    """A closing quotation mark ends a narrow sentence, an ideographic stop a wide one."""
    joined = [
        "".join(piece.text + piece.glue for piece in pieces_of([sentence, "B."], 42))
        for sentence in ("He said “stop.”", "Wait…", "乾燥。")
    ]

    assert joined == ["He said “stop.” B. ", "Wait… B. ", "乾燥。B. "]
