"""An earlier map against a new survey: registered first, then compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from rasterio.features import rasterize

from pipeline.lattice.grid import Grid, Mask
from pipeline.refresh.compare.by_map import changes_by_map, off_of
from pipeline.refresh.compare.patches import find_patches
from pipeline.refresh.compare.survey import Measured, Survey, measure
from pipeline.refresh.features.rows import feature_changes, moved
from pipeline.refresh.register.coarse import coarse_shift
from pipeline.refresh.register.shift import Shift, find_shift

COVERED = ("301", "302", "521")
"""Water and houses: there is no ground to compare under them."""
OBJECTS = ("201", "202", "204", "205", "206", "207", "208", "513", "514", "515", "516", "518", "521")
"""Things that one survey may take for ground and the other not."""
AROUND_M = 2.0
"""As far around them ground is interpolated beneath them, in metres. Our choice."""


@dataclass(frozen=True)
class Refreshed:
    """What a refresh found.

    Attributes
    ----------
    shift : from the old survey to the new one
    measured : the rasters of difference; None where the old map has none
    patches : the changed patches
    features : a row for each feature of both maps, with `change`
    notes : where the old survey is a map alone, what it tells nothing of, a sentence each
    """

    shift: Shift
    measured: Measured | None
    patches: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    notes: tuple[str, ...] = ()


def refresh(old: Survey, new: Survey, /, *, years: float | None = None, shift: Shift | None = None) -> Refreshed:
    """Register an old survey to a new one, and say what changed.

    Parameters
    ----------
    old, new : in one CRS
    years : between the two surveys, where both tell their dates
    shift : a shift that is known already, such as that of a finished map; else it is found from the rasters
    """
    if shift is None:
        shift = Shift(how="not looked for: no rasters of the old survey")
        if old.surface is not None and new.surface is not None:
            shift = find_shift(old.surface, new.surface, start=coarse_shift(old.surface, new.surface))
    laid = moved(old.features, shift.east_m, shift.north_m, shift.up_m)
    measured = None
    if new.surface is not None:
        maps = (laid, new.features)
        covered, objects = (_cells_of(maps, symbols, new.surface.grid) for symbols in (COVERED, OBJECTS))
        measured = measure(old, new, shift, covered=covered, objects=objects)
    patches, notes = no_patches(str(new.features.crs)), tuple[str, ...]()
    if measured:
        patches = find_patches(measured, laid, new.features, years=years)
    elif new.surface is not None:
        by_map = changes_by_map(laid, new.features, new.surface, off_m=off_of(shift))
        patches, notes = by_map.patches, by_map.notes
    rows = feature_changes(laid, new.features, patches, measured, shift_error_m=shift.error_m, by_map=measured is None)
    return Refreshed(shift, measured, patches, rows, notes)


def no_patches(crs: str, /) -> gpd.GeoDataFrame:
    """A table of no changed patches."""
    names = ["kind", "sure", "evidence", "height_change_m", "height_change_error_m", "density_change"]
    return gpd.GeoDataFrame(columns=[*names, "density_change_error", "geometry"], geometry="geometry", crs=crs)


def _cells_of(maps: Sequence[gpd.GeoDataFrame], symbols: Sequence[str], grid: Grid) -> Mask:
    """The cells on and around the features of some symbols."""
    shapes = [
        shape.buffer(AROUND_M)
        for table in maps
        for symbol, shape in zip(table["symbol"], table.geometry, strict=True)
        if str(symbol).partition(".")[0] in symbols
    ]
    if not shapes:
        return np.zeros(grid.shape, np.bool_)
    return np.asarray(rasterize(shapes, out_shape=grid.shape, transform=grid.transform), np.bool_)
