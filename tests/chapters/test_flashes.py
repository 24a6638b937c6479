"""Steps of light against steps of view: what the numbers of both ends of a flash say.

The numbers are those of flashes and cuts met in the corpus of the bench (tests/bench/corpus.py, part
tune), rounded.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import numpy as np
import pytest

from chapters.cutrules import TUNED, CutRules
from chapters.looks import Burst, Look
from chapters.scenecuts import find_cuts
from chapters.signals import SignalReader
from chapters.stirs import Stir
from chapters.strides import Stride
from tests.looks import look_at

BLOCKS = np.ones((9, 16), np.bool_)


def step(at_s: int, level_step: float, **changes: float) -> Look:
    """One step at a second: another view, or much that is new in the same one, but for the changes."""
    burst = Burst(
        levels=changes.pop("levels", 60.0),
        share=1.0,
        alone=20.0,
        whole=8.0,
        structure=changes.pop("structure", 0.7),
        burnt=changes.pop("burnt", 0.0),
        held=1.0,
        blocks=BLOCKS,
    )
    look = look_at(
        F(at_s),
        level_step,
        across=0.45,
        before=0.98,
        after=0.98,
        step=0.7,
        step_before=0.01,
        step_after=0.01,
        torn_levels=8.0,
        held=1.0,
        back=0.25,
        back_plain=0.25,
        landmarks=2,
        scaled=0.2,
        levels=25.0,
        burst=burst,
    )
    return replace(look, **changes)  # type: ignore[arg-type]


#: Every step is told as a jump that no rule keeps from being one.
EVERY = replace(TUNED, jump_least=-50.0)


def told(
    *looks: Look,
    undone: bool = True,
    rules: CutRules = TUNED,
    contrast: tuple[float, float, float] = (100.0, 100.0, 100.0),
    level: float = 100.0,
) -> list[tuple[F, str]]:
    """The cuts told of these looks in ten seconds; two of them undo each other.

    ``contrast`` before second 3, up to second 5 and after it; mean ``level`` between.
    """
    if undone and len(looks) == 2:
        apart = looks[1].at - looks[0].at
        looks = tuple(replace(look, undone_s=apart) for look in looks)
    times = tuple(F(n, 30) for n in range(300))
    full = np.full(300, 100, np.float32)
    steps, change = np.full(300, 0.01, np.float32), np.full(300, 0.1, np.float32)
    for look in looks:
        steps[look.index], change[look.index] = look.step, look.levels
    signals = replace(SignalReader().finish(F(10)), times=times, looks=looks)
    between = np.array([F(3) <= at < F(5) for at in times])
    clear = np.array([contrast[(at >= 3) + (at >= 5)] for at in times], np.float32)
    levels = np.where(between, level, 100).astype(np.float32)
    signals = replace(signals, level=levels, detail=full / 100, step=steps, contrast=clear)
    return [(c.at, c.kind) for c in find_cuts(replace(signals, change=change), rules)]


def test_two_cuts_that_take_back_each_other_are_told() -> None:
    """Away and back: as new as a view is, and as bright."""
    assert told(step(3, 40), step(5, -40)) == [(F(3), "cut"), (F(5), "cut")]


@pytest.mark.parametrize(
    ("levels", "structure", "burnt"),
    [
        (64.0, 0.65, 0.58),  # white, burnt out over half of a view that moves meanwhile
        (44.0, 0.42, 0.22),  # a white disc of two seconds
        (52.0, 0.50, 0.0),  # a blue disc
        (43.0, 0.53, 0.0),  # a glow over a view that has hardly any structure
    ],
)
@pytest.mark.parametrize(
    "brighter", [40.0, 2.0]
)  # the camera's gain drawn back as far as the light is up
def test_two_ends_of_a_light_are_no_cuts(
    levels: float, structure: float, burnt: float, brighter: float
) -> None:
    """Lit far more than new: the view has moved on behind the light, and nothing was cut."""
    same = {"levels": levels, "structure": structure, "burnt": burnt}

    assert told(step(3, brighter, **same), step(5, -brighter, **same)) == []


def test_two_ends_that_burn_out_most_of_a_view_need_not_be_as_new_as_each_other() -> None:
    """Half a view in white for three seconds: what was to be seen in it when it came was not when it went."""
    on = step(3, 46, levels=64, structure=0.37, burnt=0.59)
    off = step(5, -54, levels=81, structure=0.6, burnt=0.6)
    less = replace(off, burst=replace(off.burst, burnt=0.2)) if off.burst else off

    assert told(on, off) == []
    assert told(on, less) == [(F(3), "cut"), (F(5), "cut")]


def test_a_light_over_a_view_of_hardly_any_contrast_is_no_cut() -> None:
    """All that is seen in it is the light, new as a view is."""
    on, off = (replace(step(at, lit), levels=33.0) for at, lit in ((3, 29), (5, -28)))
    both = [(F(3), "cut"), (F(5), "cut")]

    assert told(on, off, undone=False, contrast=(1.0, 3.6, 1.1)) == []
    assert told(on, off, undone=False, contrast=(1.0, 10.0, 1.1)) == both  # as much as a view has
    assert told(on, off, undone=False, contrast=(4.0, 3.6, 4.1)) == both  # no faint view
    assert (
        told(on, off, undone=False, contrast=(1.0, 3.6, 7.0)) == both
    )  # and it does not come back


def test_a_light_that_comes_up_over_a_view_of_hardly_any_contrast_is_no_jump() -> None:
    """Half of it in the first frame: not yet another view, but as much too bright for what is seen."""
    within = {"across": 0.85, "back": 0.7, "back_plain": 0.6}
    on = replace(step(3, 1, **within), levels=35.0, burst=None)

    assert told(on, rules=EVERY, contrast=(0.5, 7.0, 0.5)) == []
    assert told(on, rules=EVERY, contrast=(0.5, 7.0, 3.0)) == [(F(3), "stop")]


@pytest.mark.parametrize(("black", "kinds"), [(16.0, ["stop"]), (54.0, [])])
def test_a_light_after_a_dim_view_without_structure_is_no_cut(
    black: float, kinds: list[str]
) -> None:
    """A view that the lamp hardly lights counts as blank; a recorder's black may come again, and is a stop."""
    after = replace(step(3, -60, back=0.15), levels=38.0, blank_s=F(2), blank_level=black)

    assert [kind for _, kind in told(after, contrast=(0.2, 8.0, 0.2))] == kinds


