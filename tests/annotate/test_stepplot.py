"""The step-time plot: every kind of time in its colour and form, all texts apart from each other."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from annotate.picture.colours import AWAY, EXPECTED, FAST, NOT_SHOWN, PAPER, REAL, RGB
from annotate.picture.fonts import FontChain
from annotate.plan import Plan
from annotate.stepdraw import draw_plot, step_times_png
from annotate.stepparts import AWAY_INK, SOFT, WIDTH_PX, Label, Plot, expectation_words
from annotate.stepplot import plan_plot
from annotate.words import CAUTIONS, NOT_FOR_PUBLICATION
from tests.annotate.reports import drawn_plan, worked_plan

LONG = "Locate the second mesial canal under the dentine shelf, then follow it with a fine file"
TITLES = (
    "Isolate",
    LONG,
    "איתור הנקב בקרקעית הכותרת",
    "قياس طول القناة",
    "根管長の測定と電子的根尖位置検出",
)


@pytest.fixture(scope="module")
def chain() -> FontChain:
    """The film's own fonts."""
    return FontChain()


def planned(plan: Plan, chain: FontChain, notice: str = "") -> Plot:
    """The layout of a plan's plot."""
    return plan_plot(plan.rows, plan.ledger, chain, title=plan.case.title, notice=notice)


def box(label: Label, chain: FontChain) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a label's ink, as it is drawn."""
    ink = chain.draw(label.text, label.size_px, label.weight)
    shift = {"left": 0.0, "right": ink.advance_px, "middle": ink.advance_px / 2}[label.anchor]
    left = label.x - shift + ink.left_px
    top = label.baseline + ink.top_px
    return left, top, left + ink.mask.shape[1], top + ink.mask.shape[0]


@pytest.mark.parametrize(
    ("count", "away", "unit"),
    [(1, 0, 1), (1, 1, 3), (3, 0, 60), (8, 2, 1), (8, 9, 1), (25, 7, 1), (40, 30, 1)],
)
def test_no_text_covers_another_or_leaves_the_plot(
    chain: FontChain, count: int, away: int, unit: int
) -> None:
    """From one step to forty, in five scripts, all words lie apart and inside."""
    for seed in range(3):
        plan = drawn_plan(
            count, TITLES, seed=seed, away=away, title=LONG + ", " + LONG, unit_s=Fraction(unit)
        )
        plot = planned(plan, chain, NOT_FOR_PUBLICATION)
        boxes = [(label.text, box(label, chain)) for label in plot.labels if label.text.strip()]
        for text, (left, top, right, bottom) in boxes:
            assert left >= 8, text
            assert right <= WIDTH_PX - 8, text
            assert top >= 0, text
            assert bottom <= plot.height, text
        for (one, a), (two, b) in combinations(boxes, 2):
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, f"{one!r} and {two!r} overlap"


def test_every_word_that_matters_is_on_the_plot(chain: FontChain) -> None:
    """Title, steps, speed, the verdicts, the reason for time away, the cautions, the notice."""
    plan = worked_plan()
    plot = planned(plan, chain, NOT_FOR_PUBLICATION)
    texts = [label.text for label in plot.labels]
    for wanted in (
        "A worked case", "Open", "Clean", "Wait", "Close", "8×", "not shown", "5:50 in the room",
        "0:10 longer than expected", "0:10 shorter than expected", "as expected (0:30–1:30)",
        "1:40 away: check radiograph", NOT_FOR_PUBLICATION,
    ):  # fmt: skip
        assert wanted in texts
    assert all(caution in " ".join(texts) for caution in CAUTIONS)


@pytest.mark.parametrize("away", [1, 4, 9, 30])
def test_no_time_away_goes_unnamed(chain: FontChain, away: int) -> None:
    """However many there are, each time away has its length and its reason on the plot."""
    plan = drawn_plan(6, TITLES, away=away)
    texts = " ".join(label.text for label in planned(plan, chain).labels)
    for i in range(away):
        assert f"away: radiograph {i + 1}" in texts


def test_bars_lie_on_clinical_time_and_leave_nothing_out(chain: FontChain) -> None:
    """In the first lane every clinical second has its bar: the widths add up to the whole case."""
    plan = worked_plan()
    plot = planned(plan, chain)
    top = min(bar.top for bar in plot.bars if bar.top > plot.time_top)
    whole = [bar for bar in plot.bars if bar.top == top]
    seconds = {form: 0.0 for form in ("real", "fast", "not_shown", "away")}
    left = min(bar.left for bar in whole)
    right = max(bar.left + bar.width for bar in whole)
    for bar in whole:
        seconds[bar.form] += bar.width / (right - left) * 350
    expected = {"real": 120, "fast": 60, "not_shown": 70, "away": 100}
    assert seconds == pytest.approx(expected, abs=0.01)


