"""Earth walls 105 and ruined earth walls 106."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.grid import Grid, Heights
from pipeline.landform.gullies import describe_axes, find_furrows, line_confidence
from pipeline.landform.paper import ground_m
from pipeline.landform.seen import mean_along
from pipeline.settings import LandformSettings


def draft_walls(
    heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /, *, settings: LandformSettings
) -> gpd.GeoDataFrame:
    """Narrow ridges as lines along their top: 105 from the standard's height, 106 where lower and long enough.

    Returns
    -------
    GeoDataFrame of features with `height_m` and `width_m`.
    """
    axes = find_furrows(
        -heights,
        grid,
        min_depth_m=settings.min_ruined_wall_height_m,
        min_length_m=ground_m(settings.min_wall_mm),
        settings=settings,
    )
    is_whole = axes.height_m >= settings.min_wall_height_m
    lengths_m = np.array([line.length for line in axes.lines])
    drawn = is_whole | (lengths_m >= ground_m(settings.min_ruined_wall_mm))
    ways = [np.asarray(line.coords) for line in axes.lines]
    features = make_features(
        axes.lines,
        crs=grid.crs,
        symbol=np.where(is_whole, "105", "106").tolist(),
        confidence=np.clip(mean_along(seen, seen_grid, ways), 0, 1) * line_confidence(axes, settings=settings),
        evidence=describe_axes(axes, "high"),
        height_m=axes.height_m,
        width_m=axes.width_m,
    )
    return features[drawn].reset_index(drop=True)