def test_a_step_into_white_is_no_cut() -> None:
    """A light that burns out all of the view; a white slide has contrast, and a grey wall is no light."""
    both = [(F(3), "cut"), (F(5), "cut")]

    assert told(step(3, 40), step(5, -40), level=230, contrast=(12.0, 0.7, 12.0)) == []
    assert told(step(3, 40), step(5, -40), level=230, contrast=(12.0, 4.0, 12.0)) == both
    assert told(step(3, 40), step(5, -40), level=150, contrast=(12.0, 0.7, 12.0)) == both


@pytest.mark.parametrize(("levels", "kinds"), [(31.0, []), (16.0, ["stop", "stop"])])
def test_two_ends_of_a_bright_light_are_no_jumps(levels: float, kinds: list[str]) -> None:
    """A glow over half a view; of some 1,000 jumps two that undo each other made 16 levels new at most."""
    within = {"across": 0.85, "back": 0.7, "back_plain": 0.6, "levels": levels, "structure": 0.25}
    on, off = step(3, 1, **within), step(5, -1, **within)
    loose = replace(EVERY, burst_lit_most=200.0)

    assert [kind for _, kind in told(on, off, rules=loose)] == kinds


def test_two_cuts_between_views_alike_in_level_are_told() -> None:
    """Half of the structure new as at a light, but few levels for it: 22 for all of it, where lights had 81."""
    same = {"levels": 12.0, "structure": 0.53}

    assert told(step(3, 2, **same), step(5, -2, **same)) == [(F(3), "cut"), (F(5), "cut")]


def test_a_light_that_goes_just_as_it_came_is_no_cut() -> None:
    """Half a view in white: faint, and more of the structure new at one end, where the view moved on."""
    on, off = (
        step(at, lit, levels=22.0, structure=new) for at, lit, new in ((3, 46, 0.16), (5, -45, 0.4))
    )
    unlike = replace(off, level_step=-35.0)

    assert told(on, off) == []
    assert (F(5), "cut") in told(on, unlike)


