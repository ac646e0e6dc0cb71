"""Single trees and bushes in open land, each worth a symbol of its own."""

from __future__ import annotations

from dataclasses import dataclass, fields

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely.geometry import Point

from pipeline.features import make_features, no_features
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.windows import highest_around
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.open_land import LONE_CROWN_MAX_M2

TREE_CONFIDENCE = 0.9
"""How likely a large tree (417) that is drawn is one and stands in the open. So did the three that are drawn in four
made scenes, by their truth, and the three in an invented sample and a real forest, by eye; the rules below were fitted
on two of the scenes (moraine, farmland), where none is drawn. So few tell no more than nine in ten."""
BUSH_CONFIDENCE = 0.6
"""The same of a bush or small tree (418): our choice, as but one was left to look at."""
IN_SIGHT_M = 15.0
"""Ground around a crown, in metres, that must be open for the tree to stand out: the tree is seen from as far as two
crowns away. Our choice."""
LEAST_OPEN_RATIO = 0.6
"""Share of that ground that must be open land. In two made scenes trees in forest had up to 0.5, those in the open 0.7
and more (drawn as 417 and 418)."""
ALONE_M = 10.0
"""Ground around a crown, in metres, in which little else may grow half as high: a bush in a hedge is part of the hedge.
Our choice."""
MOST_TREES_RATIO, MOST_BUSHES_RATIO = 0.1, 0.03
"""Share of that ground on which as high growth may stand, around a large tree and around a bush. Pieces of hedges had
0.05 and more (farmland), trees in the open up to 0.09 (four made scenes)."""
LEAST_CROWN_M2 = 3.0
"""Smaller crowns are posts, wires or noise (common practice, no source)."""
LEAST_PULSES = 6
"""Pulses that a crown must have met: of fewer it cannot be told whether they met a crown at all, and how wide it is. In
a survey of one pulse on 5 m2 every cell with an echo above the ground was a bush (our choice)."""
CROWN_THROUGH_RATIO = 0.05
"""A crown lets at least this share of the pulses through to the ground; a boulder lets none (our choice)."""
TOP_REACH_M = 2.5
"""A tree's top is the highest place so far around itself: the radius of a small crown. Smaller, one crown has several
tops; larger, two trees have one (our choice)."""
SYMBOL_M = isom("417").ground_m("length_mm")
"""Width of 417 on the ground. Trees are drawn no nearer to each other, or their rings would overlap; 418 is narrower,
but is held to it as well."""


