"""Where things lie on the page's map: metres from its lower left corner, magnetic north up."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import cast

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from pipeline.sheet.page.north import MagneticNorth, north_of_area
from pipeline.sheet.page.page import frame_of

METRE_IS_MM = 1000
"""Scale of a sheet on which a millimetre is a metre on the ground: the page counts metres as the sheet millimetres."""
GEODETIC = "EPSG:4326"
FIT_STEPS = 7
"""Places along each side of the map that the polynomial for degrees is fitted to (our choice)."""
KM = 1000.0


@dataclass(frozen=True)
class Place:
    """The page's map on the ground.

    Attributes
    ----------
    map_from_ground : (east, north) in the CRS -> metres right and up from the lower left corner of the map
    width_m, height_m : size of the map
    """

    map_from_ground: Affine
    width_m: float
    height_m: float
    crs: str
    north: MagneticNorth

    def on_map(self, points: NDArray[np.float64], /) -> NDArray[np.float64]:
        """(n, 2) of east, north -> (n, 2) of metres right and up."""
        turn = self.map_from_ground
        moved: NDArray[np.float64] = points @ [[turn.a, turn.d], [turn.b, turn.e]] + [turn.c, turn.f]
        return moved

    def degrees_by(self) -> dict[str, list[float]]:
        """Coefficients of polynomials of the second degree that give WGS 84 degrees on the map, without a library.

        Terms are 1, x, y, x2, xy, y2, with x and y in kilometres from the middle of the map. Fitted on a grid of places
        over the map: over 10 km the curvature they leave out is below a centimetre.

        Returns
        -------
        `latitude`, `longitude` : six numbers each; `middle` : the middle of the map in metres
        """
        across, up = np.meshgrid(np.linspace(0, self.width_m, FIT_STEPS), np.linspace(0, self.height_m, FIT_STEPS))
        ground = np.array([~self.map_from_ground @ place for place in zip(across.flat, up.flat, strict=True)])
        to_degrees = pyproj.Transformer.from_crs(pyproj.CRS.from_user_input(self.crs), GEODETIC, always_xy=True)
        longitude, latitude = to_degrees.transform(ground[:, 0], ground[:, 1])
        middle = [self.width_m / 2, self.height_m / 2]
        x, y = (across.ravel() - middle[0]) / KM, (up.ravel() - middle[1]) / KM
        terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
        found = {"middle": middle}
        for name, values in (("latitude", latitude), ("longitude", longitude)):
            found[name] = cast("list[float]", np.linalg.lstsq(terms, np.asarray(values), rcond=None)[0].tolist())
        return found


def place_of_page(outline: Polygon | MultiPolygon, /, *, crs: str, map_date: datetime.date) -> Place:
    """The page's map of an area.

    Raises
    ------
    ValueError
        If the place or date lies outside the magnetic model.
    """
    north = north_of_area(outline, crs=crs, date=map_date)
    frame = frame_of(outline, north=north, scale=METRE_IS_MM)
    return Place(frame.map_from_ground, frame.width_mm, frame.height_mm, crs, north)
