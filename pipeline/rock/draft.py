"""The rock of the draft: boulders and groups, cliffs, stony ground, bare rock, sand, and where their symbols collide.

Paved areas (501) are told here too, though people made them: they are as dark and bare as rock, and even.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import SUM, join_features
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.norm.symbols import isom
from pipeline.outlines.cutting import cut_to_core
from pipeline.rock.boulders.company import in_company, worth_drawing
from pipeline.rock.boulders.groups import generalise_boulders
from pipeline.rock.cliffs.cliffs import find_cliffs
from pipeline.rock.cliffs.falls import CLIFF_RUN_M
from pipeline.rock.ground.bare_rock import draw_dark_ground, judge_dark_ground, measure_dark_ground
from pipeline.rock.ground.brightness import Brightness
from pipeline.rock.ground.pits import find_rocky_pits
from pipeline.rock.ground.sand import draw_bright_ground, judge_bright_ground
from pipeline.rock.ground.stony import draw_stony_ground, judge_stony_ground, measure_stony_ground, roughness
from pipeline.rock.on_unseen import less_sure
from pipeline.settings import RockSettings
from pipeline.terrain.doubt import hardly_seen
from pipeline.terrain.seen import surrounded

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
    """Every rock feature of an area that is one field, fit to be drawn.

    Parameters
    ----------
    as of `draft_rock_of_field`

    Returns
    -------
    GeoDataFrame: points 203.1, 204, 205, 207; areas 206, 208, 209, 210, 211, 212, 213, 214, 501; lines 201, 202.
    """
    pieces = draft_rock_of_field(
        boulders,
        bare_earth,
        ground_support,
        canopy_height,
        grid,
        core=grid.pad(MARGIN_M).bounds,
        brightness=brightness,
        lowest=lowest,
        settings=settings,
    )
    judged = judge_rock(pieces, dark_ratio=settings.bare_rock_max_brightness_ratio)
    return gpd.GeoDataFrame(judged.drop(columns=[name for name in judged.columns if name.startswith(SUM)]))


def draft_rock_of_field(
    boulders: gpd.GeoDataFrame,
    bare_earth: Heights,
    ground_support: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    core: Bounds,
    brightness: Brightness | None = None,
    lowest: Heights | None = None,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """The rock features of a field: what lies in its core, and pieces of areas that have yet to be judged as a whole.

    Parameters
    ----------
    boulders : GeoDataFrame
        Candidates of the field and its margin, as `pipeline.rock.boulders.boulders.find_boulders` gives them.
    bare_earth, ground_support, canopy_height : (rows, cols) float32, metres
    core : west, south, east, north in metres, of the field itself
    brightness : of the ground, as `pipeline.rock.ground.brightness.ground_brightness` gives it
        Without it stony ground is drawn by roughness alone and bare rock not at all.
    lowest : (rows, cols) float32, metres
        The lowest last return of each cell; without it cliffs whose lip a ground filter took off are missed.

    Returns
    -------
    GeoDataFrame with columns of sums (`pipeline.features.SUM`), for `judge_rock` once pieces are joined.
    """
    shown = np.where(surrounded(ground_support, grid), bare_earth, np.float32(np.nan))
    cliffs = find_cliffs(
        shown,
        ground_support,
        grid,
        lowest=lowest,
        excess_m=settings.cliff_excess_m,
        impassable_min_height_m=settings.impassable_min_height_m,
    )
    unseen = hardly_seen(bare_earth, ground_support, grid)
    cliffs = less_sure(cliffs, unseen, grid)
    cliffs = cliffs[cliffs.confidence >= settings.least_cliff_confidence]
    sure = worth_drawing(
        less_sure(in_company(boulders, np.isfinite(bare_earth), grid), unseen, grid),
        least_confidence=settings.least_boulder_confidence,
        least_thicket_confidence=settings.least_thicket_confidence,
    )
    cliffs = _not_sides_of_boulders(cliffs, sure)
    free = _off_cliffs(sure, cliffs, distance_m=CLIFF_RUN_M)
    drawn = generalise_boulders(free, least_confidence=settings.least_boulder_confidence)
    pits = less_sure(find_rocky_pits(shown, ground_support, grid), unseen, grid)
    own = cut_to_core(join_features([drawn, cliffs, pits], grid.crs), core)
    rough = _rough_and_bare(bare_earth, ground_support, canopy_height, grid, core, brightness, settings)
    return join_features([own, *rough], grid.crs)


def _rough_and_bare(
    bare_earth: Heights,
    ground_support: Heights,
    canopy_height: Heights,
    grid: Grid,
    core: Bounds,
    brightness: Brightness | None,
    settings: RockSettings,
) -> list[gpd.GeoDataFrame]:
    """Pieces of stony ground, and of what may be bare rock where brightness is known, with what is measured of them."""
    # Under dense crowns the ground is made of few returns and looks rougher than it is.
    open_support = np.where(canopy_height > settings.stony_max_canopy_m, np.inf, ground_support).astype(np.float32)
    own = grid.within(core)
    rough = roughness(bare_earth, open_support, grid)
    stony = cut_to_core(draw_stony_ground(rough, grid, slow_m=settings.stony_slow_m), core)
    stony = measure_stony_ground(stony, rough, brightness, grid, core=own)
    if brightness is None:
        return [stony]
    dark = draw_dark_ground(
        bare_earth,
        brightness,
        roughness(bare_earth, ground_support, grid),
        grid,
        max_brightness_ratio=settings.bare_rock_max_brightness_ratio,
        stony_slow_m=settings.stony_slow_m,
    )
    measured = [
        measure_dark_ground(cut_to_core(ground.areas, core), ground, bare_earth, brightness, grid, core=own)
        for ground in (dark, draw_bright_ground(bare_earth, brightness, grid))
    ]
    return [stony, *measured]


def judge_rock(features: gpd.GeoDataFrame, /, *, dark_ratio: float) -> gpd.GeoDataFrame:
    """The features of `draft_rock_of_field`, joined, with stony ground, bare rock and sand judged by all their cells.

    Parameters
    ----------
    dark_ratio : float
        Brightness beside vegetated ground at which ground counts as dark as bare rock.
    """
    symbol = features["symbol"].to_numpy(str)
    is_stony, is_dark, is_bright = (symbol == number for number in ("210", "214", "213"))
    judged = [features[~(is_stony | is_dark | is_bright)]]
    if is_stony.any():
        judged.append(judge_stony_ground(features[is_stony], dark_ratio=dark_ratio))
    if is_dark.any():
        judged.append(judge_dark_ground(features[is_dark], max_brightness_ratio=dark_ratio))
    if is_bright.any():
        judged.append(judge_bright_ground(features[is_bright]))
    return join_features(judged, str(features.crs))


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
