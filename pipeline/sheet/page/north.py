"""Magnetic north at the place and date of a map.

The declination comes from the World Magnetic Model (NOAA/NCEI and British Geological Survey): WMM2025 for 2025.0 to
2030.0, WMM2020 for 2020.0 to 2025.0. A map in a projected CRS needs one turn more, from true to grid north: the
meridian convergence of the projection. The model leaves out the magnetism of the crust; near iron-bearing rock the
needle can differ by degrees from it.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from pygeomag import GeoMag
from pygeomag.wmm.wmm_2020 import WMM_2020
from pygeomag.wmm.wmm_2025 import WMM_2025
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Polygon

from pipeline.features import make_features

NORTH_LINE_SPACING_M = 300.0
"""ISOM 2017-2, 601: 20 mm at 1:15 000, 30 mm at 1:10 000."""
NORTH_LINE = "601"
SHEET_EDGE = "600"
"""ISOM gives the limit of the mapped area no number; 600 is ours, free in the norm's technical section."""
WMM2025_START, WMM2025_END, WMM2020_START = 2025.0, 2030.0, 2020.0
"""Decimal years between which each model is valid."""
DECLINATION_FLOOR_DEG = 0.26
DECLINATION_PER_FIELD_DEG_NT = 5417.0
"""Error model of WMM2025: sqrt(0.26^2 + (5417/H)^2) degrees; the constants are published with the model, the form
of the sum is from memory."""
LEAST_FIELD_NT = 2000.0
"""Blackout zone of the WMM: with a horizontal field below this the compass cannot be used."""


@dataclass(frozen=True)
class MagneticNorth:
    """Where a compass points at one place and date.

    Attributes
    ----------
    declination_deg : float
        Magnetic north, clockwise from true north.
    error_deg : float
        Standard error of the declination.
    convergence_deg : float
        Grid north, clockwise from true north.
    scale_factor : float
        Metres of the grid for one metre on the ellipsoid.
    yearly_change_deg : float
        How much further east magnetic north lies a year later.
    """

    declination_deg: float
    error_deg: float
    convergence_deg: float
    scale_factor: float
    latitude_deg: float
    longitude_deg: float
    model: str
    date: datetime.date
    yearly_change_deg: float = 0.0

    @property
    def grid_deg(self) -> float:
        """Magnetic north, clockwise from grid north: declination less convergence."""
        return self.declination_deg - self.convergence_deg


def decimal_year(date: datetime.date, /) -> float:
    """A date as a decimal year: 2027-01-01 is 2027.0."""
    start = datetime.date(date.year, 1, 1)
    days = (datetime.date(date.year + 1, 1, 1) - start).days
    return date.year + (date - start).days / days


def declination(
    *, latitude_deg: float, longitude_deg: float, year: float, height_m: float = 0.0
) -> tuple[float, float, str]:
    """Declination, its standard error (both in degrees) and the name of the model.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        WGS 84.
    year : float
        Decimal year.
    height_m : float
        Above the ellipsoid; 1000 m change the declination by less than 0.02 degrees below 80 degrees of latitude.

    Raises
    ------
    ValueError
        If the year lies outside the models, or the place where the horizontal field is too weak for a compass.
    """
    if not WMM2020_START <= year < WMM2025_END:
        raise ValueError(f"{year:.2f} is outside the World Magnetic Models known here (2020.0 to 2030.0)")
    recent = year >= WMM2025_START
    model = GeoMag(coefficients_data=WMM_2025 if recent else WMM_2020)
    field = model.calculate(glat=latitude_deg, glon=longitude_deg, alt=height_m / 1000, time=year)
    if field.h < LEAST_FIELD_NT:
        raise ValueError(f"so near the magnetic pole (horizontal field {field.h:.0f} nT) a compass does not work")
    error_deg = math.hypot(DECLINATION_FLOOR_DEG, DECLINATION_PER_FIELD_DEG_NT / field.h)
    return float(field.d), error_deg, "WMM2025" if recent else "WMM2020"


