"""The overlay: what it says, where it stands, that it costs no honesty to keep what was drawn."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import numpy as np
import pytest

from annotate.picture.colours import U8
from annotate.picture.layout import Box, safe_area
from annotate.picture.overlay import (
    COUNT_UP_S,
    STAY_S,
    EventLine,
    Overlay,
    OverlayFace,
    counted,
    event_text,
)
from annotate.picture.plates import blend, prepare
from annotate.words import NOT_FOR_PUBLICATION
from chapters.errors import InputError
from tests.annotate.picture.drawn import (
    BOTH_EVENTS,
    SIZES,
    TITLES,
    chain,
    face,
    ground,
    need_scripts,
    noise,
)
from tests.annotate.picture.read_clock import read_clock


def touched(size_px: tuple[int, int], shown: OverlayFace, made: Overlay) -> Box:
    """The box of all pixels that drawing changes, on a mid-grey ground."""
    before = ground(size_px, (128, 128, 128))
    planes = tuple(plane.copy() for plane in before)
    made.draw(*planes, shown)
    changed = planes[0] != before[0]
    for i in (1, 2):
        grown = (planes[i] != before[i]).repeat(2, axis=0).repeat(2, axis=1)
        changed |= grown[: changed.shape[0], : changed.shape[1]]
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    return Box(
        int(columns[0]),
        int(rows[0]),
        int(columns[-1] - columns[0] + 1),
        int(rows[-1] - rows[0] + 1),
    )


def crop(plane: U8, box: Box | None) -> U8:
    """The pixels of a box."""
    assert box is not None
    return plane[box.y_px : box.bottom_px, box.x_px : box.right_px]


@pytest.mark.parametrize("size_px", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("title", ["Locate", "word " * 60], ids=["short", "300 characters"])
def test_everything_stays_in_the_safe_area(size_px: tuple[int, int], title: str) -> None:
    """With a long title, two events and the mark, no changed pixel leaves the safe area."""
    full = face(title=title, events=BOTH_EVENTS, mark=NOT_FOR_PUBLICATION)
    made = Overlay(size_px, chain())
    assert safe_area(*size_px).holds(touched(size_px, full, made))
    places = made.places(full)
    assert places.events, "the nearest event is always shown"
    boxes = [places.strip, *places.events]
    for one, other in itertools.pairwise([*boxes[1:], boxes[0]]):
        assert one.bottom_px <= other.y_px


@pytest.mark.parametrize("size_px", [s for s in SIZES if min(s) >= 200])
def test_the_middle_of_the_field_stays_free(size_px: tuple[int, int]) -> None:
    """The strip keeps to the lower 40 % at the left; an ordinary one to half the width."""
    made = Overlay(size_px, chain())
    strip = made.places(face(title="word " * 60, mark=NOT_FOR_PUBLICATION)).strip
    assert strip.y_px > 0.55 * size_px[1]
    assert strip.x_px == safe_area(*size_px).x_px
    if size_px[0] > size_px[1]:
        plain = made.places(face()).strip
        assert plain.right_px < 0.65 * size_px[0]


@pytest.mark.parametrize("size_px", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_the_clock_reads_back(size_px: tuple[int, int]) -> None:
    """An independent reader finds the clinical clock in the pixels, and the step's own clock."""
    made = Overlay(size_px, chain())
    times = [(0, 0), (725, 161), (3599, 599), (36000 + 754, 4000), (359999, 5)]
    for clock, step in times if size_px[0] >= 160 else times[:3]:
        shown = face(clock=clock, step_clock=step)
        y, u, v = ground(size_px, (255, 255, 255))
        made.draw(y, u, v, shown)
        places = made.places(shown)
        expected = f"{clock // 3600}:{clock // 60 % 60:02d}:{clock % 60:02d}"
        assert read_clock(crop(y, places.clock)) == expected


def test_a_clock_runs_down_not_up() -> None:
    """A running clock shows whole seconds that have passed."""
    size = (640, 360)
    made = Overlay(size, chain())
    shown = face(clock=Fraction(7259, 10), step_clock=Fraction(1619, 10))
    y, u, v = ground(size, (0, 0, 0))
    made.draw(y, u, v, shown)
    places = made.places(shown)
    assert read_clock(crop(y, places.clock)) == "0:12:05"
    assert read_clock(crop(y, places.step_clock)) == "2:41"


