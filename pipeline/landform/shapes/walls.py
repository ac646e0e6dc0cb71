"""Earth walls 105 and ruined earth walls 106."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.landform.shapes.gullies import describe_axes, find_furrows, line_confidence
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import mean_along
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

MIN_WALL_HEIGHT_M = isom("105").smallest.height_m
"""Lowest earth wall (ISOM 105, from memory)."""
MIN_WALL_MM = isom("105").mm("min_length_mm")
"""Shortest earth wall (ISOM 105, from memory)."""
MIN_RUINED_WALL_HEIGHT_M = isom("106").smallest.height_m
"""Lowest ruined earth wall (ISOM 106)."""
MIN_RUINED_WALL_MM = isom("106").mm("min_length_mm")
"""Shortest ruined earth wall: two dashes (ISOM 106, from memory)."""


def draft_walls(heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /) -> gpd.GeoDataFrame:
    """Narrow ridges as lines along their top: 105 from the standard's height, 106 where lower and long enough.

    Returns
    -------
    GeoDataFrame of features with `height_m` and `width_m`.
    """
    axes = find_furrows(-heights, grid, min_depth_m=MIN_RUINED_WALL_HEIGHT_M, min_length_m=ground_m(MIN_WALL_MM))
    is_whole = axes.height_m >= MIN_WALL_HEIGHT_M
    lengths_m = np.array([line.length for line in axes.lines])
    drawn = is_whole | (lengths_m >= ground_m(MIN_RUINED_WALL_MM))
    ways = [np.asarray(line.coords) for line in axes.lines]
    features = make_features(
        axes.lines,
        crs=grid.crs,
        symbol=np.where(is_whole, "105", "106").tolist(),
        confidence=np.clip(mean_along(seen, seen_grid, ways), 0, 1) * line_confidence(axes),
        evidence=describe_axes(axes, "high"),
        height_m=axes.height_m,
        width_m=axes.width_m,
    )
    return features[drawn].reset_index(drop=True)
