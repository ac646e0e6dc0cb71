"""A mapper's notes on runnability: what was found on foot, and the density measured there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy.cluster.hierarchy import fcluster, linkage
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import EastNorth, Grid, Heights

Numbers = NDArray[np.float64]
Bands = NDArray[np.int64]

PLACE_M = 25.0
"""Notes nearer together than this are one place and are judged together, since they share one thicket (our choice)."""


@dataclass(frozen=True)
class Notes:
    """What was found on foot, one value a note.

    Attributes
    ----------
    place : (n, 2) east, north in metres
    density : (n,) m2/m3 measured there
    band : (n,) 0 to 3, index into BAND_SYMBOLS
    """

    place: EastNorth
    density: Numbers
    band: Bands

    def take(self, which: NDArray[np.bool_]) -> Notes:
        """The chosen notes."""
        return Notes(self.place[which], self.density[which], self.band[which])


def group_places(place: EastNorth, /) -> NDArray[np.int64]:
    """(n,) number of the place of each note, from 0: notes linked by steps shorter than PLACE_M are one place."""
    if len(place) < 2:
        return np.zeros(len(place), np.int64)
    return np.asarray(fcluster(linkage(place, "single"), PLACE_M, criterion="distance"), np.int64) - 1


def density_at(density: Heights, grid: Grid, places: NDArray[np.object_], /, *, radius_m: float) -> Numbers:
    """(n,) median density (m2/m3) within each place: a polygon as it is, a point or line with this radius around it.

    The median, since a note means what fills the place, not the clump at its edge. NaN where nothing was seen.
    """
    is_area = shapely.get_dimensions(places) == 2
    shapes = np.where(is_area, places, shapely.buffer(places, radius_m))
    return np.array([_median_within(density, grid, shape) for shape in shapes], np.float64)


def _median_within(density: Heights, grid: Grid, shape: BaseGeometry) -> float:
    window = grid.window_around(shape.bounds)
    part = density[window]
    if part.size == 0:
        return float("nan")
    transform = grid.part(window).transform
    inside = rasterize([shape], out_shape=part.shape, transform=transform, all_touched=True).astype(np.bool_)
    values = part[inside & np.isfinite(part)]
    return float(np.median(values)) if len(values) else float("nan")