def test_what_was_drawn_before_leaves_no_trace() -> None:
    """Faces in any order give the same pixels as a fresh overlay gives: the memory only saves work."""
    size = (480, 270)
    rng = random.Random(5)
    kept = Overlay(size, chain())
    for _ in range(60):
        shown = face(
            clock=rng.choice([5, 65, 3605, 36005, 725]),
            step_clock=rng.choice([0, 59, 600, 3605]),
            speed=rng.choice(
                [Fraction(1), Fraction(8), Fraction(5, 2), Fraction(100), Fraction(1, 2)]
            ),
            title=rng.choice(["Locate", "Seal the floor of the chamber and check it with air"]),
            events=rng.choice([(), BOTH_EVENTS, BOTH_EVENTS[:1]]),
            mark=rng.choice(["", NOT_FOR_PUBLICATION]),
        )
        ours, fresh = noise(size), noise(size)
        kept.draw(*ours, shown)
        Overlay(size, chain()).draw(*fresh, shown)
        assert all((a == b).all() for a, b in zip(ours, fresh, strict=True)), shown


def test_pixels_and_planes_agree() -> None:
    """The patched RGBA picture of a strip, made ready anew, blends to the same planes."""
    size = (640, 360)
    made = Overlay(size, chain())
    made.draw(*noise(size), face(clock=1, speed=1))
    shown = face(clock=754, events=BOTH_EVENTS)
    one, other = noise(size), noise(size)
    made.draw(*one, shown)
    for box, rgba in made.rgba(shown):
        blend(*other, prepare(rgba), box.x_px, box.y_px)
    assert all((a == b).all() for a, b in zip(one, other, strict=True))