def magnetic_north(east_m: float, north_m: float, /, *, crs: str, date: datetime.date) -> MagneticNorth:
    """Magnetic north at a place of a projected CRS.

    Raises
    ------
    ValueError
        If the CRS is not projected, or as for `declination`.
    """
    projected = pyproj.CRS.from_user_input(crs)
    if not projected.is_projected:
        raise ValueError(f"{crs} is not a projected coordinate system")
    to_wgs84 = pyproj.Transformer.from_crs(projected, "EPSG:4326", always_xy=True)
    longitude_deg, latitude_deg = to_wgs84.transform(east_m, north_m)
    own_longitude_deg, own_latitude_deg = pyproj.Proj(projected)(east_m, north_m, inverse=True)
    factors = pyproj.Proj(projected).get_factors(own_longitude_deg, own_latitude_deg)
    year = decimal_year(date)
    declination_deg, error_deg, model = declination(latitude_deg=latitude_deg, longitude_deg=longitude_deg, year=year)
    # A year later, or before where the models end; the change within a model is nearly even.
    step = 1.0 if year + 1 < WMM2025_END else -1.0
    other_deg, _, _ = declination(latitude_deg=latitude_deg, longitude_deg=longitude_deg, year=year + step)
    return MagneticNorth(
        declination_deg=declination_deg,
        error_deg=error_deg,
        convergence_deg=float(factors.meridian_convergence),
        scale_factor=math.sqrt(float(factors.areal_scale)),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        model=model,
        date=date,
        yearly_change_deg=(other_deg - declination_deg) / step,
    )


def north_of_area(outline: Polygon | MultiPolygon, /, *, crs: str, date: datetime.date) -> MagneticNorth:
    """Magnetic north in the middle of an area."""
    middle = shapely.box(*outline.bounds).centroid
    return magnetic_north(middle.x, middle.y, crs=crs, date=date)


def technical_lines(
    outline: Polygon | MultiPolygon,
    /,
    *,
    crs: str,
    map_date: datetime.date,
    spacing_m: float = NORTH_LINE_SPACING_M,
) -> gpd.GeoDataFrame:
    """Magnetic north lines (601) and the edge of the mapped area (600) as features.

    The lines run south to north, `spacing_m` apart on the ground, clipped to the area. Their places are counted from
    the origin of the CRS, so a larger outline of the same area keeps the lines it had.

    Returns
    -------
    GeoDataFrame of LineStrings with the columns of `pipeline.features.make_features`.
    """
    north = north_of_area(outline, crs=crs, date=map_date)
    lines = north_lines(outline, north_deg=north.grid_deg, spacing_m=spacing_m * north.scale_factor)
    edges = [LineString(ring.coords) for part in _parts(outline) for ring in (part.exterior, *part.interiors)]
    evidence = (
        f"{north.model} at {north.latitude_deg:.3f}, {north.longitude_deg:.3f} on {north.date}: "
        f"declination {north.declination_deg:.2f}, convergence {north.convergence_deg:.2f} degrees"
    )
    return make_features(
        [*lines, *edges],
        crs=crs,
        symbol=[NORTH_LINE] * len(lines) + [SHEET_EDGE] * len(edges),
        confidence=1.0,
        evidence=[evidence] * len(lines) + ["limit of the mapped area"] * len(edges),
    )


def north_lines(outline: Polygon | MultiPolygon, /, *, north_deg: float, spacing_m: float) -> list[LineString]:
    """Lines towards `north_deg` (clockwise from grid north), `spacing_m` apart in the grid, clipped to the outline.

    At least one: an area narrower than the spacing gets a line through its middle.
    """
    origin = (0.0, 0.0)
    upright = affinity.rotate(outline, north_deg, origin=origin)
    west, south, east, north = upright.bounds
    places = np.arange(math.ceil(west / spacing_m), math.floor(east / spacing_m) + 1) * spacing_m
    if places.size == 0:
        places = np.array([(west + east) / 2])
    lines: list[LineString] = []
    for place in places:
        inside = shapely.intersection(upright, LineString([(place, south - 1), (place, north + 1)]))
        pieces = [part for part in shapely.get_parts(inside) if isinstance(part, LineString) and part.length > 0]
        northward = [LineString(sorted(part.coords, key=lambda point: point[1])) for part in pieces]
        lines += [affinity.rotate(line, -north_deg, origin=origin) for line in northward]
    return lines


def _parts(outline: Polygon | MultiPolygon) -> list[Polygon]:
    return [outline] if isinstance(outline, Polygon) else list(outline.geoms)
