"""Which variant of 508 a ride is: how one runs within it, against how one runs beside it."""

from __future__ import annotations

import numpy as np
from rasterio.features import rasterize
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Grid, Heights
from pipeline.vegetation.rides.strip import BESIDE_M, HALF_WIDTH_M
from pipeline.vegetation.running.density import plant_area_density
from pipeline.vegetation.running.runnability import Limits, band_of


def ride_symbol(
    line: LineString,
    entered: Heights,
    stopped: Heights,
    grid: Grid,
    /,
    *,
    limits: Limits,
    layer_m: float,
    extinction: float,
) -> str:
    """508 with the variant that the running within the ride asks for.

    ISOM 2017-2: without a colour where it is as runnable as its surroundings; 508.2 (white) normal, 508.3 (light green)
    slow, 508.4 (green) walk, where it is better than they are. 508.1 (yellow, easy running) is left to the mapper: a
    lawn and a forest floor look alike from above.

    Parameters
    ----------
    entered, stopped : (rows, cols) pulses that entered the running layer, and those of them stopped in it
    limits : densities (m2/m3) where 406, 408 and 410 begin
    layer_m : thickness of the running layer
    extinction : k of Beer and Lambert's law, see `plant_area_density`
    """
    inside = line.buffer(HALF_WIDTH_M, cap_style="flat")
    inner, outer = (line.buffer(distance_m, cap_style="flat") for distance_m in BESIDE_M)
    densities = [
        plant_area_density(*_counts_within(shape, entered, stopped, grid), layer_m=layer_m, extinction=extinction)
        for shape in (inside, outer.difference(inner))
    ]
    bands = [int(band_of(density, limits=limits)[0]) for density in densities]
    if min(bands) < 0 or bands[0] >= bands[1]:
        return "508"
    return ("508.2", "508.3", "508.4")[bands[0]]


def _counts_within(shape: BaseGeometry, entered: Heights, stopped: Heights, grid: Grid) -> tuple[Heights, Heights]:
    """All pulses within a shape together, (1,) each."""
    cells = rasterize([shape], out_shape=grid.shape, transform=grid.transform, all_touched=False).astype(np.bool_)
    return np.array([entered[cells].sum()]), np.array([stopped[cells].sum()])
