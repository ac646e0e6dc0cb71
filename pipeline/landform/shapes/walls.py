"""Earth walls 105 and ruined earth walls 106."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.landform.shapes.edges import Axes, Floats, draw_axes
from pipeline.landform.shapes.gullies import find_furrows
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.symbols import isom


def draft_walls(heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid, /) -> gpd.GeoDataFrame:
    """Narrow ridges as lines along their top: 105 from the standard's height, 106 where lower and long enough.

    Returns
    -------
    GeoDataFrame of pieces (`pipeline.landform.lines.line_pieces`) with sums of the height and width.
    """
    whole, ruined = isom("105").smallest, isom("106").smallest
    found = find_furrows(-heights, grid, min_depth_m=ruined.height_m, min_length_m=whole.length_m)
    lengths_m = np.array([np.hypot(*np.diff(line, axis=0).T).sum() for line in found.lines])
    # A wall high anywhere is drawn along all of it; a low one only where it is long enough.
    is_high = np.array([height_m.max() >= whole.height_m for height_m in found.height_m], bool)
    drawn = np.flatnonzero(is_high | (lengths_m >= ruined.length_m))
    axes = Axes(*([values[n] for n in drawn] for values in (found.lines, found.height_m, found.width_m)))

    def symbols(mean: dict[str, Floats]) -> list[str]:
        return list(np.where(mean["height"] >= whole.height_m, "105", "106"))

    return draw_axes(axes, seen, seen_grid, crs=grid.crs, symbol=symbols)
