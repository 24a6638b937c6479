"""Cards: what they say, that all of it is on the card, that they come up and then stand still."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate import words
from annotate.picture import colours
from annotate.picture.cardlayout import bar_spans, card_layers
from annotate.picture.cards import BODY_WAITS_S, FADE_S, Card, ComingUp
from annotate.picture.cardwords import (
    ClosingCard,
    TitleCard,
    closing_card,
    title_card,
    whole_seconds,
)
from annotate.picture.layout import safe_area
from chapters.case import Case, Consent, Tooth
from chapters.errors import InputError
from chapters.steptimes import Ledger
from chapters.times import round_half_up
from tests.annotate.picture.drawn import SIZES, TITLES, chain, need_scripts

CASE = Case(
    "bench-03",
    "Sealing a perforation on a practice tooth",
    (),
    (),
    tooth=Tooth("36", "19"),
    procedure="Perforation repair",
    presenter="Study club, Tuesday evening",
)
WORKED = ClosingCard(27 * 60, 8 * 60, 0, 60)
SETTLED_S = FADE_S + BODY_WAITS_S


def ledger(real: Fraction, fast: Fraction, hidden: Fraction, away: Fraction) -> Ledger:
    """A ledger of these clinical times."""
    nothing = Fraction(0)
    return Ledger(
        real=real,
        fast=fast,
        not_shown=hidden,
        away=away,
        total=real + fast + hidden + away,
        film=nothing,
        cards=nothing,
        stills=nothing,
        between_not_shown=nothing,
        between_away=nothing,
        away_events=(),
        hidden=(),
    )


def test_the_worked_ledger_in_words() -> None:
    """27 + 8 + 1 = 36 clinical minutes, common practice, in the words of the closing card."""
    minutes = [Fraction(60 * n) for n in (27, 8, 0, 1)]
    card = closing_card(ledger(*minutes))
    assert (
        card.sentence == "Clinical time 36:00 = real 27:00 + fast 8:00 + not shown 0:00 + away 1:00"
    )
    assert card.cautions == words.CAUTIONS
    assert card.mark == ""
    assert closing_card(ledger(*minutes), "NOT YET").mark == "NOT YET"


@given(st.lists(st.fractions(0, 5000, max_denominator=997), min_size=1, max_size=4))
def test_whole_seconds_add_up(parts: list[Fraction]) -> None:
    """The parts shown add up to the total shown, each within a second of its true value."""
    shown = whole_seconds(parts)
    assert sum(shown) == round_half_up(sum(parts, Fraction(0)))
    assert all(abs(n - part) < 1 for n, part in zip(shown, parts, strict=True))


def test_the_title_card_names_the_tooth_in_both_notations() -> None:
    """Title, procedure, tooth, subject, presenter."""
    card = title_card(CASE)
    assert card.title == CASE.title
    assert card.lines == (
        "Perforation repair",
        "Tooth 36 (ISO 3950), 19 (Universal): lower left first molar",
        "Practice case, no patient",
        "Study club, Tuesday evening",
    )
    assert card.mark == ""


def test_a_patient_case_without_consent_is_marked() -> None:
    """The mark stands on the card exactly when nothing records a consent."""
    bare = Case("c", "Case", (), (), subject="patient")
    assert title_card(bare).mark == words.NOT_FOR_PUBLICATION
    assert title_card(bare).lines == ("Patient case",)
    agreed = Case("c", "Case", (), (), subject="patient", consent=Consent("form 12"))
    assert title_card(agreed).mark == ""
    assert title_card(agreed).lines == ("Patient case, consent on record",)


CARDS = {
    "title": TitleCard(CASE.title, title_card(CASE).lines),
    "marked": TitleCard("word " * 60, title_card(CASE).lines, words.NOT_FOR_PUBLICATION),
    "closing": WORKED,
    "all kinds": ClosingCard(7000, 3, 1900, 60, mark=words.NOT_FOR_PUBLICATION),
    "nothing": ClosingCard(0, 0, 0, 0),
}


@pytest.mark.parametrize("size_px", [(114, 240), (136, 240), (162, 240), (180, 320), (240, 428)])
@pytest.mark.parametrize("hours", [0, 4])
def test_a_narrow_portrait_film_has_its_cards(size_px: tuple[int, int], hours: int) -> None:
    """A table wider than the safe area gives way to the words: nothing falls off the card."""
    card = ClosingCard(700 + hours * 3600, 3 + hours * 3600, 1900, 60)
    area = safe_area(*size_px)
    for layer in card_layers(card, size_px, chain()):
        columns = np.flatnonzero(layer[..., 3].any(axis=0))
        assert columns[0] >= area.x_px and columns[-1] < area.right_px


@pytest.mark.parametrize("size_px", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("name", CARDS)
def test_all_ink_lies_in_the_safe_area(name: str, size_px: tuple[int, int]) -> None:
    """Heading and body fit the safe area at every size; neither is empty."""
    area = safe_area(*size_px)
    for layer in card_layers(CARDS[name], size_px, chain()):
        assert layer.shape == (size_px[1], size_px[0], 4)
        rows = np.flatnonzero(layer[..., 3].any(axis=1))
        columns = np.flatnonzero(layer[..., 3].any(axis=0))
        assert rows.size
        assert area.y_px <= rows[0]
        assert rows[-1] < area.bottom_px
        assert area.x_px <= columns[0]
        assert columns[-1] < area.right_px


@pytest.mark.parametrize("script", TITLES)
def test_a_title_of_any_script(script: str) -> None:
    """The heading's ink is as much as the font chain draws for the title: no letter is cut."""
    need_scripts(TITLES[script])
    heading, _ = card_layers(TitleCard(TITLES[script], ()), (1280, 720), chain())
    ink = heading[..., 3].sum(dtype=np.int64)
    size = round(720 / 27 * 2.2)
    whole = chain().draw(TITLES[script], size, "strong").mask.sum(dtype=np.int64)
    assert abs(int(ink) - int(whole)) < 0.03 * whole


