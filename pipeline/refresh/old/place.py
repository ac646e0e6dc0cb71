"""Where an earlier map lies beside new tiles, and what may be wrong where it lies elsewhere."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import CRSInfo, query_crs_info
from pyproj.enums import PJType

Bounds = tuple[float, float, float, float]
DEGREES = "EPSG:4326"
SAME_M = 3.0
"""Systems in which a map lies within this of where another one puts it are one choice, in metres."""
ZONE_DEG = 6.0
"""Width of a zone of the UTM: a map may be in that of the neighbour."""
MOST_TRIED, MOST_NAMED = 600, 3
"""Coordinate systems that are tried, and named, where a map lies elsewhere (our choice: they are tried in a second)."""


def apart_m(one: Bounds, other: Bounds, /) -> float:
    """Distance in metres between two rectangles; 0 where they overlap."""
    east = max(one[0] - other[2], other[0] - one[2], 0.0)
    north = max(one[1] - other[3], other[1] - one[3], 0.0)
    return float(np.hypot(east, north))


def fitting_systems(own: Bounds, crs: str, area: Bounds, /) -> list[str]:
    """Coordinate systems as which a map's coordinates would lie on the new area, and whether its axes are swapped.

    Parameters
    ----------
    own : west, south, east, north as the map's numbers have it
    crs : the working CRS, in which `area` is told
    """
    to_degrees = pyproj.Transformer.from_crs(crs, DEGREES, always_xy=True)
    west, south, east, north = to_degrees.transform_bounds(*area)
    swapped = (own[1], own[0], own[3], own[2])
    found: list[str] = []
    places: list[tuple[float, float]] = []
    for name, label in _systems(crs, (west, south, east, north)):
        for bounds, words in ((own, ""), (swapped, ", east and north swapped")):
            at = _middle(bounds, name, crs)
            is_new = all(np.hypot(at[0] - e, at[1] - n) > SAME_M for e, n in places)
            if area[0] <= at[0] <= area[2] and area[1] <= at[1] <= area[3] and is_new:
                places.append(at)
                found.append(f"{label}{words}")
        if len(found) >= MOST_NAMED:
            break
    return found[:MOST_NAMED]


def _systems(crs: str, degrees: Bounds) -> Iterator[tuple[str, str]]:
    """The working CRS, degrees, and the projected systems in use there; each as a code and in words."""
    yield crs, f"{crs} ({pyproj.CRS(crs).name})"
    yield DEGREES, f"{DEGREES} (longitude and latitude)"
    there, around = (AreaOfInterest(*degrees), AreaOfInterest(*_wider(degrees)))
    for one in [*_known(there, contains=True), *_known(around, contains=False)][:MOST_TRIED]:
        code = f"{one.auth_name}:{one.code}"
        if code != crs:
            yield code, f"{code} ({one.name})"


def _known(there: AreaOfInterest, *, contains: bool) -> list[CRSInfo]:
    """Projected systems in use in all of an area, or in some of it."""
    return query_crs_info(auth_name="EPSG", pj_types=PJType.PROJECTED_CRS, area_of_interest=there, contains=contains)


def _wider(degrees: Bounds) -> Bounds:
    """As far around as the next zone of a projection reaches."""
    west, south, east, north = degrees
    return max(west - ZONE_DEG, -180.0), max(south - 0.1, -90.0), min(east + ZONE_DEG, 180.0), min(north + 0.1, 90.0)


def _middle(own: Bounds, name: str, crs: str) -> tuple[float, float]:
    """Where the middle of a map lies, read in a system; infinite where that cannot be."""
    try:
        to_area = pyproj.Transformer.from_crs(name, crs, always_xy=True)
        east, north = to_area.transform((own[0] + own[2]) / 2, (own[1] + own[3]) / 2)
    except pyproj.exceptions.ProjError:
        return float("inf"), float("inf")
    return float(east), float(north)
