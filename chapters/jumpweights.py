"""What each measure of a step is worth as evidence for a jump in time within one view.

The weights are those of a logistic regression with squares, fitted by ``tests/bench/fit_jumps.py`` on
the benchmark's recordings made for tuning. Nobody writes them by hand: change what is measured in
``jumpsigns``, and fit again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Weight:
    """What one measure is worth: ``weight`` times it and ``square`` times its square.

    Of the measure itself or, ``log``, of its logarithm, kept between ``least`` and ``most``, which
    all but a few jumps are; ``unknown`` where nothing could be measured.
    """

    log: bool
    least: float
    most: float
    weight: float
    square: float
    unknown: float

    def worth(self, value: float) -> float:
        """What a measure adds to the evidence: log odds."""
        if math.isnan(value):
            return self.unknown
        formed = math.log(max(value, 1e-3) + 0.01) if self.log else value
        seen = min(max(formed, self.least), self.most)
        return self.weight * seen + self.square * seen * seen


#: The evidence of nothing measured.
CONSTANT = 0.8945

#: What each measure of a step is worth.
WEIGHTS: Mapping[str, Weight] = {
    "back": Weight(False, 0.1866, 0.993, -1.423, 2.076, 0.3951),
    "level_step": Weight(True, -3.447, 2.74, 0.02606, -0.01487, 0.005496),
    "levels": Weight(True, 0.1361, 3.685, -0.488, -0.1412, -1.392),
    "step": Weight(True, -3.412, 0.09673, 0.6758, -0.03065, -1.353),
    "step_after": Weight(True, -4.51, -1.34, -0.0855, -0.09548, -0.4809),
    "torn_levels": Weight(True, -4.51, 3.501, 0.318, 0.1284, 1.177),
    "gap": Weight(True, 0.00995, 0.6196, -3.801, -7.826, -0.03859),
    "burst_held": Weight(False, 0.6788, 1, 4.339, 1.059, 4.695),
    "burst_levels": Weight(True, -1.081, 3.379, 1.813, 0.0135, -1.129),
    "burst_share": Weight(False, 0.09722, 1, -0.9427, 1.159, -0.1878),
    "burst_whole": Weight(True, 0.5861, 4.881, -0.3363, -0.03258, -0.53),
    "stir_held": Weight(False, 0.3732, 1.411, -3.101, 0.4758, -2.842),
    "stir_levels": Weight(True, -1.438, 3.114, 0.7367, -0.2614, -0.2734),
    "stir_own": Weight(True, 1.106, 3.022, -0.5309, -0.39, -1.816),
    "stir_redrawn": Weight(False, 0.09904, 0.8464, 2.652, 0.6304, 0.8325),
    "stir_share": Weight(False, 0.04861, 0.9931, -2.501, -0.6797, -0.3418),
    "stir_whole": Weight(True, 0.2547, 2.845, 0.4428, 0.2902, 0.1316),
    "stride_farther": Weight(True, -3.734, 0.00995, -0.5075, -0.1539, -0.3873),
    "stride_lost": Weight(True, -4.51, -0.6894, 1.696, -0.1108, -7.283),
    "stride_own_px": Weight(True, -2.162, 1.185, -0.3504, -0.3426, 0.04239),
    "stride_unlike": Weight(True, -2.865, -0.05359, -0.7732, 1.044, 3.787),
    "near_step": Weight(True, -4.51, 0.0535, -0.3791, -0.0303, 0.364),
    "near_burst": Weight(True, -4.51, 4.054, -0.2889, -0.02545, 0.3015),
    "near_stir": Weight(True, -4.51, 4.137, 0.1671, 0.02509, 0.1523),
    "change_over_12": Weight(True, 0.3804, 3.159, 1.122, 0.06844, 0.4368),
    "step_over_12": Weight(True, 0.4619, 4.352, 0.04898, 0.1492, 0.05446),
    "change_near_12": Weight(True, -2.356, 1.652, -0.4007, -0.5073, -1.038),
    "thirds_12": Weight(True, -3.087, -0.5484, 0.2487, -0.3945, -0.255),
    "change_over_30": Weight(True, -0.02807, 2.672, 1.433, -0.08637, -0.0403),
    "step_over_30": Weight(True, 0.2317, 4.158, 1.304, -0.2483, 0.2888),
    "change_near_30": Weight(True, -2.315, 1.664, -1.59, -0.05781, -1.778),
    "thirds_30": Weight(True, -2.824, -0.1852, -0.01959, -0.5109, -0.0139),
    "change_over_70": Weight(True, -3.387, 2.091, -0.6515, 0.2866, 0.4452),
    "step_over_70": Weight(True, -1.762, 3.827, 0.5114, 0.2058, -0.2126),
    "change_near_70": Weight(True, -2.169, 1.958, -0.006271, 0.1073, 0.1356),
    "thirds_70": Weight(True, -2.285, 3.16, -0.03949, -0.3552, -0.06914),
    "change_over_100": Weight(True, -3.429, 2.031, 0.7296, 0.0196, -0.6401),
    "step_over_100": Weight(True, -2.13, 3.799, 0.6, 0.1734, -0.352),
    "change_near_100": Weight(True, -2.129, 2.008, 1.185, -4.89e-05, 1.388),
    "thirds_100": Weight(True, -2.152, 3.427, -0.1084, -0.01511, -0.08182),
}
