"""The draft of what people made: buildings, ways, power lines, walls, fences, hedges, small things."""

from __future__ import annotations

import math
from collections.abc import Mapping

import geopandas as gpd
import numpy as np

from pipeline.features import join_features, make_features, no_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.buildings import Outline, building_outlines
from pipeline.manmade.lines.obstacles import OBSTACLE_COUNTS, draw_obstacles
from pipeline.manmade.lines.walls import draw_walls
from pipeline.manmade.lines.wire_lines import WIRE_COUNTS, draw_wires
from pipeline.manmade.small import SMALL_COUNTS, draw_small
from pipeline.manmade.tracks.evidence import TRACK_COUNTS
from pipeline.manmade.tracks.tracks import draw_tracks
from pipeline.settings import ManmadeSettings

COUNTS = (
    "building_returns",
    "last_returns",
    *dict.fromkeys((*TRACK_COUNTS, *WIRE_COUNTS, *OBSTACLE_COUNTS, *SMALL_COUNTS)),
)
"""Counts that the section asks for, see `pipeline.terrain.counts` and `pipeline.terrain.profile`."""
WATERCOURSES = ("304", "305", "306")
"""Symbols of lines of running water."""
MARGIN_M = 200.0
"""Metres around a field that are drawn with it. A building is drawn by the field that holds its middle, which must see
all of it: halls twice as long are cut off."""
SURE_RETURNS = 100
"""Roof returns from which the fit of the plan alone says how sure a building is; with fewer it is less sure. Our
choice."""


def draft_manmade(
    counts: Mapping[str, Heights],
    bare_earth: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    settings: ManmadeSettings,
    water: gpd.GeoDataFrame,
) -> gpd.GeoDataFrame:
    """Buildings, roads and paths, power lines, walls, fences, hedges and small things of the area (416, 502 to 531).

    Parameters
    ----------
    counts : COUNTS, (rows, cols) float32 each
        Of returns and pulses; 0 where there are none.
    bare_earth : (rows, cols) float32, metres
    canopy_height : (rows, cols) float32, metres above the bare earth
    water : features of the section on water

    Returns
    -------
    GeoDataFrame of `pipeline.features`: polygons with right angles, lines and points.
    """
    buildings = _buildings(counts["building_returns"], counts["last_returns"], grid, settings.building_min_area_m2)
    courses = list(water.geometry[water["symbol"].isin(WATERCOURSES)])
    found = [
        buildings,
        draw_tracks(bare_earth, counts, grid, watercourses=courses),
        draw_wires(counts, grid),
        draw_walls(bare_earth, grid),
        draw_obstacles(canopy_height, bare_earth, counts, grid),
        draw_small(canopy_height, bare_earth, counts, grid),
    ]
    return join_features(found, grid.crs)


def _buildings(building_returns: Heights, last_returns: Heights, grid: Grid, min_area_m2: float) -> gpd.GeoDataFrame:
    """Buildings (521) as features."""
    outlines = building_outlines(building_returns, last_returns, grid, min_area_m2=min_area_m2)
    if not outlines:
        return no_features(grid.crs)
    return make_features(
        [outline.shape for outline in outlines],
        crs=grid.crs,
        symbol="521",
        confidence=np.clip([_confidence(outline) for outline in outlines], 0.05, 0.95),
        evidence=[_evidence(outline) for outline in outlines],
    )


def _confidence(outline: Outline) -> float:
    """A building is sure where the plan fits the roof and enough returns show it.

    Our choice: how many buildings of such a fit are real was not measured.
    """
    return outline.fit * math.sqrt(min(1.0, outline.returns / SURE_RETURNS))


def _evidence(outline: Outline) -> str:
    return (
        f"roof of {outline.shape.area:.0f} m2, {outline.returns} returns, {outline.roof_share:.0%} of the last ones; "
        f"the right-angled plan shares {outline.fit:.0%} of its area with them"
    )
