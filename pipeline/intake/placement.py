"""Bringing the numbers of a tile into metres of the working CRS.

Heights are only scaled to metres; they keep the vertical datum they came in.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import NDArray

from pipeline.intake.tile_crs import TileCrs, describe_crs
from pipeline.intake.working_crs import WorkingCrs
from pipeline.lattice.grid import Bounds


@dataclass(frozen=True)
class Placement:
    """How the numbers of one tile become metres in the working CRS.

    Attributes
    ----------
    source_crs, crs : str
        The CRS of the tile's plan and the working CRS, as text; equal where the plan stays as it is.
    height_unit_m : float
        Metres in one unit of the tile's heights.
    """

    source_crs: str
    crs: str
    height_unit_m: float


def placement_of(tile: TileCrs, working: WorkingCrs, /) -> Placement:
    """How a tile comes into the working CRS.

    The area file decides on the unit of heights, then the tile; a tile that does not say has its heights in the unit of
    its plan, and in metres where that is degrees (common practice, no source).
    """
    plan_unit_m = _plan_unit_m(working.source_crs)
    height_unit_m = working.given_height_unit_m or tile.height_unit_m or plan_unit_m or 1.0
    return Placement(working.source_crs, working.crs, height_unit_m)


@functools.lru_cache(maxsize=8)
def _plan_unit_m(crs: str) -> float | None:
    """Metres in one unit of a CRS; None for degrees. PROJ takes 2 ms for it, and each tile of a survey asks."""
    return describe_crs(pyproj.CRS.from_user_input(crs)).plan_unit_m


def to_working(
    x: NDArray[np.float64], y: NDArray[np.float64], height: NDArray[np.float64], placement: Placement, /
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """East, north and elevation in metres of the working CRS, (n,) each.

    A plan that is in the working CRS already passes through unchanged, to the last bit.
    """
    height_m = height * placement.height_unit_m
    if placement.source_crs == placement.crs:
        return x, y, height_m
    transformer = pyproj.Transformer.from_crs(placement.source_crs, placement.crs, always_xy=True)
    east, north = transformer.transform(x, y)
    return np.asarray(east, np.float64), np.asarray(north, np.float64), height_m


def bounds_in_working(bounds: Bounds, placement: Placement, /) -> Bounds:
    """Bounds of a tile, in its own units, as bounds in metres of the working CRS."""
    if placement.source_crs == placement.crs:
        return bounds
    transformer = pyproj.Transformer.from_crs(placement.source_crs, placement.crs, always_xy=True)
    west, south, east, north = transformer.transform_bounds(*bounds, densify_pts=21)
    return float(west), float(south), float(east), float(north)


def corners_in_working(bounds: Bounds, placement: Placement, /) -> tuple[tuple[float, float], ...]:
    """East and north of a tile's corners, anticlockwise, where reprojecting turns the tile; empty where it does not."""
    if placement.source_crs == placement.crs:
        return ()
    west, south, east, north = bounds
    transformer = pyproj.Transformer.from_crs(placement.source_crs, placement.crs, always_xy=True)
    easts, norths = transformer.transform([west, east, east, west], [south, south, north, north])
    return tuple((float(east_m), float(north_m)) for east_m, north_m in zip(easts, norths, strict=True))
