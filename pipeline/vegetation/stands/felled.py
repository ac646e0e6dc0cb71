"""Felled areas: rough open land that the forest around it stands up against."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights
from pipeline.vegetation.areas.owners import burnt

ROUGH = ("403", "404")
"""Rough open land."""
LEAST_STAND_M = 10.0
"""Forest worth felling is at least this high (common practice, no source)."""
STRIP_M = (4.0, 10.0)
"""How far from the open land the strip begins and ends that is judged for forest: past the blur of the forest's edge,
and a crown's width from there (our choice)."""
MIN_EDGE_RATIO = 0.6
"""Rough open land with a greater share of its edge in such forest was perhaps cut out of it (our choice)."""


STRIP_SUMS = ("strip_cells", "strip_forest", "strip_forest_m")
"""Cells of the strip, those of them in forest worth felling, and the sum of the heights of that forest, metres."""

Numbers = NDArray[np.float64]


def strip_beside(
    whole: NDArray[np.object_],
    owner: NDArray[np.int32],
    part_of: NDArray[np.int64],
    stand_height: Heights,
    grid: Grid,
    /,
) -> dict[str, Numbers]:
    """What stands in the strip beside areas, for the pieces that they are cut in, (n,) each by name.

    A place in the strip counts for the piece that holds the nearest cell of the area, so that the pieces of an area
    add up to it however it is cut.

    Parameters
    ----------
    whole : (m,) areas before the cut
    owner : (rows, cols) which of their pieces, counted from 1, holds each cell; 0 where none does
    part_of : (n,) which of the areas each piece is of
    stand_height : (rows, cols) of `pipeline.vegetation.stands.stand_height.stand_height`, metres, on `grid`

    Returns
    -------
    dict of STRIP_SUMS
    """
    sums = np.zeros((3, len(part_of) + 1))
    for number in np.unique(part_of):
        window = grid.window_around(whole[number].bounds, margin_cells=int(np.ceil(STRIP_M[1] / grid.cell_m)) + 1)
        part, heights = grid.part(window), stand_height[window]
        if not heights.size:
            continue
        inside = burnt(whole[number : number + 1], part) > 0
        if not inside.any():
            continue
        away_cells, nearest = ndimage.distance_transform_edt(~inside, return_indices=True)
        in_strip = (away_cells * grid.cell_m > STRIP_M[0]) & (away_cells * grid.cell_m <= STRIP_M[1])
        piece, found = owner[window][tuple(nearest[:, in_strip])], heights[in_strip]
        is_high = found >= LEAST_STAND_M
        for row, weight in enumerate((np.ones(len(found)), is_high, np.where(is_high, found, 0))):
            sums[row] += np.bincount(piece, weight, minlength=len(part_of) + 1)
    return dict(zip(STRIP_SUMS, sums[:, 1:], strict=True))


def say_where_felled(areas: gpd.GeoDataFrame, sums: Mapping[str, Numbers], /) -> gpd.GeoDataFrame:
    """The areas; of rough open land that forest stands up against, the evidence says that it was perhaps felled.

    A felled area is cut out of a stand, so that most of its edge is as high as the stand; a meadow in young growth or
    beside fields is not (common practice, no source). A glade that was never wooded looks the same: lidar cannot tell.
    The standard shows felled land as the open land it is until trees stand again (403, 404): only the evidence tells.

    Parameters
    ----------
    areas : features with `symbol` and `evidence`
    sums : of `strip_beside`
    """
    share = sums["strip_forest"] / np.maximum(sums["strip_cells"], 1)
    height_m = sums["strip_forest_m"] / np.maximum(sums["strip_forest"], 1)
    is_felled = areas["symbol"].isin(ROUGH).to_numpy() & (share >= MIN_EDGE_RATIO)
    told = [
        f"{text}; forest {stand:.0f} m high along {part:.0%} of its edge: perhaps felled" if felled else text
        for text, stand, part, felled in zip(areas["evidence"], height_m, share, is_felled, strict=True)
    ]
    return areas.assign(evidence=told)
