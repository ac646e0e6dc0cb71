"""Which variant of 508 a ride is: how one runs within it, against how one runs beside it."""

from __future__ import annotations

import numpy as np
from rasterio.features import rasterize
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Heights
from pipeline.vegetation.rides.counts import Counts
from pipeline.vegetation.rides.strip import BESIDE_M, HALF_WIDTH_M
from pipeline.vegetation.running.density import plant_area_density
from pipeline.vegetation.running.runnability import Limits, band_of


def ride_symbol(
    line: LineString,
    counts: Counts,
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
    limits : densities (m2/m3) where 406, 408 and 410 begin
    layer_m : thickness of the running layer
    extinction : k of Beer and Lambert's law, see `plant_area_density`
    """
    inside = line.buffer(HALF_WIDTH_M, cap_style="flat")
    inner, outer = (line.buffer(distance_m, cap_style="flat") for distance_m in BESIDE_M)
    densities = [
        plant_area_density(*_counts_within(shape, counts), layer_m=layer_m, extinction=extinction)
        for shape in (inside, outer.difference(inner))
    ]
    bands = [int(band_of(density, limits=limits)[0]) for density in densities]
    if min(bands) < 0 or bands[0] >= bands[1]:
        return "508"
    return ("508.2", "508.3", "508.4")[bands[0]]


def _counts_within(shape: BaseGeometry, counts: Counts) -> tuple[Heights, Heights]:
    """Pulses that entered the running layer within a shape, and those of them stopped in it, (1,) each."""
    sums = np.zeros(2)
    for grid, found in counts.around(shape.bounds):
        # Of a long ride that runs aslant most parts around lie beside it.
        if shape.intersects(box(*grid.bounds)):
            cells = rasterize([shape], out_shape=grid.shape, transform=grid.transform).astype(np.bool_)
            sums += [found[name][cells].sum() for name in ("entered", "stopped")]
    return sums[:1].astype(np.float32), sums[1:].astype(np.float32)
