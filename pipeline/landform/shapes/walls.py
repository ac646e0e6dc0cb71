"""Earth walls 105 and ruined earth walls 106."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.landform.shapes.edges import describe_axes, line_confidence
from pipeline.landform.shapes.gullies import find_furrows
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import mean_along
from pipeline.norm.symbols import isom


def draft_walls(heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /) -> gpd.GeoDataFrame:
    """Narrow ridges as lines along their top: 105 from the standard's height, 106 where lower and long enough.

    Returns
    -------
    GeoDataFrame of features with `height_m` and `width_m`.
    """
    whole, ruined = isom("105").smallest, isom("106").smallest
    axes = find_furrows(-heights, grid, min_depth_m=ruined.height_m, min_length_m=whole.length_m)
    is_whole = axes.height_m >= whole.height_m
    lengths_m = np.array([line.length for line in axes.lines])
    drawn = is_whole | (lengths_m >= ruined.length_m)
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
