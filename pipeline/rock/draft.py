"""The rock of the draft: boulders and groups of them, cliffs, and where rock symbols would collide."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import join_features
from pipeline.grid import Grid, Heights
from pipeline.rock.cliffs import find_cliffs
from pipeline.rock.groups import generalise_boulders
from pipeline.rock.stony import find_rocky_pits, find_stony_ground
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
    GeoDataFrame: points 203.1, 204, 205, 207; areas 206, 208, 209, 210, 211, 212; lines 201, 202.
    """
    cliffs = find_cliffs(bare_earth, ground_support, grid, scale=scale, settings=settings)
    cliffs = cliffs[cliffs.confidence >= settings.least_confidence]
    sure = boulders[
        (boulders.confidence >= settings.least_boulder_confidence)
        & (boulders.height_m >= settings.boulder_min_height_m)
    ]
    free = _off_cliffs(sure, cliffs, distance_m=settings.cliff_run_m)
    drawn = generalise_boulders(free, scale=scale, settings=settings)
    # Under dense crowns the ground is made of few returns and looks rougher than it is.
    open_support = np.where(canopy_height > settings.stony_max_canopy_m, np.inf, ground_support).astype(np.float32)
    stony = find_stony_ground(bare_earth, open_support, grid, settings=settings)
    pits = find_rocky_pits(bare_earth, ground_support, grid, settings=settings)
    return join_features([drawn, cliffs, stony, pits], grid.crs)


def _off_cliffs(boulders: gpd.GeoDataFrame, cliffs: gpd.GeoDataFrame, *, distance_m: float) -> gpd.GeoDataFrame:
    """Boulders that do not stand on a cliff's line or teeth."""
    if not len(boulders) or not len(cliffs):
        return boulders
    edge = cliffs.geometry.union_all()
    return boulders[np.asarray(boulders.geometry.distance(edge)) > distance_m]
