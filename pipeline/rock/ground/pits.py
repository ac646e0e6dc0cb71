"""Rocky pits 203.1: steep little hollows, too steep for earth to stand."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import reconstruction

from pipeline.features import make_features, no_features
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.windows import highest_around, lowest_around
from pipeline.norm.symbols import isom
from pipeline.rock.ground.stony import Floats

HOLLOW_M = 0.3
"""Depth of water from which cells belong to a hollow: less stands in any uneven ground (our choice)."""
MIN_WIDTH_M = 1.5
"""Narrower hollows are left out: the norm's symbol is three times as wide (our choice)."""
MAX_WIDTH_M = 5.0
"""Wider ones are drawn as cliffs: ISOM 2017-2, 203.1."""
MIN_SLOPE_DEG = 60.0
"""Least slope of the walls: loose soil lies at 30 to 40 degrees, and soil held by roots hardly stands steeper (our
choice)."""
NOT_ONE_PULSE = 3
"""The depth is that of the third deepest cell with a ground return: one stray return below the ground, or an echo of
two, makes a hollow as steep (our choice)."""
MOST_CONFIDENCE, MANY_CELLS = 0.4, 10
"""Confidence in a rocky pit with at least so many cells with a ground return in its lower half; less with fewer. It is
low because a steep little hollow may be an earth pit 112. Not measured, for want of a survey with mapped rocky pits."""


def find_rocky_pits(bare_earth: Heights, ground_support: Heights, grid: Grid, /) -> gpd.GeoDataFrame:
    """Points 203.1: closed hollows deeper than a metre, under 5 m wide, with walls too steep for earth."""
    known = np.isfinite(bare_earth) & (ground_support <= 2 * grid.cell_m)
    if not known.any():
        return no_features(grid.crs)
    depth = _little_hollows(bare_earth, known, grid)
    labels, n = ndimage.label(depth > HOLLOW_M)
    index = np.arange(1, n + 1)
    deepest, n_cells = _by_returns(depth, labels, ground_support <= grid.cell_m / 2, n)
    width = np.sqrt(ndimage.sum_labels(np.ones_like(depth), labels, index) * 4 / np.pi) * grid.cell_m
    steep = 2 * deepest / np.maximum(width, grid.cell_m) >= np.tan(np.radians(MIN_SLOPE_DEG))
    fits = (width >= MIN_WIDTH_M) & (width <= MAX_WIDTH_M)
    is_pit = (deepest >= isom("203.1").smallest.height_m) & fits & steep
    if not is_pit.any():
        return no_features(grid.crs)
    centre = np.array(ndimage.center_of_mass(depth * (labels > 0), labels, index[is_pit])).reshape(-1, 2)
    east = (centre[:, 1] + grid.west_col + 0.5) * grid.cell_m
    north = (grid.north_row - 0.5 - centre[:, 0]) * grid.cell_m
    return make_features(
        [shapely.Point(e, n) for e, n in zip(east, north, strict=True)],
        crs=grid.crs,
        symbol="203.1",
        confidence=MOST_CONFIDENCE * np.minimum(n_cells[is_pit] / MANY_CELLS, 1),
        evidence=[
            f"hollow {d:.1f} m deep and {w:.1f} m wide with steep walls; at least {k} ground returns in its lower half"
            for d, w, k in zip(deepest[is_pit], width[is_pit], n_cells[is_pit], strict=True)
        ],
        height_m=-deepest[is_pit],
        width_m=width[is_pit],
    )


def _by_returns(
    depth: Floats, labels: NDArray[np.signedinteger], holds: Mask, n: int
) -> tuple[Floats, NDArray[np.int64]]:
    """(n,) depth of each hollow by the ground returns in it, and how many cells hold one in the lower half of it."""
    deepest, n_cells = np.zeros(n), np.zeros(n, np.int64)
    for number, window in enumerate(ndimage.find_objects(labels, n)):
        own = np.sort(depth[window][(labels[window] == number + 1) & holds[window]])
        if len(own) >= NOT_ONE_PULSE:
            deepest[number] = own[-NOT_ONE_PULSE]
            n_cells[number] = (own >= own[-NOT_ONE_PULSE] / 2).sum()
    return deepest, n_cells


def _little_hollows(bare_earth: Heights, known: Mask, grid: Grid) -> Floats:
    """(rows, cols) metres of water that would stand in hollows narrower than a rocky pit may be; 0 elsewhere.

    Water is poured only around places that a closing as wide as the widest pit lifts: no other holds such a pit, and
    filling a whole survey takes longer than all its cliffs.
    """
    # Water runs out into what was not seen: a hollow counts only where its whole rim was.
    heights = np.where(known, bare_earth, np.min(bare_earth[known]) - 1).astype(np.float64)
    half_side = math.ceil(MAX_WIDTH_M / 2 / grid.cell_m)
    lifted = lowest_around(highest_around(heights, half_side), half_side) - heights
    reach = 2 * half_side + 1
    least_m = isom("203.1").smallest.height_m - HOLLOW_M
    deep = (known & (lifted > least_m)).astype(np.uint8)
    labels, n = ndimage.label(highest_around(deep, reach))
    depth = np.zeros_like(heights)
    for label, window in enumerate(ndimage.find_objects(labels, n), start=1):
        here = labels[window] == label
        depth[window][here] = _water_depth(heights[window], known[window])[here]
    return depth


def _water_depth(heights: Floats, known: Mask) -> Floats:
    """(rows, cols) metres of water that stands where it cannot run out over the edge or into what was not seen."""
    seed = np.where(known, heights.max() + 1, heights)
    seed[0], seed[-1], seed[:, 0], seed[:, -1] = heights[0], heights[-1], heights[:, 0], heights[:, -1]
    filled = reconstruction(seed, heights, method="erosion")  # type: ignore[no-untyped-call]
    return np.asarray(filled, np.float64) - heights