@dataclass(frozen=True)
class SingleTrees:
    """Trees and bushes that stand by themselves, one value each.

    Attributes
    ----------
    place : (n, 2) east, north of the highest point; of a copse, of the middle of its crown
    height_m, crown_m : (n,) height above ground, diameter of a circle as large as the crown
    n_tops : (n,) tops in the crown: two or three together are a copse
    through_ratio : (n,) share of the pulses within the crown that reached the ground: a boulder lets none through
    """

    place: EastNorth
    height_m: NDArray[np.float64]
    crown_m: NDArray[np.float64]
    n_tops: NDArray[np.int64]
    through_ratio: NDArray[np.float64]

    def take(self, which: Mask | NDArray[np.intp], /) -> SingleTrees:
        """Some of them."""
        return SingleTrees(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


def draw_trees(
    canopy_height: Heights,
    pulses: Heights,
    reached_ground: Heights,
    where: Mask,
    grid: Grid,
    /,
    *,
    bush_least_height_m: float,
    large_tree_height_m: float,
) -> gpd.GeoDataFrame:
    """Single trees (417), and bushes or small trees (418), as features.

    Parameters
    ----------
    canopy_height : (rows, cols) metres above ground
    pulses, reached_ground : (rows, cols) pulses, and those that ended on the ground
    where : (rows, cols) open land that is not drawn with scattered trees
    bush_least_height_m, large_tree_height_m : where 418 and 417 begin
    """
    found = single_trees(canopy_height, pulses, reached_ground, where, grid, least_height_m=bush_least_height_m)
    most_growth = np.where(found.height_m >= large_tree_height_m, MOST_TREES_RATIO, MOST_BUSHES_RATIO)
    found = found.take(stands_out(found, canopy_height, where, grid, most_growth_ratio=most_growth))
    keep = keep_apart(found.place, found.height_m, least_m=SYMBOL_M)
    if not len(keep):
        return no_features(grid.crs)
    height, crown = found.height_m[keep], found.crown_m[keep]
    is_large = height >= large_tree_height_m
    return make_features(
        [Point(place) for place in found.place[keep]],
        crs=grid.crs,
        symbol=["417" if large else "418" for large in is_large],
        confidence=np.where(is_large, TREE_CONFIDENCE, BUSH_CONFIDENCE),
        evidence=[
            f"{f'copse of {n} trees' if n > 1 else 'one tree'}, {h:.1f} m high, crown {c:.1f} m wide, "
            f"{t:.0%} of pulses through"
            for h, c, n, t in zip(height, crown, found.n_tops[keep], found.through_ratio[keep], strict=True)
        ],
        height_m=height,
        width_m=crown,
    )


def single_trees(
    canopy_height: Heights,
    pulses: Heights,
    reached_ground: Heights,
    where: Mask,
    grid: Grid,
    /,
    *,
    least_height_m: float,
) -> SingleTrees:
    """Crowns inside `where` that touch nothing larger.

    Parameters
    ----------
    canopy_height : (rows, cols) metres above ground
    pulses, reached_ground : (rows, cols) pulses, and those that ended on the ground
    where : (rows, cols) cells more than half of a crown must lie in
    least_height_m : lower plants are no crowns
    """
    is_crown = np.nan_to_num(canopy_height) >= least_height_m
    found, n_parts = ndimage.label(is_crown, structure=np.ones((3, 3)))
    parts = np.asarray(found, np.int64)
    index = np.arange(1, n_parts + 1)
    area_m2 = np.bincount(parts.ravel(), minlength=n_parts + 1)[1:] * grid.cell_m**2
    inside = ndimage.mean(where, parts, index) if n_parts else np.empty(0)
    n_pulses = ndimage.sum_labels(pulses, parts, index)
    through = _through(pulses, reached_ground, parts, index)
    fits = (area_m2 <= LONE_CROWN_MAX_M2) & (area_m2 >= LEAST_CROWN_M2) & (np.asarray(inside) > 0.5)
    keep = np.flatnonzero(fits & (through >= CROWN_THROUGH_RATIO) & (n_pulses >= LEAST_PULSES))
    top = ndimage.maximum_position(np.nan_to_num(canopy_height), parts, index[keep]) if len(keep) else []
    row, col = np.array(top, np.int64).reshape(-1, 2).T
    middle = ndimage.center_of_mass(is_crown, parts, index[keep]) if len(keep) else []
    n_tops = _count_tops(canopy_height, parts, index[keep], cell_m=grid.cell_m)
    # One symbol stands for all trees of a copse, so it stands in their midst.
    down, across = np.where((n_tops > 1)[:, None], np.array(middle).reshape(-1, 2), np.column_stack((row, col))).T
    return SingleTrees(
        np.column_stack((grid.west_m + (across + 0.5) * grid.cell_m, grid.north_m - (down + 0.5) * grid.cell_m)),
        canopy_height[row, col].astype(np.float64),
        np.sqrt(area_m2[keep] * 4 / np.pi),
        n_tops,
        np.asarray(through)[keep],
    )


def _through(
    pulses: Heights, reached_ground: Heights, parts: NDArray[np.int64], index: NDArray[np.int64]
) -> NDArray[np.float64]:
    """(n,) share of the pulses on each crown that reached the ground, inside its outermost cells where that leaves any.

    Cells of its edge hold ground beside it as well, which makes a block of rock let pulses through.
    """
    inside = ndimage.binary_erosion(parts > 0, np.ones((3, 3), np.bool_))
    shares = []
    for cells in (inside, np.ones_like(inside)):
        met, reached = (ndimage.sum_labels(counts * cells, parts, index) for counts in (pulses, reached_ground))
        shares.append((met, reached / np.maximum(met, 1)))
    (met_inside, of_inside), (_, of_all) = shares
    return np.asarray(np.where(met_inside >= LEAST_PULSES, of_inside, of_all))


def stands_out(
    trees: SingleTrees,
    canopy_height: Heights,
    where: Mask,
    grid: Grid,
    /,
    *,
    most_growth_ratio: NDArray[np.float64],
) -> Mask:
    """(n,) which trees stand in open land, with nothing else as high around.

    What lies beyond the survey is not known to be open: the edge cuts a wood into what looks like single crowns.

    Parameters
    ----------
    canopy_height : (rows, cols) metres above ground
    where : (rows, cols) open land
    most_growth_ratio : (n,) share of the ground within ALONE_M on which growth half as high may stand
    """
    found = np.zeros(len(trees.place), np.bool_)
    for number, (east, north) in enumerate(trees.place):
        beyond_m = trees.crown_m[number] / 2
        reach_m = beyond_m + IN_SIGHT_M
        window = grid.window_around((east - reach_m, north - reach_m, east + reach_m, north + reach_m))
        easts, norths = grid.part(window).centres()
        away_m = np.hypot(easts[None, :] - east, norths[:, None] - north) - beyond_m
        # A cell beside the crown still holds leaves of it.
        in_sight, near = ((away_m > 1.0) & (away_m < around_m) for around_m in (IN_SIGHT_M, ALONE_M))
        growth = np.nan_to_num(canopy_height[window][near]) >= trees.height_m[number] / 2
        is_alone = growth.mean() <= most_growth_ratio[number]
        sight_m2 = np.pi * (reach_m**2 - (beyond_m + 1.0) ** 2)
        open_m2 = np.count_nonzero(where[window][in_sight]) * grid.cell_m**2
        found[number] = is_alone and open_m2 >= LEAST_OPEN_RATIO * sight_m2
    return found


def _count_tops(
    canopy_height: Heights, parts: NDArray[np.int64], index: NDArray[np.int64], *, cell_m: float
) -> NDArray[np.int64]:
    """Tops of each crown: highest places within TOP_REACH_M around."""
    smooth = gaussian(np.nan_to_num(canopy_height), 1 / cell_m, rim="nearest")
    is_top = (smooth == highest_around(smooth, round(TOP_REACH_M / cell_m))) & (parts > 0)
    # Cells of equal height side by side are one top.
    summit, n_summits = ndimage.label(is_top, structure=np.ones((3, 3)))
    owner = ndimage.maximum(parts, summit, np.arange(1, n_summits + 1)) if n_summits else np.empty(0, np.int64)
    tops = np.bincount(np.asarray(owner, np.int64), minlength=int(parts.max(initial=0)) + 1)
    return np.maximum(tops[index], 1).astype(np.int64)


def keep_apart(place: EastNorth, rank: NDArray[np.float64], /, *, least_m: float) -> NDArray[np.intp]:
    """Indices of places at least this far apart, the highest rank first; ties go to the more northern."""
    order = np.lexsort((place[:, 0], -place[:, 1], -rank))
    tree = cKDTree(place) if len(place) else None
    is_free = np.ones(len(place), np.bool_)
    chosen = []
    for i in order:
        if not is_free[i] or tree is None:
            continue
        chosen.append(i)
        is_free[tree.query_ball_point(place[i], least_m)] = False
    return np.array(sorted(chosen), np.intp)
