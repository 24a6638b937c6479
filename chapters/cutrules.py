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
    ``back_most``; nothing is told after one brighter than ``dark_level``: washed out or fogged, nor
    where a light comes over one brighter than ``black_level``.

    Always another view: one side has less than ``flat_part`` of the other's contrast and a level
    from ``dark_level`` to ``flat_level_most``; the other has more than ``clear_contrast_least`` with
    structure in more than ``clear_detail_least`` of it, and steps by less than ``clear_step_most``.

    A jump within one view: ``jump_least`` evidence (see ``jumps.evidence``), ``doubt_more`` for
    each doubt (the recorder missed a picture, such steps come at equal distances, the mean level
    changes by more than ``unlit_levels``, less than ``doubt_detail_most`` of the view has
    structure), ``hole_more`` where many pictures are missing, or one is and things moved on as
    beside it but for ``astray_least`` (see strides.Stride); so much more of it as ``jump_scale`` is
    a full margin. Without a doubt ``jump_rest_least`` is enough where the pictures near by step by
    less than ``rest_step_most`` and the level changes by less than ``rest_levels_most``. None is
    one of two steps of light of more than ``unlit_levels`` that undo each other, as the ends of a
    flash do, unless the step is within ``burst_light_most`` and more than ``unlit_structure_most``
    of the structure is new; ``flash_levels_apart`` and ``flash_structure_apart`` how unlike the two
    ends of a short flash may be in levels, as a part, and in new structure. None is a step that
    another magnification explains, which matches by ``scaled_gain`` better, and by ``scaled_plain``
    where the step is alone: a turret or a zoom takes more than a frame, or leaves the view plainly
    the same. None is one whose levels are more than ``burst_lit_most`` for all new structure, that
    burns out more than ``jump_burnt_most`` of the view, or whose level changes by more than
    ``unburst_levels_most`` and nothing is new at once: a light. None is one that draws anew more
    than ``recoded_share_least`` of the view where less than ``recoded_farther_most`` of it went
    anywhere, or less than ``faint_structure_most`` of the structure where less than
    ``faint_farther_most`` went: a key picture.

    A view that came back was not swapped where more than ``burnt_most`` of it was burnt out; a
    burst over less than ``ticks_share_most`` of it may tick.

    No other view: less than ``cut_structure_least`` of the structure is new; or two steps that undo
    each other burn out more than ``lit_burnt_most`` of the view, or are as new as each other but
    for ``ends_apart_most`` and have less than ``lit_structure_most`` new structure and more than
    ``lit_levels_least`` levels for all of it; or have less than ``same_structure_most`` and change
    the levels by the same but for ``same_apart_most``. Two steps of more than
    ``bright_levels_least`` that change the level and make new by the same, but for it, count as if
    they undid each other, unless what is new of the structure differs by more than
    ``flash_structure_apart``.

    Neither another view nor a jump: one side is brighter than ``white_level`` with less contrast
    than ``white_contrast_most``; or over a view of a contrast below ``faint_contrast_most`` the
    levels change by ``faint_lit_least`` times that of the clearer side, and a contrast like it but
    for ``faint_apart_most`` is seen beyond. No jump is one of two ends of a light, as above, of
    more than ``bright_levels_least``, nor of one that takes the mean colour away by more than
    ``tinted_least`` levels and back but for ``tinted_apart_most``.

    A blend: ``mixed_weights`` of the evidence against it and ``mixed_most`` its sum; where a
    mixture leaves more than ``unmixed_misfit``, the sag misses the parabola by no more than
    ``unmixed_sag_most``. The later view's share rises by ``middle_least`` in the middle half; a
    side brighter than ``dark_level`` has structure in ``washed_detail_most`` of it. Unless a blend
    is plain, by a margin of ``plain_margin``, it needs a view that does not come back:
    ``blend_back_most``, ``blend_kept_most`` share of blocks found again; and no light of more than
    ``beside_levels`` goes on or off right beside it. ``plain_misfit_most`` of one that a cut inside
    it does not refute; ``fine_least`` of the fine detail stays. A side brighter than ``dark_level``
    whose contrast dips below ``dip_part`` of what it is soon before and after is fogged.
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
    unlit_levels: float = 6.0
    unlit_structure_most: float = 0.55
    flash_levels_apart: float = 0.25
    flash_structure_apart: float = 0.3
    jump_least: float = 0.8
    jump_rest_least: float = 0.3
    rest_step_most: float = 0.03
    rest_levels_most: float = 2.0
    jump_scale: float = 2.4
    doubt_more: float = 1.0
    hole_more: float = 4.0
    astray_least: float = 0.45
    doubt_detail_most: float = 0.5
    burst_light_most: float = 16.0
    burst_lit_most: float = 110.0
    jump_burnt_most: float = 0.1
    unburst_levels_most: float = 3.0
    recoded_share_least: float = 0.8
    recoded_farther_most: float = 0.05
    faint_structure_most: float = 0.13
    faint_farther_most: float = 0.1
    burnt_most: float = 0.14
    cut_structure_least: float = 0.33
    lit_burnt_most: float = 0.55
    lit_structure_most: float = 0.55
    lit_levels_least: float = 60.0
    ends_apart_most: float = 0.15
    same_structure_most: float = 0.4
    same_apart_most: float = 0.1
    tinted_least: float = 9.0
    tinted_apart_most: float = 0.25
    bright_levels_least: float = 22.0
    white_level: float = 220.0
    white_contrast_most: float = 1.5
    faint_contrast_most: float = 3.0
    faint_lit_least: float = 3.5
    faint_apart_most: float = 0.2
    flat_part: float = 0.08
    flat_level_most: float = 170.0
    clear_step_most: float = 0.1
    clear_contrast_least: float = 8.0
    clear_detail_least: float = 0.6
    ticks_share_most: float = 0.1
    dip_part: float = 0.4
    dark_level: float = 60.0
    black_level: float = 22.0
    mixed_weights: tuple[float, ...] = (34.0, 7.0, 1.6, 5.7, 4.6, 2.4, 5.9, 6.9, 0.53)
    mixed_most: float = 6.43
    unmixed_misfit: float = 1.2
    unmixed_sag_most: float = 0.035
    plain_margin: float = 1.75
    fine_least: float = 0.9
    blend_back_most: float = 0.45
    blend_kept_most: float = 0.6
    plain_misfit_most: float = 0.12
    middle_least: float = 0.06
    beside_levels: float = 12.0
    washed_detail_most: float = 0.15


#: The limits as tuned.
TUNED = CutRules()
