"""Small depressions 111 and pits 112."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.features import make_features
from pipeline.landform.shapes.bumps import (
    Bumps,
    best_of_each_place,
    find_bumps,
)
from pipeline.landform.shapes.carried import Carried, carried, describe, height_shown_m, likelihood, worth_drawing
from pipeline.landform.shapes.closed import closed_m
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import sample
from pipeline.norm.symbols import isom

HOLLOW_RADII_M = (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0)
"""Sizes of hollow looked for, from the middle to the rim; larger ones have contours of their own (our choice)."""
MIN_HOLLOW_DEPTH_M = 0.75 * isom("111").smallest.height_m
"""Depth in the bare earth of the shallowest hollow: smoothing fills up to a quarter of a small hollow that has the
metre the norm asks of depressions and pits alike (our choice)."""
ROOT_PIT_M, MIN_NARROW_DEPTH_M = 3.2, 0.95 * isom("111").smallest.height_m
"""A hollow narrower than this half way down must be as deep as that: torn up roots leave pits as wide as their plate, 2
to 4 m at the brink, and 0.3 to 0.8 m deep (our choice)."""
MIN_HOLLOW_EVIDENCE = 2.3
"""Least product of likeness and contrast of a hollow: what just passes in both is unevenness (fitted on the scene
hard_moraine, where a true one reaches 2.4 and the best of the false ones that fail by this alone 2.2)."""
MIN_CLOSED_M = 0.75 * isom("111").smallest.height_m
"""Metres of a hollow that must be closed for a contour to go around it, smoothing granted: such a hollow may be less
round, or stand out less from restless ground, and needs no more than the three constants below."""
MIN_CLOSED_EVIDENCE, MIN_CLOSED_CONTRAST, MIN_CLOSED_LIKENESS = 1.3, 2.5, 0.33
"""Least product of likeness and contrast of such a hollow, and least of each (fitted on the scenes hard_moraine and
hard_karst, where they draw five more, all true, and held against eight other scenes, where they draw nothing new)."""
STEEPEST_HOLLOW_DEG = 55.0
"""Hollows with steeper sides are stray returns below the ground: earth holds 50 degrees at most, with roots in it
(common practice, no source)."""


def find_hollows(
    bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, min_contrast: float, min_likeness: float
) -> tuple[Bumps, Carried]:
    """Hollows a few metres across, on level ground and on slopes.

    One stray return below the ground makes a hollow too, and so does a knoll whose top nobody saw; it takes several
    returns at the bottom to believe it.

    Parameters
    ----------
    min_contrast : float
        Depth over the usual unevenness round about that a hollow must have.
    min_likeness : float
        Share of its shape that one rounded hollow must explain.

    Returns
    -------
    Bumps, one a hollow, whose `height_m` is its depth, and what ground returns say of each.
    """
    every_one = find_bumps(
        bare_earth,
        grid,
        upward=False,
        radii_m=HOLLOW_RADII_M,
        min_height_m=MIN_HOLLOW_DEPTH_M,
        min_contrast=min(min_contrast, MIN_CLOSED_CONTRAST),
        min_likeness=min(min_likeness, MIN_CLOSED_LIKENESS),
    )
    closed = closed_m(every_one.places, every_one.radius_m, bare_earth, grid, upward=False)
    is_clear = (every_one.contrast >= min_contrast) & (every_one.likeness >= min_likeness)
    hollows = best_of_each_place(every_one.where(is_clear | _is_closed(every_one, closed)))
    is_sure = hollows.likeness * hollows.contrast >= MIN_HOLLOW_EVIDENCE
    is_sure |= _is_closed(hollows, closed_m(hollows.places, hollows.radius_m, bare_earth, grid, upward=False))
    # What single returns say is asked last, and of few: it takes the longest.
    hollows = hollows.where(is_sure & (hollows.side_slope_deg <= STEEPEST_HOLLOW_DEG))
    returns = carried(hollows, bare_earth, ground_support, grid, upward=False)
    least_m = np.where(returns.half_width_m < ROOT_PIT_M, MIN_NARROW_DEPTH_M, MIN_HOLLOW_DEPTH_M)
    is_carried = (returns.height_m >= least_m) & (returns.n_cells >= MIN_CARRYING_CELLS)
    return hollows.where(is_carried), returns.where(is_carried)


def _is_closed(hollows: Bumps, closed: NDArray[np.float64], /) -> Mask:
    """(n,) bool: hollows so far closed that less of a shape makes them depressions."""
    return np.asarray((closed >= MIN_CLOSED_M) & (hollows.likeness * hollows.contrast >= MIN_CLOSED_EVIDENCE))


MIN_CARRYING_CELLS = 4
"""Cells with a ground return that must lie in the lower half of a hollow: fewer may be stray ones (our choice)."""
MIN_PIT_SIDE_DEG = 30.0
"""Steepest part of the sides from which a hollow is a pit (112); gentler ones are depressions (111). The norm says only
"steep" (our choice)."""


HOLLOW_LOG_ODDS = (1.28, 0.0, 0.5, 1.56, 0.0, 4.77, 1.77)
"""Weights of `pipeline.landform.shapes.carried.terms` in the log odds of a hollow: fitted by `python -m
tests.benchmarks.landform_shapes fit` to shapes planted in real hillsides and tiles, and to two made scenes of restless
moraine and karst and two of real hillsides, all named there. That of the returns that carry it is the least that we
allow (our choice)."""


def draft_hollows(
    bare_earth: Heights,
    ground_support: Heights,
    seen: Heights,
    grid: Grid,
    /,
    *,
    min_contrast: float,
    min_likeness: float,
) -> gpd.GeoDataFrame:
    """Hollows as points: 112 where the sides are steep and it is at most as wide as a pit may be, else 111.

    Parameters
    ----------
    min_contrast, min_likeness : float
        As `find_hollows` takes them.

    Returns
    -------
    GeoDataFrame of features with the depth as `height_m`, and `width_m`.
    """
    hollows, returns = find_hollows(
        bare_earth, ground_support, grid, min_contrast=min_contrast, min_likeness=min_likeness
    )
    is_worth = worth_drawing(hollows, returns, HOLLOW_LOG_ODDS)
    hollows, returns = hollows.where(is_worth), returns.where(is_worth)
    seen_there = np.nan_to_num(sample(seen, grid, hollows.places))
    # A mapper paces a hollow half way down, where it is about one radius wide; its rim is lost in the ground around.
    is_pit = (hollows.side_slope_deg >= MIN_PIT_SIDE_DEG) & (hollows.radius_m <= isom("112").max_width_m)
    return make_features(
        np.asarray(shapely.points(hollows.places), dtype=object),
        crs=grid.crs,
        symbol=np.where(is_pit, "112", "111").tolist(),
        confidence=likelihood(hollows, returns, seen_there, HOLLOW_LOG_ODDS),
        evidence=describe(hollows, returns, "deep"),
        height_m=height_shown_m(hollows, returns),
        width_m=2 * hollows.radius_m,
    )
