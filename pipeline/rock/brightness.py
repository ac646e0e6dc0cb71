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

from pipeline.grid import Grid, Heights, Mask
from pipeline.settings import RockSettings

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


def ground_brightness(counts: Mapping[str, Heights], grid: Grid, /, *, settings: RockSettings) -> Brightness:
    """Brightness of the ground and how bare it is, from the counts of the whole area.

    Nothing is known where intensity is missing or constant, or where too little of the area is vegetated to compare
    with: a survey of nothing but rock has no dark ground.

    Parameters
    ----------
    counts : (rows, cols) sums of the names in COUNTS
    """
    pulses, lone, shine = (_window(counts[name], grid, settings) for name in ("pulses", *COUNTS[:2]))
    with np.errstate(divide="ignore", invalid="ignore"):
        lone_ratio = np.where(pulses > 1e-6, np.minimum(lone / pulses, 1), 0).astype(np.float32)
        is_told = lone >= settings.brightness_min_returns_per_m2 * grid.cell_m**2
        mean = np.where(is_told, shine / lone, np.nan).astype(np.float32)
    met = pulses > 1e-6
    usual = float(np.median(pulses[met])) if met.any() else 1.0
    vegetated = np.isfinite(mean) & (lone_ratio < settings.vegetated_max_lone_ratio)
    ratio, spread_ratio = _beside_vegetated(mean, vegetated, grid, settings)
    return Brightness(ratio, lone_ratio, (pulses / usual).astype(np.float32), spread_ratio)


def _window(values: Heights, grid: Grid, settings: RockSettings) -> Heights:
    """Sum a cell, taken over the window."""
    sigma = settings.brightness_sigma_m / grid.cell_m
    smooth: Heights = ndimage.gaussian_filter(values.astype(np.float32), sigma, mode="constant")
    return smooth


def _beside_vegetated(mean: Heights, vegetated: Mask, grid: Grid, settings: RockSettings) -> tuple[Heights, float]:
    """Brightness as a ratio to that of vegetated ground around, and how much vegetated ground itself varies.

    Range and weather change over a survey, so the ground nearby decides, and the whole survey where little is near.
    """
    unknown = np.full(mean.shape, np.nan, np.float32)
    if vegetated.sum() * grid.cell_m**2 < settings.vegetated_min_area_m2:
        return unknown, float("nan")
    typical = float(np.median(mean[vegetated]))
    if typical <= 0:
        return unknown, float("nan")
    size = 2 * round(settings.brightness_reach_m / grid.cell_m) + 1
    share, shine = (
        ndimage.uniform_filter(values.astype(np.float32), size, mode="constant")
        for values in (vegetated, np.where(vegetated, mean / typical, 0))
    )
    survey = settings.brightness_survey_share
    ratio: Heights = (mean / typical / ((shine + survey) / (share + survey))).astype(np.float32)
    spread_ratio = 1.4826 * float(np.median(np.abs(ratio[vegetated] - 1)))
    varies = spread_ratio > settings.brightness_min_spread_ratio
    return (ratio, spread_ratio) if varies else (unknown, float("nan"))
