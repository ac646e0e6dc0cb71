"""The rock of the draft: boulders and groups, cliffs, stony ground and bare rock, and where their symbols collide."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import join_features, no_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.symbols import isom
from pipeline.rock.boulders.company import in_company, worth_drawing
from pipeline.rock.boulders.groups import generalise_boulders
from pipeline.rock.cliffs.cliffs import find_cliffs
from pipeline.rock.cliffs.falls import CLIFF_RUN_M
from pipeline.rock.ground.bare_rock import find_bare_rock
from pipeline.rock.ground.brightness import Brightness
from pipeline.rock.ground.pits import find_rocky_pits
from pipeline.rock.ground.stony import find_stony_ground
from pipeline.settings import RockSettings

MARGIN_M = 200.0
"""Metres around a field that are drawn with it: cliffs and chains of boulders are seldom longer, and brightness is
compared with that of the ground within 100 m."""


def draft_rock(
    boulders: gpd.GeoDataFrame,
    bare_earth: Heights,
    ground_support: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    brightness: Brightness | None = None,
    lowest: Heights | None = None,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """Every rock feature of the area, fit to be drawn.

    Parameters
    ----------
    boulders : GeoDataFrame
        Candidates of all blocks, as `pipeline.rock.boulders.boulders.find_boulders` gives them.
    bare_earth, ground_support, canopy_height : (rows, cols) float32, metres
    brightness : of the ground, as `pipeline.rock.ground.brightness.ground_brightness` gives it
        Without it stony ground is drawn by roughness alone and bare rock not at all.
    lowest : (rows, cols) float32, metres
        The lowest last return of each cell; without it cliffs whose lip a ground filter took off are missed.

    Returns
    -------
    GeoDataFrame: points 203.1, 204, 205, 207; areas 206, 208, 209, 210, 211, 212, 214; lines 201, 202.
    """
    cliffs = find_cliffs(
        bare_earth,
        ground_support,
        grid,
        lowest=lowest,
        excess_m=settings.cliff_excess_m,
        impassable_min_height_m=settings.impassable_min_height_m,
    )
    cliffs = cliffs[cliffs.confidence >= settings.least_confidence]
    sure = worth_drawing(
        in_company(boulders, np.isfinite(bare_earth), grid),
        least_confidence=settings.least_boulder_confidence,
        least_thicket_confidence=settings.least_thicket_confidence,
    )
    cliffs = _not_sides_of_boulders(cliffs, sure)
    free = _off_cliffs(sure, cliffs, distance_m=CLIFF_RUN_M)
    drawn = generalise_boulders(free, least_confidence=settings.least_boulder_confidence)
    stony, bare = _rough_and_bare(bare_earth, ground_support, canopy_height, grid, brightness, settings)
    pits = find_rocky_pits(bare_earth, ground_support, grid)
    return join_features([drawn, cliffs, stony, bare, pits], grid.crs)


def _rough_and_bare(
    bare_earth: Heights,
    ground_support: Heights,
    canopy_height: Heights,
    grid: Grid,
    brightness: Brightness | None,
    settings: RockSettings,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Stony ground, and bare rock where brightness is known."""
    slow_m, dark_ratio = settings.stony_slow_m, settings.bare_rock_max_brightness_ratio
    # Under dense crowns the ground is made of few returns and looks rougher than it is.
    open_support = np.where(canopy_height > settings.stony_max_canopy_m, np.inf, ground_support).astype(np.float32)
    stony = find_stony_ground(
        bare_earth, open_support, grid, brightness=brightness, slow_m=slow_m, dark_ratio=dark_ratio
    )
    if brightness is None:
        return stony, no_features(grid.crs)
    bare = find_bare_rock(
        bare_earth, ground_support, brightness, grid, max_brightness_ratio=dark_ratio, stony_slow_m=slow_m
    )
    return stony, bare


def _not_sides_of_boulders(cliffs: gpd.GeoDataFrame, boulders: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The cliffs without those that a boulder explains: a rock that a filter kept as ground is a step on every side.

    A face is a boulder's side where most of its line lies on the boulder or beside it, if the boulder is likelier or
    the face so short that it had to be drawn longer.
    """
    if not len(boulders) or not len(cliffs):
        return cliffs
    reach = shapely.buffer(boulders.geometry.to_numpy(), boulders.width_m.to_numpy() / 2 + CLIFF_RUN_M)
    lines, sure = cliffs.geometry.to_numpy(), boulders.confidence.to_numpy()
    line, boulder = shapely.STRtree(reach).query(lines, predicate="intersects")
    length = shapely.length(lines)
    on = shapely.length(shapely.intersection(lines[line], reach[boulder])) > length[line] / 2
    is_short = length <= isom("202").smallest.length_m + 0.1
    is_side = on & (is_short[line] | (sure[boulder] > cliffs.confidence.to_numpy()[line]))
    return cliffs[~np.isin(np.arange(len(cliffs)), line[is_side])]


def _off_cliffs(boulders: gpd.GeoDataFrame, cliffs: gpd.GeoDataFrame, *, distance_m: float) -> gpd.GeoDataFrame:
    """Boulders that do not stand on a cliff's line or teeth."""
    if not len(boulders) or not len(cliffs):
        return boulders
    edge = cliffs.geometry.union_all()
    return boulders[np.asarray(boulders.geometry.distance(edge)) > distance_m]
