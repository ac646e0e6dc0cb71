"""Ground not seen as areas 600.1 of the draft: contours run on there by guess, and a mapper has to look."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.landform.contours.isolines import trace_areas
from pipeline.lattice.grid import Bounds, Grid, Mask
from pipeline.outlines.cutting import cut_to_core
from pipeline.outlines.simpler import simplify_area_by_squares
from pipeline.terrain.doubt import UNSEEN_TRUST

NOT_SEEN_SYMBOL = "600.1"
"""Our own number, the same as of growth that too few pulses reached."""


def draw_not_seen(unseen: Mask, grid: Grid, /, *, core: Bounds | None = None) -> gpd.GeoDataFrame:
    """Areas 600.1 of ground that was hardly seen.

    Parameters
    ----------
    unseen : (rows, cols) bool
        As `pipeline.terrain.doubt.hardly_seen` gives it.
    core : west, south, east, north in metres, or None
        What is kept; areas are cut there.
    """
    around = np.pad(unseen, 1).astype(np.float32)
    areas = trace_areas(around, grid.pad(grid.cell_m), at_least=0.5)
    drawn = make_features(
        [part for area in areas for part in simplify_area_by_squares(area, grid.cell_m / 2)],
        crs=grid.crs,
        symbol=NOT_SEEN_SYMBOL,
        confidence=1 - UNSEEN_TRUST,
        evidence="the ground bends between returns too far apart to show how, or crowns were taken for it",
    )
    return drawn if core is None else cut_to_core(drawn, core)