def test_a_right_to_left_card_hangs_from_the_right() -> None:
    """The body of a card with an Arabic title ends at the right edge of the safe area."""
    card = TitleCard(TITLES["Arabic"], ("Perforation repair",), words.NOT_FOR_PUBLICATION)
    for layer in card_layers(card, (1280, 720), chain()):
        columns = np.flatnonzero(layer[..., 3].any(axis=0))
        assert columns[-1] > safe_area(1280, 720).right_px - 12


def test_the_bar_shares_its_length() -> None:
    """Segments are as long as their share, small ones still visible, and end with the bar."""
    spans = bar_spans((1620, 480, 0, 60), 1000, gap_px=4, least_px=10)
    assert spans[2][1] == 0
    widths = [width for _, width in spans]
    assert widths[0] == pytest.approx(750, abs=8)
    assert widths[1] == pytest.approx(222, abs=8)
    assert spans[-1][0] + spans[-1][1] == 1000
    tiny = bar_spans((100000, 1, 1, 1), 1000, gap_px=4, least_px=10)
    assert [width for _, width in tiny[1:]] == [10, 10, 10]
    assert tiny[-1][0] + tiny[-1][1] == 1000
    assert bar_spans((0, 0, 0, 0), 1000, gap_px=4, least_px=10) == [(0, 0)] * 4


def test_a_card_comes_up_quietly_and_then_stands() -> None:
    """Only ground at first, never darker from frame to frame, the same picture once settled."""
    card = Card(WORKED, (320, 180), chain())
    frames = [card.frame(Fraction(n, 25)) for n in range(50)]
    assert (frames[0] == colours.GROUND).all()
    totals = [int(f.sum(dtype=np.int64)) for f in frames]
    assert totals == sorted(totals)
    settled = [f for n, f in enumerate(frames) if Fraction(n, 25) >= SETTLED_S]
    assert all((f == settled[0]).all() for f in settled)
    assert (settled[0] != frames[0]).any()
    steps = np.diff([f.mean() for f in frames])
    assert steps.max() < 0.1 * 255


def test_a_still_card_is_whole_at_once() -> None:
    """Without the fade the first frame is the settled one."""
    moving = Card(WORKED, (320, 180), chain())
    still = Card(WORKED, (320, 180), chain(), still=True)
    assert (still.frame(Fraction(0)) == moving.frame(Fraction(3))).all()


def test_a_settled_card_is_what_its_layers_say() -> None:
    """moviepy's composition equals laying the layers over the ground by hand, within one level."""
    size = (320, 180)
    frame = Card(WORKED, size, chain()).frame(Fraction(5)).astype(float)
    expected = np.empty((180, 320, 3))
    expected[:] = colours.GROUND
    for layer in card_layers(WORKED, size, chain()):
        share = layer[..., 3:] / 255
        expected = expected * (1 - share) + layer[..., :3] * share
    assert np.abs(frame - expected).max() <= 1.5


def test_planes_are_the_frame() -> None:
    """Planes are 4:2:0 of the frame (the ground by hand: 33.56, 131.58, 125.52); settled ones are kept."""
    card = Card(WORKED, (320, 180), chain())
    planes = card.planes(Fraction(3))
    assert [p.shape for p in planes] == [(180, 320), (90, 160), (90, 160)]
    assert card.planes(Fraction(4))[0] is planes[0]
    assert tuple(int(p[0, 0]) for p in planes) == (34, 132, 126)


@pytest.mark.parametrize("card", [WORKED, title_card(CASE), TitleCard("Only a title", ())])
def test_a_card_comes_up_in_the_film_as_it_was_composed(card: ClosingCard | TitleCard) -> None:
    """Made from the whole card alone, every picture is the composed one within two levels."""
    composed = Card(card, (640, 360), chain())
    coming = ComingUp(composed)
    for number in range(25):
        t = Fraction(number, 30)
        pairs = zip(coming.planes(t), composed.planes(t), strict=True)
        assert max(int(np.abs(a.astype(int) - b).max()) for a, b in pairs) <= 2
    assert coming.planes(Fraction(1))[0] is coming.planes(Fraction(2))[0]


def test_a_film_too_small_for_its_cards_is_refused() -> None:
    """The message says what to write."""
    with pytest.raises(InputError, match=r"60x40 pixels is too small .*height: 240"):
        Card(WORKED, (60, 40), chain())
    with pytest.raises(InputError, match=r"U\+13000"):
        Card(TitleCard("𓀀", ()), (640, 360), chain())