@pytest.mark.parametrize(
    ("light", "levels", "structure", "said"),
    [
        (49.5, 48.4, 0.5, []),  # half a view in blue, which moved on for half a second
        (35.0, 48.4, 0.5, ["cut", "cut"]),  # not as bright
        (49.5, 30.0, 0.5, ["cut", "cut"]),  # not as much of it
        (49.5, 48.4, 0.75, ["cut", "cut"]),  # another view, and a lamp some time before
    ],
)
def test_two_bright_steps_just_like_each_other_are_one_light_though_nothing_is_seen_to_come_back(
    light: float, levels: float, structure: float, said: list[str]
) -> None:
    """What the view had come to behind the light is not what it was before it."""
    on = step(3, -51, levels=49.2, structure=0.42)
    off = step(5, light, levels=levels, structure=structure)

    assert [kind for _, kind in told(on, off, undone=False)] == said


@pytest.mark.parametrize(("light", "said"), [(-43.2, []), (-20.0, ["stop", "stop"])])
def test_a_light_over_a_view_all_but_black_is_no_jump(light: float, said: list[str]) -> None:
    """A disc over a globe at night: as new as another view, and as new when it goes."""
    within = {"across": 0.7, "back": 0.7, "back_plain": 0.13, "structure": 0.68}
    on, off = step(3, 43.2, levels=47, **within), step(5, light, levels=46.9, **within)

    assert [kind for _, kind in told(on, off, undone=False, rules=EVERY)] == said


@pytest.mark.parametrize(
    ("tint", "said"),
    [
        ((-13.8, 4.0), []),  # a blue disc of four seconds over a dark view
        ((-6.0, 2.0), ["stop", "stop"]),  # not as blue
        ((13.8, 4.0), ["stop", "stop"]),  # bluer still
        ((float("nan"), float("nan")), ["stop", "stop"]),  # a recording without colour
    ],
)
def test_two_ends_of_a_coloured_light_are_no_jumps(
    tint: tuple[float, float], said: list[str]
) -> None:
    """Hardly brighter, and as new as what jumps: its colour comes and goes."""
    within = {"across": 0.75, "back": 0.56, "back_plain": 0.44, "levels": 7.4, "structure": 0.44}
    on = replace(step(3, 3, **within), tint_step=(12.5, -4.5))
    off = replace(step(5, -3, **within), tint_step=tint)

    assert [kind for _, kind in told(on, off, rules=EVERY)] == said


def test_a_cut_into_a_light_is_told() -> None:
    """One step new as a view is, the other only lit: no two ends of one flash."""
    lit = {"levels": 50.0, "structure": 0.1}

    assert (F(3), "cut") in told(step(3, 40), step(5, -40, **lit))


def test_a_step_with_hardly_any_new_structure_is_no_cut() -> None:
    """Of 655 cuts none had less than 0.34; the end of a pale light over half a view had 0.21."""
    assert told(step(3, 40, structure=0.35)) == [(F(3), "cut")]
    assert told(step(3, 40, structure=0.21)) == []


def test_a_burst_of_levels_without_structure_is_no_jump() -> None:
    """In one view: of 488 jumps none had over 88 levels for all new structure, lit discs 140 and more."""
    within = {"across": 0.85, "back": 0.7, "back_plain": 0.6}

    few, many = (step(3, 0.5, levels=n, structure=0.25, **within) for n in (20.0, 35.0))

    assert told(few, rules=EVERY) == [(F(3), "stop")]
    assert told(many, rules=EVERY) == []


def test_a_step_that_burns_out_a_tenth_of_the_view_is_no_jump() -> None:
    """A white disc that goes out; of 841 jumps told within one view none burnt out over 0.08."""
    within = {"across": 0.85, "back": 0.7, "back_plain": 0.6, "levels": 20.0}

    assert told(step(3, 0.5, burnt=0.08, **within), rules=EVERY) == [(F(3), "stop")]
    assert told(step(3, 0.5, burnt=0.12, **within), rules=EVERY) == []


def test_a_change_of_level_that_makes_nothing_new_at_once_is_no_jump() -> None:
    """A light that comes up within a few frames; of 18 jumps without a burst none changed it by 2."""
    within = {"across": 0.85, "back": 0.7, "back_plain": 0.6}
    faint, lit = (replace(step(3, by, **within), burst=None) for by in (1.0, -4.0))

    assert told(faint, rules=EVERY) == [(F(3), "stop")]
    assert told(lit, rules=EVERY) == []


