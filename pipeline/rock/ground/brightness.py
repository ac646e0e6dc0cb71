"""How bright the ground is beside the vegetated ground of the same survey, and how much of it is seen bare.

Intensity has no unit that two surveys share, so it is only ever compared within one. At the 1064 nm of most airborne
scanners living plants and dry litter reflect 0.4 to 0.6 of the light, granite 0.2 to 0.35 and lava 0.1 to 0.2 (from
memory, no source at hand): rock is dark. At 1550 nm, and of light limestone or lichen, that does not hold.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights, Mask

COUNTS = ("lone_ground_returns", "lone_ground_intensity_sum", "pulses")
"""Grids of counts that `ground_brightness` reads."""


@dataclass(frozen=True)
class Brightness:
    """What the pulses tell of the ground's surface, (rows, cols) each.

    Attributes
    ----------
    ratio : brightness of the ground beside that of vegetated ground around; NaN where unknown
    lone_ratio : share of pulses that end on the ground as their only return; 0 where no pulse came back
    pulse_ratio : pulses that came back, beside the survey's median
    spread_ratio : how much vegetated ground itself varies, robust standard deviation; NaN where intensity says nothing
    """

    ratio: Heights
    lone_ratio: Heights
    pulse_ratio: Heights
    spread_ratio: float

    @property
    def is_known(self) -> bool:
        """Whether the survey's intensity tells anything."""
        return bool(np.isfinite(self.spread_ratio))


MIN_RETURNS_PER_M2 = 0.2
"""Lone ground returns from which the brightness of a place is known; with fewer its window holds less than six, and
their mean tells nothing (our choice)."""
VEGETATED_MAX_LONE_RATIO = 0.7
"""Ground on which a smaller share of the pulses ends as an only return has plants on or over it, and other ground is
compared with it. Bare roads show 0.9 and more (measured)."""


def ground_brightness(counts: Mapping[str, Heights], grid: Grid, /) -> Brightness:
    """Brightness of the ground and how bare it is, from the counts of the whole area.

    Nothing is known where intensity is missing or constant, or where too little of the area is vegetated to compare
    with: a survey of nothing but rock has no dark ground.

    Parameters
    ----------
    counts : (rows, cols) sums of the names in COUNTS
    """
    pulses, lone, shine = (_window(counts[name], grid) for name in ("pulses", *COUNTS[:2]))
    with np.errstate(divide="ignore", invalid="ignore"):
        lone_ratio = np.where(pulses > 1e-6, np.minimum(lone / pulses, 1), 0).astype(np.float32)
        is_told = lone >= MIN_RETURNS_PER_M2 * grid.cell_m**2
        mean = np.where(is_told, shine / lone, np.nan).astype(np.float32)
    met = pulses > 1e-6
    usual = float(np.median(pulses[met])) if met.any() else 1.0
    vegetated = np.isfinite(mean) & (lone_ratio < VEGETATED_MAX_LONE_RATIO)
    ratio, spread_ratio = _beside_vegetated(mean, vegetated, grid)
    return Brightness(ratio, lone_ratio, (pulses / usual).astype(np.float32), spread_ratio)


WINDOW_SIGMA_M = 1.5
"""Sigma of the window that brightness is taken over: its 28 m2 hold enough returns even at one a square metre, and are
an eighth of the smallest bare rock (our choice)."""


def _window(values: Heights, grid: Grid) -> Heights:
    """(rows, cols) mean over the window of the sums of its cells."""
    sigma = WINDOW_SIGMA_M / grid.cell_m
    smooth: Heights = ndimage.gaussian_filter(values.astype(np.float32), sigma, mode="constant")
    return smooth


VEGETATED_MIN_AREA_M2 = 2500.0
"""Least vegetated ground of a survey: with less there is nothing to compare with, and intensity is not used. About ten
times the smallest bare rock (our choice)."""
REACH_M = 100.0
"""Half the side of the square in which vegetated ground is compared with: intensity changes with range and weather over
longer ways (our choice)."""
SURVEY_SHARE = 0.02
"""Share of vegetated ground in that square from which it counts for more than the vegetated ground of the whole survey
(our choice)."""
MIN_SPREAD_RATIO = 0.002
"""Vegetated ground that varies less than this has a constant for an intensity, which tells nothing: made scenes show
0.012, surveys 0.05 (measured)."""


def _beside_vegetated(mean: Heights, vegetated: Mask, grid: Grid) -> tuple[Heights, float]:
    """Brightness as a ratio to that of vegetated ground around, and how much vegetated ground itself varies.

    Range and weather change over a survey, so the ground nearby decides, and the whole survey where little is near.
    """
    unknown = np.full(mean.shape, np.nan, np.float32)
    if vegetated.sum() * grid.cell_m**2 < VEGETATED_MIN_AREA_M2:
        return unknown, float("nan")
    typical = float(np.median(mean[vegetated]))
    if typical <= 0:
        return unknown, float("nan")
    size = 2 * round(REACH_M / grid.cell_m) + 1
    share, shine = (
        ndimage.uniform_filter(values.astype(np.float32), size, mode="constant")
        for values in (vegetated, np.where(vegetated, mean / typical, 0))
    )
    ratio: Heights = (mean / typical / ((shine + SURVEY_SHARE) / (share + SURVEY_SHARE))).astype(np.float32)
    spread_ratio = 1.4826 * float(np.median(np.abs(ratio[vegetated] - 1)))
    varies = spread_ratio > MIN_SPREAD_RATIO
    return (ratio, spread_ratio) if varies else (unknown, float("nan"))
