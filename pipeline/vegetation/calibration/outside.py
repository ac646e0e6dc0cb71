"""Notes that lie outside the area, and what is wrong with their coordinates."""

from __future__ import annotations

import warnings
from collections.abc import Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError
from shapely.geometry import MultiPolygon, Polygon

from pipeline.lattice.grid import EastNorth

DEGREES = "EPSG:4326"
NEXT_ZONE_DEG = 3.0
"""Systems of this many degrees to the east and west are tried too, as places near the edge of a zone are often given in
the next one: half of what a zone of the Universal Transverse Mercator covers."""
MOST_SYSTEMS = 60
"""Coordinate systems tried at most, of those that the list of EPSG gives for the place: each takes 0.05 s."""
NEAR_M = 10.0
"""Notes this far outside the outline are in the area: a watch in forest is no better (our choice)."""
ENOUGH_SHARE = 0.5
"""Where this share of the notes would lie in the area if read otherwise, that is how they were meant (our choice)."""


def inside(place: EastNorth, area: Polygon | MultiPolygon, /) -> NDArray[np.bool_]:
    """(n,) whether each note lies in the area, or NEAR_M beside it."""
    points = shapely.points(np.where(np.isfinite(place), place, 1e12))
    return np.asarray(shapely.dwithin(points, area, NEAR_M), np.bool_)


def why_outside(place: EastNorth, area: Polygon | MultiPolygon, crs: str, /) -> str:
    """What is wrong with notes of which none lies in the area, as the end of a sentence about them.

    Parameters
    ----------
    place : (n, 2) east, north as they were read, in the working CRS
    """
    known = np.isfinite(place).all(axis=1)
    if not known.any():
        return "their coordinates are no places on earth"
    for there, said in _otherwise(place[known], area, crs):
        if inside(there, area).mean() >= ENOUGH_SHARE:
            return said
    middle, notes = area.centroid, np.median(place[known], axis=0)
    away_km = float(np.hypot(notes[0] - middle.x, notes[1] - middle.y)) / 1000
    return (
        f"they lie around east {notes[0]:.0f} north {notes[1]:.0f}, {away_km:,.1f} km from the middle of the area, "
        f"east {middle.x:.0f} north {middle.y:.0f}. Are they of another area, or in another coordinate system "
        f"than {crs}?"
    )


def _otherwise(place: EastNorth, area: Polygon | MultiPolygon, crs: str) -> Iterator[tuple[EastNorth, str]]:
    """The places read in other ways, and what to say where that is the right one."""
    yield place[:, ::-1], "east and north are swapped: exchange the names of the two columns"
    degrees = _moved(place, crs, DEGREES)
    yield (
        _moved(degrees[:, ::-1], DEGREES, crs),
        ("latitude and longitude are swapped: exchange the names of the two columns"),
    )
    if (np.abs(place) <= 180).all():
        said = "these are degrees, not metres: name the columns lon and lat"
        yield _moved(place, DEGREES, crs), said
        yield _moved(place[:, ::-1], DEGREES, crs), f"{said}, the second of them being the longitude"
    for code, name in _systems_at(area, crs):
        said = (
            f"these are coordinates of {code} ({name}), and the area's are {crs}: save them in {crs}, or as lon and lat"
        )
        yield _moved(place, code, crs), said
        yield _moved(place[:, ::-1], code, crs), f"{said}; and east and north are swapped"


def _systems_at(area: Polygon | MultiPolygon, crs: str) -> list[tuple[str, str]]:
    """Projected coordinate systems that are used where the area lies, those of the world's web maps first."""
    west, south, east, north = area.bounds
    corners = _moved(np.array([(west, south), (east, north)]), crs, DEGREES)
    (west_deg, south_deg), (east_deg, north_deg) = corners.min(axis=0), corners.max(axis=0)
    where = AreaOfInterest(west_deg - NEXT_ZONE_DEG, south_deg, east_deg + NEXT_ZONE_DEG, north_deg)
    own = CRS.from_user_input(crs).to_epsg()
    found = query_crs_info("EPSG", PJType.PROJECTED_CRS, where, contains=False)
    codes = [(f"EPSG:{one.code}", one.name) for one in found if not one.deprecated and one.code != str(own)]
    return [("EPSG:3857", "of web maps"), *sorted(codes, key=_how_rare)[:MOST_SYSTEMS]]


def _how_rare(system: tuple[str, str]) -> tuple[bool, bool]:
    """What is tried last: other systems than the zones of the world's grid, and variants with another order of axes."""
    return "UTM" not in system[1], "(" in system[1] or "zE" in system[1]


def _moved(place: EastNorth, source: str, target: str) -> EastNorth:
    """(n, 2) places in another CRS; infinite where they cannot be."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            moved = Transformer.from_crs(source, target, always_xy=True).transform(place[:, 0], place[:, 1])
    except ProjError:
        return np.full_like(place, np.inf)
    return np.column_stack(moved)