def test_figures_do_not_dance() -> None:
    """Every second of an hour puts its figures in the same cells of the same strip."""
    made = Overlay((1280, 720), chain())
    first = made.places(face(clock=0, step_clock=0))
    for clock in range(0, 3600, 97):
        places = made.places(
            face(clock=clock, step_clock=clock // 10, speed=Fraction(clock % 50 + 1))
        )
        assert (places.strip, places.clock_cells) == (first.strip, first.clock_cells)
    widths = {cell.width_px for i, cell in enumerate(first.clock_cells) if i not in (1, 4)}
    assert len(widths) == 1


def test_speed_and_hatch_show_only_when_time_is_not_real() -> None:
    """At 1x the place of the speed is bare plate; at 8x it has a figure and an orange hatch."""
    size = (1280, 720)
    made = Overlay(size, chain())
    fast, real = face(speed=8), face(speed=1)
    places = made.places(fast)
    assert places.speed is not None
    assert places.hatch is not None
    assert made.places(real).speed is None
    assert made.places(real).hatch is None
    for shown, marked in ((fast, True), (real, False)):
        y, u, v = ground(size, (0, 0, 0))
        made.draw(y, u, v, shown)
        assert bool(np.ptp(crop(y, places.speed)) > 60) is marked
        assert bool(np.ptp(crop(y, places.hatch)) > 60) is marked
        chroma = v[places.hatch.y_px // 2 : places.hatch.bottom_px // 2]
        orange = chroma[:, places.hatch.x_px // 2 : places.hatch.right_px // 2]
        assert bool(orange.max() > 150) is marked


def test_slow_motion_has_its_figure_but_no_fast_form() -> None:
    """Below 1x the speed is told in figures, without the form of fast time."""
    places = Overlay((640, 360), chain()).places(face(speed=Fraction(1, 2)))
    assert places.speed is not None
    assert places.hatch is None


def test_the_memory_is_bounded() -> None:
    """However many steps and events a film has, only the last few plates are kept."""
    made = Overlay((320, 180), chain())
    for n in range(60):
        made.places(
            face(title=f"step {n}", events=(EventLine(f"+0:{n:02d} not shown", "not_shown"),))
        )
    assert len(made._strips._held) <= 4
    assert len(made._events._held) <= 12


@pytest.mark.parametrize("script", TITLES)
@pytest.mark.parametrize("size_px", [(320, 180), (1280, 720)])
def test_titles_of_any_script_are_whole(script: str, size_px: tuple[int, int]) -> None:
    """The ink of a title on the strip is all the ink the font chain draws: no letter is cut."""
    title = TITLES[script]
    need_scripts(title)
    made = Overlay(size_px, chain())
    (_, bare), *_ = made.rgba(face(title=" "))
    (box, rgba), *_ = made.rgba(face(title=title))
    assert safe_area(*size_px).holds(box)
    light = rgba[..., :3].astype(int).min(axis=2) > 200
    assert not light[:2].any()
    assert not light[-2:].any()
    assert not light[:, :2].any()
    assert not light[:, -2:].any()
    assert light.sum() > (bare[..., :3].astype(int).min(axis=2) > 200).sum()


def test_a_character_without_a_font_stops_the_work() -> None:
    """The error names the character and the title."""
    with pytest.raises(InputError, match=r"U\+13000 EGYPTIAN HIEROGLYPH A001.*Cut 𓀀"):
        Overlay((640, 360), chain()).places(face(title="Cut 𓀀"))


def test_a_film_too_small_is_refused_in_words() -> None:
    """The message says what to write."""
    with pytest.raises(
        InputError, match="16x16 pixels is too small for the clock; write height: 240"
    ):
        Overlay((16, 16), chain())


def test_clocks_too_wide_for_the_film_are_refused() -> None:
    """A hundred hours on a film 112 pixels wide: said, not cut off."""
    with pytest.raises(InputError, match="too narrow for its clocks; write height: 240"):
        Overlay((112, 200), chain()).places(face(clock=360000, step_clock=360000))


def test_only_a_mark() -> None:
    """A face of nothing but the mark shows the mark, with no clock and no speed."""
    made = Overlay((640, 360), chain())
    places = made.places(OverlayFace(0, 0, "", None, None, mark="NOT FOR PUBLICATION"))
    assert (places.clock, places.step_clock, places.speed) == (None, None, None)
    assert places.strip.height_px < 40


def test_event_words() -> None:
    """Not shown, away, and why."""
    assert event_text("not_shown", Fraction(190)) == "+3:10 not shown"
    assert event_text("away", Fraction(60), "check radiograph") == "+1:00 away: check radiograph"
    assert event_text("away", Fraction(3725)) == "+1:02:05 away"
    assert event_text("not_shown", Fraction(3, 2)) == "+0:02 not shown"


def test_an_event_of_any_words_is_drawn() -> None:
    """A line without a leading length, and one that is only a length, are drawn as they are."""
    made = Overlay((640, 360), chain())
    for text in ("away", "+ 3 away", "+3:10", "+3:10 ", "עצירה +3:10"):
        assert made.places(face(events=(EventLine(text, "away"),))).events


def test_two_events_of_the_same_words_keep_their_own_lengths() -> None:
    """Two stretches not shown at once: each line shows its own length, as when drawn alone."""
    size = (640, 360)
    short, long = (EventLine(f"+0:0{n} not shown", "not_shown") for n in (5, 8))
    both = Overlay(size, chain()).rgba(face(events=(short, long)))
    for number, event in ((1, short), (2, long)):
        (_, _), (_, alone) = Overlay(size, chain()).rgba(face(events=(event,)))
        assert (both[number][1] == alone).all()
    y, u, v = ground(size, (60, 60, 60))
    made = Overlay(size, chain())
    made.draw(y, u, v, face(events=(short, long)))
    upper, lower = (crop(y, box) for box in made.places(face(events=(short, long))).events)
    assert (upper != lower).any()


def test_a_counting_event_keeps_its_plate() -> None:
    """While the figures run up, plate and words stand still; only the figures change."""
    made = Overlay((1280, 720), chain())
    plates = []
    for seconds in (0, 17, 35, 59):
        event = EventLine(event_text("away", Fraction(seconds), "check radiograph"), "away")
        plates.append(made.rgba(face(events=(event,)))[1])
    boxes = {box for box, _ in plates}
    assert len(boxes) == 1
    changed = np.zeros(plates[0][1].shape[:2], bool)
    for _, rgba in plates[1:]:
        changed |= (rgba != plates[0][1]).any(axis=2)
    columns = np.flatnonzero(changed.any(axis=0))
    assert columns.size
    assert columns[-1] - columns[0] < 0.2 * changed.shape[1]


def test_an_event_counts_up_then_stays_then_goes() -> None:
    """Half a second up to the whole length, two and a half seconds more, then nothing."""
    whole = Fraction(190)
    assert counted(whole, Fraction(-1, 100)) is None
    assert counted(whole, Fraction(0)) == 0
    assert counted(whole, Fraction(1, 4)) == 95
    assert counted(whole, COUNT_UP_S) == whole
    assert counted(whole, COUNT_UP_S + STAY_S - Fraction(1, 100)) == whole
    assert counted(whole, COUNT_UP_S + STAY_S) is None


def test_odd_planes_are_drawn_on() -> None:
    """A picture of odd size, its chroma rounded up, takes the overlay."""
    y, u, v = ground((161, 121), (90, 40, 40))
    Overlay((161, 121), chain()).draw(y, u, v, face(events=BOTH_EVENTS))
    assert np.ptp(y) > 100
