"""The limits by which a step of the picture is called a scene cut, all in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CutRules:
    """The limits of the decision, tuned on one part of the benchmark's corpus (tests/bench).

    Matches run from -1 unlike to 1 alike (see looks.Look). Another view: ``across_most`` block
    match over the step, ``drop_least`` how much lower it is than on either side, ``back_most`` best
    match of the second before with what follows (``echo_back_most`` where another step as large is
    near; ``either_most`` for its two parts apart), ``landmarks_least`` common landmarks and
    ``scaled_most`` match at another magnification that make it the same view, ``levels_least``
    change in levels that shows. After a blank stretch ``blank_back_most`` takes the place of
    ``back_most``, and ``bright_back_most`` where the stretch is brighter than ``dark_level``:
    washed out or fogged.

    A jump within one view: ``torn_least`` and ``torn_usual`` share of torn blocks, ``held_least``
    what stays of the tear, ``alone_least`` the step over those near by (at most ``alone_most``
    times that counts; times the gap before it over the usual one or that of ``usual_fps``, at most
    ``gap_most``), ``torn_alone_least`` the same of the torn blocks, ``jump_levels_least`` and
    ``torn_levels_usual`` how much those change in levels, ``jump_least`` the product of all over
    their limits. ``jump_light_most`` is how much the whole picture's level may change unless
    ``torn_most`` of the blocks are torn, and by more than half of that; ``jump_elsewhere_most`` how
    much levels may change where nothing is torn; ``unlit_levels`` the steps of light that two ends
    of a flash undo, unless the step is within ``burst_light_most`` and more than
    ``unlit_structure_most`` of the structure is new; ``flash_levels_apart`` and
    ``flash_structure_apart`` how unlike the two ends of a short flash may be in levels, as a part,
    and in new structure; ``scaled_gain`` how much better another magnification may match, and
    ``scaled_plain`` how well it must where the step is alone: a turret or a zoom takes more than a
    frame, or leaves the view plainly the same.

    A jump by what is new at once: ``burst_weights`` of the logarithms of the burst's levels, of
    those per block, of its structure, of the newness of the whole view over that near by, of the
    burst over others near by, and of the gap before it, each at most ``burst_most``;
    ``burst_least`` their sum; ``burst_structure_least`` and ``burst_light_most`` keep light out: a
    burst has so much new structure and changes the whole picture's level by no more
    (``lone_light_most`` where the step is alone and burns nothing out), and its levels by no more
    than ``burst_lit_most`` for all new structure. No jump in one view changes
    the new blocks by more than ``burst_levels_most`` levels in the mean, save where no more than
    ``glare_burnt_most`` of the view is burnt out, nor tears more than ``torn_burst_most`` of the
    view without a burst. A view that came back was not swapped where more than ``burnt_most`` of it
    was burnt out; a burst over less than ``ticks_share_most`` of it may tick.

    No other view: less than ``cut_structure_least`` of the structure is new; or two steps that undo
    each other, as new as each other but for ``ends_apart_most``, burn out more than
    ``lit_burnt_most`` of the view, or have less than ``lit_structure_most`` new structure and more
    than ``lit_levels_least`` levels for all of it.

    A jump by what changed at once, the same way: ``stir_weights`` of the logarithms of the stir's
    levels, of those per block, of its structure, of the change of the whole view and of the blocks
    alone over that near by, and of the gap before it, each kept within ``stir_range``;
    ``stir_redrawn`` of what no light explains; ``stir_least`` their sum.

    A jump by how far things went at once, the same way: ``stride_weights`` of the logarithms of the
    share of the view that went farther than near by, of its own movement in pixels, of what is not
    found again there, of what is plainly lost, of the stir's levels and the change of the whole view
    and of the blocks alone, and of the gap before it, each kept within ``stride_range``;
    ``stride_least`` their sum, in a stir over no less than ``stride_share_least`` of the view.

    A blend: ``mixed_weights`` of the evidence against it and ``mixed_most`` its sum; where a mixture
    leaves more than ``unmixed_misfit``, the sag misses the parabola by no more than
    ``unmixed_sag_most``. Unless a blend is plain, by a margin of ``plain_margin``, it needs a view
    that does not come back: ``blend_back_most``, ``blend_kept_most`` share of blocks found again.
    ``plain_misfit_most`` of one that a cut inside it does not refute; ``fine_least`` of the fine
    detail stays. A side brighter than ``dark_level`` whose contrast dips below ``dip_part`` of what
    it is soon before and after is fogged.
    """

    across_most: float = 0.65
    drop_least: float = 0.20
    back_most: float = 0.45
    echo_back_most: float = 0.36
    either_most: float = 0.60
    landmarks_least: int = 5
    scaled_most: float = 0.40
    scaled_gain: float = 0.15
    scaled_plain: float = 0.8
    levels_least: float = 5.0
    blank_back_most: float = 0.50
    torn_least: float = 0.03
    torn_usual: float = 0.17
    torn_most: float = 0.5
    held_least: float = 0.33
    alone_least: float = 1.8
    torn_alone_least: float = 2.0
    alone_most: float = 8.0
    torn_levels_usual: float = 10.0
    usual_fps: float = 25.0
    gap_most: float = 10.0
    unlit_levels: float = 6.0
    unlit_structure_most: float = 0.55
    flash_levels_apart: float = 0.25
    flash_structure_apart: float = 0.3
    jump_least: float = 2.0
    jump_levels_least: float = 4.0
    jump_light_most: float = 12.0
    jump_elsewhere_most: float = 10.0
    burst_weights: tuple[float, ...] = (0.85, 1.75, 2.5, 2.25, 0.75, -3.3)
    burst_most: tuple[float, ...] = (3.0, 8.0, 0.6, 8.0, 30.0, 10.0)
    burst_least: float = 7.0
    burst_structure_least: float = 0.17
    burst_light_most: float = 16.0
    lone_light_most: float = 24.0
    burst_levels_most: float = 42.0
    burst_lit_most: float = 110.0
    torn_burst_most: float = 0.3
    burnt_most: float = 0.14
    glare_burnt_most: float = 0.02
    cut_structure_least: float = 0.33
    lit_burnt_most: float = 0.55
    lit_structure_most: float = 0.53
    lit_levels_least: float = 90.0
    ends_apart_most: float = 0.15
    stir_weights: tuple[float, ...] = (1.3, 0.6, 3.0, 3.3, -3.4, -2.2)
    stir_range: tuple[tuple[float, float], ...] = (
        (0.1, 4.0),
        (0.3, 10.0),
        (0.02, 1.0),
        (0.3, 10.0),
        (0.3, 10.0),
        (1.0, 10.0),
    )
    stir_redrawn: float = 6.6
    stir_least: float = 1.3
    stride_weights: tuple[float, ...] = (0.7, 0.9, -3.7, 1.3, 0.7, 1.6, -2.2, -2.2)
    stride_range: tuple[tuple[float, float], ...] = (
        (0.01, 1.0),
        (0.1, 1.1),
        (0.04, 0.36),
        (0.005, 0.08),
        (0.19, 3.6),
        (1.1, 5.2),
        (3.0, 7.3),
        (1.0, 10.0),
    )
    stride_least: float = -1.1
    stride_share_least: float = 0.1
    ticks_share_most: float = 0.1
    dip_part: float = 0.4
    dark_level: float = 60.0
    bright_back_most: float = 0.25
    mixed_weights: tuple[float, ...] = (34.0, 7.0, 1.6, 5.7, 4.6, 2.4, 5.9, 6.9, 0.53)
    mixed_most: float = 6.43
    unmixed_misfit: float = 1.2
    unmixed_sag_most: float = 0.035
    plain_margin: float = 1.75
    fine_least: float = 0.9
    blend_back_most: float = 0.45
    blend_kept_most: float = 0.6
    plain_misfit_most: float = 0.12


#: The limits as tuned.
TUNED = CutRules()
