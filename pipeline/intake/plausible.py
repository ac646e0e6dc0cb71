"""Whether the coordinates of the tiles can be what their coordinate system says: degrees, axes, area of use."""

from __future__ import annotations

import math

import pyproj
from pyproj.exceptions import ProjError

from pipeline.errors import SurveyError
from pipeline.intake.tile_crs import TileCrs
from pipeline.lattice.grid import Bounds

_LONGEST_AREA = 60  # letters of an area of use that are printed; some list a dozen countries
_BEYOND_HOME_DEG = 3  # surveys run half a UTM zone over the border of the area of use (common practice, no source)


def check_plausible(source: TileCrs, outer: Bounds, /, *, name: str) -> list[str]:
    """Cautions about coordinates, in words; none where they lie where the CRS is made for.

    Parameters
    ----------
    source : TileCrs
        With a plan.
    outer : Bounds
        Around all tiles, in their own units.
    name : str
        A tile to name in messages.

    Raises
    ------
    SurveyError
        If the coordinates cannot be what the CRS says: degrees taken for metres or the reverse, or swapped axes.
    """
    plan = pyproj.CRS.from_wkt(str(source.plan_wkt))
    west, south, east, north = outer
    numbers = f"x {west:.10g} to {east:.10g}, y {south:.10g} to {north:.10g}"
    advice = "Write the right one as 'crs:' in the area file, and below it 'crs_overrides: true'."
    if source.is_geographic:
        if max(abs(west), abs(east)) > 180 or max(abs(south), abs(north)) > 90:
            swapped = max(abs(west), abs(east)) <= 90 and max(abs(south), abs(north)) <= 180
            what = "latitude and longitude are swapped" if swapped else "they are no degrees"
            raise SurveyError(f"{name}: the coordinates ({numbers}) do not fit {source.name}: {what}. {advice}")
    elif max(abs(west), abs(east)) <= 180 and max(abs(south), abs(north)) <= 90 and east - west < 2 > north - south:
        raise SurveyError(f"{name}: the coordinates ({numbers}) look like degrees, not like {source.name}. {advice}")
    if not _is_reachable(plan, outer):
        raise SurveyError(f"{name}: the coordinates ({numbers}) lie outside {source.name}. {advice}")
    if is_at_home(plan, outer):
        return []
    if is_at_home(plan, (south, west, north, east)):
        raise SurveyError(f"{name}: the axes are swapped: x and y ({numbers}) fit {source.name} only the other way.")
    area = plan.area_of_use.name.rstrip(".") if plan.area_of_use else "another place"
    area = area if len(area) <= _LONGEST_AREA else area[:_LONGEST_AREA].rstrip() + " ..."
    return [f"the coordinates lie outside the area {source.name} is made for ({area}); check 'crs:'"]


def _is_reachable(plan: pyproj.CRS, bounds: Bounds) -> bool:
    try:
        return all(map(math.isfinite, middle_lon_lat(plan, bounds)))
    except ProjError:
        return False


def is_at_home(plan: pyproj.CRS, bounds: Bounds, /) -> bool:
    """Whether the middle lies in the CRS's area of use, or up to three degrees outside; True where it names none."""
    area = plan.area_of_use
    if area is None:
        return True
    try:
        lon_deg, lat_deg = middle_lon_lat(plan, bounds)
    except ProjError:
        return False
    if not area.south - _BEYOND_HOME_DEG <= lat_deg <= area.north + _BEYOND_HOME_DEG:
        return False
    east_of_west_deg = (lon_deg - (area.west - _BEYOND_HOME_DEG)) % 360
    return east_of_west_deg <= (area.east - area.west) % 360 + 2 * _BEYOND_HOME_DEG or area.east - area.west >= 360


def middle_lon_lat(plan: pyproj.CRS, outer: Bounds, /) -> tuple[float, float]:
    """Longitude and latitude in degrees of the middle of bounds in the units of `plan`, on its own datum."""
    west, south, east, north = outer
    to_degrees = pyproj.Transformer.from_crs(plan, plan.geodetic_crs, always_xy=True)
    lon_deg, lat_deg = to_degrees.transform((west + east) / 2, (south + north) / 2)
    return float(lon_deg), float(lat_deg)
