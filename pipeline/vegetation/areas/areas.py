"""Areas of forest and open land as features of the draft."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import make_features
from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, MIN_AREA_OF_KIND_M2, NOT_SEEN
from pipeline.vegetation.areas.merging import Kinds
from pipeline.vegetation.areas.outlines import polygons_of
from pipeline.vegetation.running.density import LEAST_PULSES

NOT_SEEN_SYMBOL = "600.1"
"""Our own number for ground of which the survey says nothing: it is neither white nor green."""


def draw_areas(kinds: Kinds, grid: Grid, /, *, smooth_m: float) -> gpd.GeoDataFrame:
    """Areas as features, those not seen among them, of confidence 0. White forest is paper: it is not drawn.

    What speaks for each is said later (`pipeline.vegetation.areas.evidence`), when the pieces of an area are together.

    Parameters
    ----------
    kinds : (rows, cols) of `pipeline.vegetation.areas.kinds.settle_kinds`
    smooth_m : how far edges may be moved to be smooth
    """
    polygons, kind = polygons_of(kinds, grid, smooth_m=smooth_m, min_area_m2=MIN_AREA_OF_KIND_M2)
    drawn = np.flatnonzero(kind != AREA_SYMBOLS.index("405"))
    # Neighbours are of different kinds: in this order the same of two always comes first, whatever else was drawn.
    drawn = drawn[np.argsort(kind[drawn], kind="stable")]
    is_seen = kind[drawn] != NOT_SEEN
    return make_features(
        polygons[drawn],
        crs=grid.crs,
        symbol=[AREA_SYMBOLS[k] if seen else NOT_SEEN_SYMBOL for k, seen in zip(kind[drawn], is_seen, strict=True)],
        confidence=0.0,
        evidence=["" if seen else f"fewer than {LEAST_PULSES:g} pulses reach the running layer" for seen in is_seen],
    )
