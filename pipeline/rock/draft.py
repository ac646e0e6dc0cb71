"""The rock of the draft: boulders and groups of them, cliffs, and where rock symbols would collide."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import join_features
from pipeline.grid import Grid, Heights
from pipeline.rock.cliffs import find_cliffs
from pipeline.rock.groups import generalise_boulders
from pipeline.settings import RockSettings


def draft_rock(
    boulders: gpd.GeoDataFrame,
    bare_earth: Heights,
    ground_support: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    scale: int,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """Every rock feature of the area, fit to be drawn at the scale.

    Parameters
    ----------
    boulders : GeoDataFrame
        Candidates of all blocks, as `pipeline.rock.boulders.find_boulders` gives them.
    bare_earth, ground_support, canopy_height : (rows, cols) float32, metres

    Returns
    -------
    GeoDataFrame: points 204, 205, 207; areas 206, 208, 209; lines 201, 202.
    """
    cliffs = find_cliffs(bare_earth, ground_support, grid, scale=scale, settings=settings)
    cliffs = cliffs[cliffs.confidence >= settings.least_confidence]
    sure = boulders[
        (boulders.confidence >= settings.least_confidence) & (boulders.height_m >= settings.boulder_min_height_m)
    ]
    free = _off_cliffs(sure, cliffs, distance_m=settings.cliff_run_m)
    return join_features([generalise_boulders(free, scale=scale, settings=settings), cliffs], grid.crs)


def _off_cliffs(boulders: gpd.GeoDataFrame, cliffs: gpd.GeoDataFrame, *, distance_m: float) -> gpd.GeoDataFrame:
    """Boulders that do not stand on a cliff's line or teeth."""
    if not len(boulders) or not len(cliffs):
        return boulders
    edge = cliffs.geometry.union_all()
    return boulders[np.asarray(boulders.geometry.distance(edge)) > distance_m]
