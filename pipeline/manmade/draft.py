"""The draft of what people made: buildings."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np

from pipeline.features import make_features, no_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.buildings import Outline, building_outlines
from pipeline.settings import ManmadeSettings

MARGIN_M = 200.0
"""Metres around a field that are drawn with it. A building is drawn by the field that holds its middle, which must see
all of it: halls twice as long are cut off."""
SURE_RETURNS = 100
"""Roof returns from which the fit of the plan alone says how sure a building is; with fewer it is less sure. Our
choice."""


def draft_manmade(
    building_returns: Heights,
    last_returns: Heights,
    canopy_height: Heights,
    bare_earth: Heights,
    grid: Grid,
    /,
    *,
    scale: int,  # noqa: ARG001 -- buildings keep their true plan at every scale
    settings: ManmadeSettings,
) -> gpd.GeoDataFrame:
    """Buildings (521) of the area as features.

    Parameters
    ----------
    building_returns, last_returns : (rows, cols) float32
        Counts of returns of class 6 and of last returns; 0 where there are none.
    canopy_height, bare_earth : (rows, cols) float32, metres
        Not asked yet: paths need them.

    Returns
    -------
    GeoDataFrame of `pipeline.features`: polygons with right angles.
    """
    del canopy_height, bare_earth
    outlines = building_outlines(building_returns, last_returns, grid, min_area_m2=settings.building_min_area_m2)
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
