"""How bright the ground is beside the vegetated ground of the same survey, and how much of it is seen bare.

Intensity has no unit that two surveys share, so it is only ever compared within one. At the 1064 nm of most airborne
scanners living plants and dry litter reflect 0.4 to 0.6 of the light, granite 0.2 to 0.35 and lava 0.1 to 0.2 (from
memory, no source at hand): rock is dark. At 1550 nm, and of light limestone or lichen, that does not hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import cells_times_as_wide

COUNTS = ("lone_ground_returns", "lone_ground_intensity_sum", "pulses")
"""Grids of counts that `ground_brightness` reads."""


@dataclass(frozen=True)
class Brightness:
    """What the pulses tell of the ground's surface, (rows, cols) each.

    Attributes
    ----------
    ratio : brightness of the ground beside that of vegetated ground around; NaN where unknown
    lone_ratio : share of pulses that end on the ground as their only return; 0 where no pulse came back
    pulse_ratio : pulses that came back, beside the survey's usual number
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


@dataclass(frozen=True)
class UsualGround:
    """What is usual in a survey, once for the whole area: what no field can tell from itself alone.

    Attributes
    ----------
    pulses : that come back from a cell and its window, the median
    brightness : of vegetated ground, the median; NaN where too little of it was seen
    spread_ratio : as in `Brightness`
    """

    pulses: float
    brightness: float
    spread_ratio: float


def ground_brightness(counts: Mapping[str, Heights], grid: Grid, /, *, usual: UsualGround | None = None) -> Brightness:
    """Brightness of the ground and how bare it is, from counts of returns.

    Nothing is known where intensity is missing or constant, or where too little of the area is vegetated to compare
    with: a survey of nothing but rock has no dark ground.

    Parameters
    ----------
    counts : (rows, cols) sums of the names in COUNTS
    usual : of the area, as `usual_ground` finds it; without it, of these counts
    """
    usual = usual_ground([(counts, grid, grid)], grid) if usual is None else usual
    pulses, lone_ratio, mean = _seen(counts, grid)
    ratio = np.full(mean.shape, np.nan, np.float32)
    if np.isfinite(usual.spread_ratio):
        ratio = _beside_vegetated(mean, _is_vegetated(mean, lone_ratio), usual.brightness, grid.cell_m)
    return Brightness(ratio, lone_ratio, (pulses / usual.pulses).astype(np.float32), usual.spread_ratio)


def _seen(counts: Mapping[str, Heights], grid: Grid) -> tuple[Heights, Heights, Heights]:
    """Pulses, the share of lone ground returns, and the mean intensity of these (NaN where unknown), windowed."""
    pulses, lone, shine = (_window(counts[name], grid) for name in ("pulses", *COUNTS[:2]))
    with np.errstate(divide="ignore", invalid="ignore"):
        lone_ratio = np.where(pulses > MET, np.minimum(lone / pulses, 1), 0).astype(np.float32)
        is_told = lone >= MIN_RETURNS_PER_M2 * grid.cell_m**2
        mean = np.where(is_told, shine / lone, np.nan).astype(np.float32)
    return pulses, lone_ratio, mean


def _is_vegetated(mean: Heights, lone_ratio: Heights) -> Mask:
    return np.asarray(np.isfinite(mean) & (lone_ratio < VEGETATED_MAX_LONE_RATIO))


MET = 1e-6
"""A window with a smaller share of a pulse is one that no pulse came back from."""
WINDOW_SIGMA_M = 1.5
"""Sigma of the window that brightness is taken over: its 28 m2 hold enough returns even at one a square metre, and are
an eighth of the smallest bare rock (our choice)."""


def _window(values: Heights, grid: Grid) -> Heights:
    """(rows, cols) mean over the window of the sums of its cells."""
    sigma = WINDOW_SIGMA_M / grid.cell_m
    filled = np.nan_to_num(values.astype(np.float32))
    return gaussian(filled, sigma, rim="constant")


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


SAMPLE_M = 4.0
"""One cell in a square of this side tells what is usual, so that the figures of a large area fit into memory. Windows
are as wide as that, so that no more would be told by more cells (our choice)."""
REACH_OF_WINDOW_M = 8.0
"""Metres around a part of the area that have to be given with it: the window reaches four times its sigma."""


def usual_ground(parts: Iterable[tuple[Mapping[str, Heights], Grid, Grid]], whole: Grid, /) -> UsualGround:
    """What is usual in an area, from one cell in every square of `SAMPLE_M`.

    Parameters
    ----------
    parts : counts, the grid they lie on, and which part of it is looked at; these parts cover the area together
        Given one by one, only one need be in memory. Counts reach `REACH_OF_WINDOW_M` beyond the part looked at.
    whole : grid of the area
    """
    times = max(1, round(SAMPLE_M / whole.cell_m))
    coarse = cells_times_as_wide(whole, times)
    pulses, lone_ratio, mean = (np.full(coarse.shape, np.nan, np.float32) for _ in range(3))
    for counts, part, own in parts:
        rows, cols = _sampled(own, times)
        into = np.ix_(coarse.north_row - 1 - rows // times, cols // times - coarse.west_col)
        place = np.ix_(part.north_row - 1 - rows, cols - part.west_col)
        for sample, values in zip((pulses, lone_ratio, mean), _seen(counts, part), strict=True):
            sample[into] = values[place]
    met = pulses > MET
    usual_pulses = float(np.median(pulses[met])) if met.any() else 1.0
    vegetated = _is_vegetated(mean, lone_ratio)
    unknown = UsualGround(usual_pulses, float("nan"), float("nan"))
    if vegetated.sum() * coarse.cell_m**2 < VEGETATED_MIN_AREA_M2:
        return unknown
    brightness = float(np.median(mean[vegetated]))
    if brightness <= 0:
        return unknown
    ratio = _beside_vegetated(mean, vegetated, brightness, coarse.cell_m)
    spread_ratio = 1.4826 * float(np.median(np.abs(ratio[vegetated] - 1)))
    return UsualGround(usual_pulses, brightness, spread_ratio) if spread_ratio > MIN_SPREAD_RATIO else unknown


def _sampled(part: Grid, times: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows (northwards) and columns (eastwards) on the lattice of the cells of a part that are sampled."""
    rows = np.arange(part.north_row - part.rows, part.north_row)
    cols = np.arange(part.west_col, part.west_col + part.cols)
    middle = times // 2
    return rows[rows % times == middle], cols[cols % times == middle]


def _beside_vegetated(mean: Heights, vegetated: Mask, usual: float, cell_m: float) -> Heights:
    """Brightness as a ratio to that of vegetated ground around.

    Range and weather change over a survey, so the ground nearby decides, and the whole survey where little is near.
    """
    size = 2 * round(REACH_M / cell_m) + 1
    share, shine = (
        square_mean(values.astype(np.float32), size, rim="constant")
        for values in (vegetated, np.where(vegetated, mean / usual, 0))
    )
    ratio: Heights = (mean / usual / ((shine + SURVEY_SHARE) / (share + SURVEY_SHARE))).astype(np.float32)
    return ratio