def near(picture: NDArray[np.uint8], colour: RGB, within: int = 10) -> NDArray[np.bool_]:
    """Where the picture has the colour."""
    return np.asarray(np.abs(picture.astype(int) - colour).max(axis=2) <= within)


def test_each_kind_of_time_has_its_colour_where_it_belongs(chain: FontChain) -> None:
    """Read from pixels: solid blue, striped orange, an empty dotted outline, posts with a gap."""
    plan = worked_plan()
    plot = planned(plan, chain)
    picture = draw_plot(plot, chain)
    lanes = [bar for bar in plot.bars if bar.top > plot.lanes[0]]
    share = {}
    for bar in lanes:
        rows = slice(round(2 * bar.top) + 4, round(2 * (bar.top + bar.height)) - 4)
        columns = slice(round(2 * bar.left) + 4, round(2 * (bar.left + bar.width)) - 4)
        inside = picture[rows, columns]
        colour = {"real": REAL, "fast": FAST, "not_shown": NOT_SHOWN, "away": AWAY}[bar.form]
        share.setdefault(bar.form, []).append(float(near(inside, colour).mean()))
    assert min(share["real"]) > 0.99
    assert 0.25 < min(share["fast"]) <= max(share["fast"]) < 0.65
    assert max(share["not_shown"]) < 0.02
    assert max(share["away"]) < 0.25
    for bracket in plot.brackets:
        middle = round(bracket.left + bracket.right)
        assert near(picture, EXPECTED)[round(2 * bracket.top) + 16, middle]


def test_faster_steps_have_a_denser_hatch(chain: FontChain) -> None:
    """A row of pixels through the bar meets more stripes at 32x than at 4x."""
    plan = worked_plan()
    plot = planned(plan, chain)
    fast = next(bar for bar in plot.bars if bar.form == "fast" and bar.top > plot.lanes[0])
    counts = []
    for speed in (2, 4, 8, 32):
        bar = type(fast)("fast", 200, 600, 400, 22, Fraction(speed))
        picture = draw_plot(Plot(height=720, bars=[bar]), chain)
        row = near(picture, FAST, 40)[1222, 410:1190]
        counts.append(int((np.diff(row.astype(int)) == 1).sum()))
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]


def test_the_file_is_a_wide_png_that_reads_back(tmp_path: Path) -> None:
    """2560 pixels wide, RGB, paper in the corner, and not twice the size of a slide's picture."""
    plan = worked_plan()
    path = tmp_path / "step-times.png"
    step_times_png(path, plan.rows, plan.ledger, title="A worked case")
    with Image.open(path) as picture:
        assert picture.mode == "RGB"
        assert picture.size == (2560, 1440)
        assert picture.getpixel((3, 1430)) == PAPER
        assert not picture.info.keys() & {"Author", "Software", "Creation Time"}
    assert path.stat().st_size < 400_000


def luminance(colour: RGB) -> float:
    """Relative luminance, WCAG 2.2."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in np.array(colour) / 255
    ]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def test_words_stand_out_from_the_paper(chain: FontChain) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for every colour of words, and of the notice on its plate."""
    plot = planned(worked_plan(), chain, NOT_FOR_PUBLICATION)
    used = {label.colour for label in plot.labels}
    assert {SOFT, AWAY_INK} < used
    for colour in used - {PAPER}:
        assert (luminance(PAPER) + 0.05) / (luminance(colour) + 0.05) >= 4.5
    on_plate = [label for label in plot.labels if label.colour == PAPER]
    assert on_plate
    for label in on_plate:
        left, top, right, bottom = box(label, chain)
        plate = plot.plates[0]
        assert plate[0] <= left and right <= plate[0] + plate[2]
        assert plate[1] <= top and bottom <= plate[1] + plate[3]


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (10, 20, "0:40 longer than expected"),
        (60, 60, "as expected (1:00–1:00)"),
        (61, 70, "0:01 shorter than expected"),
        (Fraction(602, 10), 90, "just shorter than expected"),
    ],
)
def test_words_about_the_range(low: Fraction, high: Fraction, words: str) -> None:
    """A colleague's words: how much outside the range, or that it was as expected."""
    from dataclasses import replace

    from chapters.case import Expect

    row = replace(worked_plan().rows[0], expect=Expect(Fraction(low), Fraction(high)))
    assert row.clinical_length == 60
    assert expectation_words(row) == words
    assert expectation_words(replace(row, expect=None)) == ""