def test_a_light_that_another_step_takes_back_is_no_cut_where_nothing_is_new_at_once() -> None:
    """A pale disc over a view that moves: no burst at its end; the same alone may be a cut."""
    on, off = step(3, 12, structure=0.2), replace(step(5, -11), burst=None)

    assert told(on, off) == []
    assert told(off, undone=False) == [(F(5), "cut")]


@pytest.mark.parametrize(("level", "said"), [(20.0, "cut"), (200.0, None)])
def test_another_view_after_black_is_a_cut_and_after_white_none(
    level: float, said: str | None
) -> None:
    """What was washed out for an instant was lit, and what is lit looks otherwise."""
    after = replace(step(3, 0.5, back=0.15), blank_s=F(1, 6), blank_level=level)

    assert [kind for _, kind in told(after)] == ([said] if said else [])


@pytest.mark.parametrize(
    ("share", "structure", "farther", "said"),
    [
        (1.0, 0.3, 0.4, 1),  # all of it changed, and much of it went somewhere
        (1.0, 0.3, 0.0, 0),  # a key picture after a coarse one
        (0.4, 0.3, 0.06, 1),
        (0.4, 0.1, 0.06, 0),  # a key picture of a view at rest: hardly any structure is new
    ],
)
def test_a_view_drawn_anew_where_it_was_is_no_jump(
    share: float, structure: float, farther: float, said: int
) -> None:
    """What jumps in time is found elsewhere; what only looks otherwise where it was has not."""
    within = {"across": 0.85, "back": 0.9, "back_plain": 0.9, "levels": 8.0}
    stir = Stir(levels=2.0, share=share, structure=0.2, whole=9.0, own=9.0, redrawn=0.2, held=1.0)
    look = replace(
        step(3, 0.5, structure=structure, **within),
        stir=stir,
        stride=Stride(farther=farther, own_px=0.1, unlike=0.2, lost=0.01, astray=1.0),
    )

    assert len(told(look, rules=EVERY)) == said


def test_the_first_and_the_last_pictures_show_no_jump() -> None:
    """A fifth of a second from either end of ten seconds: nobody knows what is usual there."""
    within = {"across": 0.85, "back": 0.7, "back_plain": 0.6}
    for at, said in ((F(1, 10), 0), (F(1), 1), (F(9), 1), (F(99, 10), 0)):
        look = replace(step(3, 0.5, **within), at=at, index=int(at * 30))

        assert len(told(look, rules=EVERY)) == said


def test_two_ends_of_a_short_light_over_a_small_part_are_no_jumps() -> None:
    """Alike in levels and in new structure, the light the other way; unlike ends are two jumps."""
    lit = {"across": 0.78, "back": 0.97, "back_plain": 0.98}
    on, off = (
        replace(
            step(3, light, levels=20.0, structure=0.5, **lit),
            at=at,
            index=int(at * 30),
            stir=Stir(
                levels=4.0,
                share=0.4,
                structure=structure,
                redrawn=0.2,
                whole=8.0,
                own=6.0,
                held=1.0,
            ),
        )
        for at, light, structure in ((F(3), 12.0, 0.55), (F(16, 5), -10.0, 0.60))
    )
    other = replace(off, levels=40.0)

    assert told(on, off, undone=False, rules=EVERY) == []
    assert told(on, other, undone=False, rules=EVERY) == [(F(3), "stop"), (F(16, 5), "stop")]


def test_three_faint_jumps_in_a_row_are_something_that_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A tip that trembles; two may be jumps, and so may three plain ones."""
    looks = [step(at, 0.5, across=0.85, back=0.7) for at in (2, 4, 6)]
    monkeypatch.setattr("chapters.scenecuts.jump", lambda *_: 0.6)  # a confidence of 0.79

    assert told(*looks[:2], undone=False) == [(F(2), "stop"), (F(4), "stop")]
    assert told(*looks) == []

    monkeypatch.setattr("chapters.scenecuts.jump", lambda *_: 1.5)
    assert [kind for _, kind in told(*looks)] == ["stop"] * 3
