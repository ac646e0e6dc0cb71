"""Coordinate systems and units: what the tiles say, and the metric working CRS everything is drawn in.

Plan and height are kept apart throughout: a survey may well have its plan in US survey feet and its heights in metres.
Heights are only ever scaled to metres; they keep the vertical datum they came in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError, ProjError

from pipeline.errors import SurveyError
from pipeline.lattice.grid import Bounds
from pipeline.settings import SurveySettings

MAX_SCALE_ERROR_RATIO = 0.01
"""Stretch of the tiles' projection above which UTM replaces it; national grids stay below 0.005."""

INTERNATIONAL_FOOT_M = 0.3048
"""Exactly, by the international yard and pound agreement of 1959 (EPSG unit 9002)."""
US_SURVEY_FOOT_M = 1200 / 3937
"""Exactly, by the Mendenhall Order of 1893 (EPSG unit 9003)."""

METRES_PER_DEGREE = 111_320.0
"""Of latitude, roughly: the equator's 40 075 km over 360 (arithmetic)."""

HEIGHT_UNITS_M: Mapping[str, float] = {
    "metre": 1.0,
    "foot": INTERNATIONAL_FOOT_M,
    "us_survey_foot": US_SURVEY_FOOT_M,
}
"""The units an area file may name, in metres."""

# EPSG codes of the linear units that GeoTIFF keys 3076 and 4099 may hold (OGC GeoTIFF 1.1, clause 7.5.2; EPSG dataset).
_LINEAR_UNITS_M = {9001: 1.0, 9002: INTERNATIONAL_FOOT_M, 9003: US_SURVEY_FOOT_M}

GEOGRAPHIC_KEY, PROJECTED_KEY, USER_DEFINED = 2048, 3072, 32767
"""GeoTIFF keys that name a CRS, and what they hold where it is spelt out instead (OGC GeoTIFF 1.1, annex B)."""
# The keys of units and of the vertical CRS (OGC GeoTIFF 1.1, annex B).
_KEY_PLAN_UNIT, _KEY_VERTICAL, _KEY_HEIGHT_UNIT = 3076, 4096, 4099

_LONGEST_AREA = 60
_WORLD_DATUM = "WGS 84"

# UTM is defined between these latitudes (NGA.SIG.0012, Universal Grids).
_UTM_SOUTH_DEG, _UTM_NORTH_DEG = -80.0, 84.0


@dataclass(frozen=True)
class TileCrs:
    """What one tile says about its coordinates.

    Attributes
    ----------
    plan_wkt : str or None
        The horizontal CRS; None where the tile has none, or none that can be understood.
    name : str
        Name of the horizontal CRS, "" without one.
    plan_unit_m : float or None
        Metres in one unit of the plan; None for degrees and where unknown.
    height_wkt : str or None
        The vertical CRS.
    height_name : str
    height_unit_m : float or None
        Metres in one unit of the heights; None where the tile does not say.
    caution : str
        What is odd about it in words, "" where nothing is.
    """

    plan_wkt: str | None = None
    name: str = ""
    plan_unit_m: float | None = None
    height_wkt: str | None = None
    height_name: str = ""
    height_unit_m: float | None = None
    caution: str = ""

    @property
    def is_geographic(self) -> bool:
        """Whether the plan is in degrees."""
        return self.plan_wkt is not None and self.plan_unit_m is None


@dataclass(frozen=True)
class WorkingCrs:
    """The metric CRS of an area and how its tiles come into it.

    Attributes
    ----------
    crs : str
        The working CRS as an authority code where it has one, else WKT; projected, metres.
    name : str
    source_crs : str
        The CRS of the tiles, written the same way.
    source_name : str
    given_height_unit_m : float or None
        The unit of heights the area file names; None to believe each tile.
    reason : str
        Why this CRS, in words.
    cautions : tuple of str
    """

    crs: str
    name: str
    source_crs: str
    source_name: str
    given_height_unit_m: float | None = None
    reason: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def is_reprojected(self) -> bool:
        """Whether the plan of the tiles changes on the way in."""
        return self.crs != self.source_crs


def unit_in_words(unit_m: float | None, /) -> str:
    """Name of a length unit given in metres; None means degrees."""
    if unit_m is None:
        return "degrees"
    for name, known_m in (
        ("metres", 1.0),
        ("international feet", INTERNATIONAL_FOOT_M),
        ("US survey feet", US_SURVEY_FOOT_M),
    ):
        if math.isclose(unit_m, known_m, rel_tol=1e-9):
            return name
    return f"units of {unit_m:g} m"


# ---------------------------------------------------------------- what a tile says


def crs_from_wkt(text: str, /) -> TileCrs:
    """What a well-known text says; a text PROJ cannot read gives an unknown CRS with a caution."""
    try:
        crs = pyproj.CRS.from_wkt(text.strip("\0 \r\n\t"))
    except CRSError:
        return TileCrs(caution="its coordinate system is written in a way PROJ cannot read")
    return _describe(crs)


def crs_from_geotiff_keys(keys: Mapping[int, int], /, *, user_defined_wkt: str | None = None) -> TileCrs:
    """What the GeoTIFF keys of a LAS file say.

    Parameters
    ----------
    keys : mapping
        Key number to its short value; keys with text or double values are left out.
    user_defined_wkt : str or None
        The horizontal CRS read by other means, for keys that spell a projection out instead of naming its code.

    Source
    ------
    OGC GeoTIFF 1.1 (OGC 19-008r4), clause 7 and annex B. The unit of heights follows key 4099, then the vertical CRS.
    """
    code = keys.get(PROJECTED_KEY) or keys.get(GEOGRAPHIC_KEY)
    if code is None or not 1024 <= code < USER_DEFINED:
        plan = crs_from_wkt(user_defined_wkt) if user_defined_wkt else TileCrs()
    else:
        plan = _describe_code(code)
    plan_key_m = _LINEAR_UNITS_M.get(keys.get(_KEY_PLAN_UNIT, 0))
    caution = plan.caution
    if plan_key_m and plan.plan_unit_m and not math.isclose(plan_key_m, plan.plan_unit_m, rel_tol=1e-9):
        caution = (
            f"it names {plan.name}, which is in {unit_in_words(plan.plan_unit_m)}, "
            f"yet says {unit_in_words(plan_key_m)}; the former is believed"
        )
    vertical = _vertical_of_code(keys.get(_KEY_VERTICAL))
    height_unit_m = _LINEAR_UNITS_M.get(keys.get(_KEY_HEIGHT_UNIT, 0))
    if height_unit_m is None and vertical is not None:
        height_unit_m = _height_unit_m(vertical)
    return TileCrs(
        plan.plan_wkt,
        plan.name,
        plan.plan_unit_m,
        vertical.to_wkt() if vertical else plan.height_wkt,
        vertical.name if vertical else plan.height_name,
        height_unit_m if height_unit_m is not None else plan.height_unit_m,
        caution,
    )


def _describe_code(code: int) -> TileCrs:
    try:
        return _describe(pyproj.CRS.from_epsg(code))
    except CRSError:
        return TileCrs(caution=f"it names the coordinate system EPSG:{code}, which PROJ does not know")


def _vertical_of_code(code: int | None) -> pyproj.CRS | None:
    """The vertical CRS of a code; None for the datum codes old GeoTIFF writers put there."""
    if code is None or not 1024 <= code < USER_DEFINED:
        return None
    try:
        crs = pyproj.CRS.from_epsg(code)
    except CRSError:
        return None
    return crs if crs.is_vertical and len(crs.axis_info) == 1 else None


def _describe(crs: pyproj.CRS) -> TileCrs:
    """Plan and height of a CRS that may be compound, bound or three-dimensional."""
    if crs.is_bound and crs.source_crs is not None:
        return _describe(crs.source_crs)
    if crs.is_compound:
        plan, height = _describe(crs.sub_crs_list[0]), crs.sub_crs_list[1]
        unit_m = _height_unit_m(height)
        return TileCrs(plan.plan_wkt, plan.name, plan.plan_unit_m, height.to_wkt(), height.name, unit_m, plan.caution)
    if not (crs.is_projected or crs.is_geographic):
        return TileCrs(caution=f"its coordinate system {crs.name} is neither projected nor geographic")
    axes = crs.axis_info
    height_unit_m = _height_unit_m(crs) if len(axes) > 2 else None
    plan_crs = crs.to_2d() if len(axes) > 2 else crs
    plan_unit_m = None if crs.is_geographic else float(axes[0].unit_conversion_factor)
    height_name = "ellipsoidal height" if len(axes) > 2 else ""
    return TileCrs(plan_crs.to_wkt(), crs.name, plan_unit_m, None, height_name, height_unit_m)


def _height_unit_m(vertical: pyproj.CRS) -> float:
    """Metres in one unit of the last axis.

    Some software writes feet with the factor of the metre; a unit that is called a foot is one.
    """
    axis = vertical.axis_info[-1]
    factor, name = float(axis.unit_conversion_factor), axis.unit_name.lower()
    if factor == 1.0 and ("foot" in name or "feet" in name):
        return US_SURVEY_FOOT_M if "us" in name.split() or "survey" in name else INTERNATIONAL_FOOT_M
    return factor


# ---------------------------------------------------------------- the working CRS


def choose_working_crs(
    tiles: Mapping[str, tuple[TileCrs, Bounds]],
    /,
    *,
    given_crs: str | None = None,
    given_height_unit: str | None = None,
    settings: SurveySettings,
) -> WorkingCrs:
    """The metric CRS to work in.

    A projected CRS in metres stays as it is. One in feet, or one that stretches distances so much that no map could be
    measured on it (web maps), gives way to the UTM zone of the middle of the tiles, on the same datum where such a zone
    is defined. One in degrees does so too where `settings.reproject_geographic` allows it.

    Parameters
    ----------
    tiles : mapping
        File name to what the tile says of its CRS and its bounds in its own units.
    given_crs : str or None
        The CRS of the area file; replaces what the tiles say.
    given_height_unit : str or None
        metre, foot or us_survey_foot; replaces what the tiles say.

    Raises
    ------
    SurveyError
        If a tile has no CRS and none is given, tiles are in two CRSs, the CRS is in degrees and that is not allowed,
        or the coordinates cannot be what the CRS says.
    """
    source = _common_crs(tiles, given_crs)
    outer = _outer_bounds([bounds for _, bounds in tiles.values()])
    first = next(iter(tiles))
    cautions = [f"{name}: {crs.caution}" for name, (crs, _) in tiles.items() if crs.caution and given_crs is None]
    cautions += _check_plausible(source, outer, first)
    if source.is_geographic and not settings.reproject_geographic:
        raise SurveyError(
            f"{first}: the tiles are in degrees ({source.name}), and Tussock measures in metres. Reproject them to a "
            "metric coordinate system such as the UTM zone of the area; or, if the coordinates are metres and the tile "
            "says it wrongly, write the right one as 'crs:' in the area file."
        )
    unit_m = HEIGHT_UNITS_M[given_height_unit] if given_height_unit else None
    plan = pyproj.CRS.from_wkt(str(source.plan_wkt))
    working, reason = _metric_crs(plan, source, outer, first, MAX_SCALE_ERROR_RATIO)
    source_text = crs_text(plan)
    return WorkingCrs(crs_text(working), working.name, source_text, source.name, unit_m, reason, tuple(cautions))


def _common_crs(tiles: Mapping[str, tuple[TileCrs, Bounds]], given_crs: str | None) -> TileCrs:
    """The one CRS of all tiles, or the given one."""
    if not tiles:
        raise SurveyError("there are no tiles")
    if given_crs is not None:
        given = _describe(pyproj.CRS.from_user_input(given_crs))
        if given.plan_wkt is None:
            raise SurveyError(f"'crs: {given_crs}' in the area file cannot be used: {given.caution}")
        return given
    without = [name for name, (crs, _) in tiles.items() if crs.plan_wkt is None]
    if without:
        why = tiles[without[0]][0].caution or "it has no coordinate system"
        raise SurveyError(
            f"{_some_of(without)}: {why}. Ask whoever made the tiles, and write it in the area file, "
            "for example 'crs: EPSG:25832'."
        )
    # Naming a CRS takes PROJ up to a second, so each spelling is looked up once.
    texts = {wkt: crs_text(pyproj.CRS.from_wkt(str(wkt))) for wkt in {crs.plan_wkt for crs, _ in tiles.values()}}
    groups: dict[str, list[str]] = {}
    for name, (crs, _) in tiles.items():
        groups.setdefault(texts[crs.plan_wkt], []).append(name)
    if len(groups) > 1:
        parts = [f"{tiles[names[0]][0].name}: {_some_of(names)}" for names in groups.values()]
        raise SurveyError(
            "the tiles are in different coordinate systems (" + "; ".join(parts) + "). Use tiles of one system, or, if "
            "they are the same and some say it wrongly, write it as 'crs:' in the area file."
        )
    return next(iter(tiles.values()))[0]


def _some_of(names: Sequence[str]) -> str:
    """Some of the names, at most three, and how many more there are."""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more


def crs_text(crs: pyproj.CRS, /) -> str:
    """The authority code of a CRS where it certainly has one, else its WKT: two spellings of one CRS give one text."""
    authority = crs.to_authority(auth_name="EPSG", min_confidence=70)
    return ":".join(authority) if authority else str(crs.to_wkt())


def _outer_bounds(all_bounds: Sequence[Bounds]) -> Bounds:
    west, south, east, north = zip(*all_bounds, strict=True)
    return min(west), min(south), max(east), max(north)


def _metric_crs(
    plan: pyproj.CRS, source: TileCrs, outer: Bounds, name: str, max_scale_error_ratio: float
) -> tuple[pyproj.CRS, str]:
    """The metric CRS for tiles in `plan`, and why."""
    lon_deg, lat_deg = _middle_lon_lat(plan, outer)
    if source.plan_unit_m is not None and math.isclose(source.plan_unit_m, 1.0, rel_tol=1e-9):
        # Far from home a projection's stretch says nothing but that the coordinates are not from there.
        error_ratio = _scale_error_ratio(plan, lon_deg, lat_deg) if _is_at_home(plan, outer) else 0.0
        if error_ratio <= max_scale_error_ratio:
            return plan, "the tiles are in metres already"
        return _utm(plan, lon_deg, lat_deg, name), f"{source.name} stretches distances by {error_ratio:.0%} here"
    return _utm(plan, lon_deg, lat_deg, name), f"the tiles are in {unit_in_words(source.plan_unit_m)}"


def _middle_lon_lat(plan: pyproj.CRS, outer: Bounds) -> tuple[float, float]:
    west, south, east, north = outer
    to_degrees = pyproj.Transformer.from_crs(plan, plan.geodetic_crs, always_xy=True)
    lon_deg, lat_deg = to_degrees.transform((west + east) / 2, (south + north) / 2)
    return float(lon_deg), float(lat_deg)


def _scale_error_ratio(plan: pyproj.CRS, lon_deg: float, lat_deg: float) -> float:
    """How far a metre of the plan is from a metre on the ground, as a share; 0 where PROJ cannot tell."""
    factors = pyproj.Proj(plan).get_factors(lon_deg, lat_deg, errcheck=False)
    scales = (float(factors.tissot_semimajor), float(factors.tissot_semiminor))
    return max(abs(scale - 1) for scale in scales) if all(map(math.isfinite, scales)) else 0.0


def _utm(plan: pyproj.CRS, lon_deg: float, lat_deg: float, name: str) -> pyproj.CRS:
    """The UTM zone of a place, on the datum of `plan` where one is defined, else on WGS 84."""
    if not _UTM_SOUTH_DEG <= lat_deg <= _UTM_NORTH_DEG:
        raise SurveyError(
            f"{name}: the tiles would lie at {lat_deg:.2f} degrees of latitude, where no UTM zone is defined; "
            "their axes are probably swapped. Write the right coordinate system as 'crs:' in the area file, or "
            "reproject the tiles."
        )
    datum = plan.geodetic_crs.name if plan.geodetic_crs else _WORLD_DATUM
    code = _utm_code(datum, lon_deg, lat_deg) or _utm_code(_WORLD_DATUM, lon_deg, lat_deg)
    if code is None:
        raise SurveyError(
            f"{name}: no UTM zone is known for {lon_deg:.3f} east, {lat_deg:.3f} north; reproject the tiles."
        )
    return pyproj.CRS.from_epsg(code)


def _utm_code(datum: str, lon_deg: float, lat_deg: float) -> int | None:
    """EPSG code of the plain UTM zone of a place on a datum; None where there is none.

    National variants with swapped axes or the zone before the easting have longer names. Zones overlap by a hair at
    their edges: the lowest code makes the choice independent of the database's order.
    """
    place = AreaOfInterest(lon_deg, lat_deg, lon_deg, lat_deg)
    zones = query_utm_crs_info(datum_name=datum, area_of_interest=place, contains=True)
    plain = re.compile(re.escape(datum) + r" / UTM zone \d+[NS]")
    return min((int(zone.code) for zone in zones if plain.fullmatch(zone.name)), default=None)


# ---------------------------------------------------------------- plausible coordinates


def _check_plausible(source: TileCrs, outer: Bounds, name: str) -> list[str]:
    """Cautions about coordinates; refuses those that cannot be what the CRS says."""
    plan = pyproj.CRS.from_wkt(str(source.plan_wkt))
    west, south, east, north = outer
    numbers = f"x {west:.10g} to {east:.10g}, y {south:.10g} to {north:.10g}"
    advice = "Write the right one as 'crs:' in the area file."
    if source.is_geographic:
        if max(abs(west), abs(east)) > 180 or max(abs(south), abs(north)) > 90:
            swapped = max(abs(west), abs(east)) <= 90 and max(abs(south), abs(north)) <= 180
            what = "latitude and longitude are swapped" if swapped else "they are no degrees"
            raise SurveyError(f"{name}: the coordinates ({numbers}) do not fit {source.name}: {what}. {advice}")
    elif max(abs(west), abs(east)) <= 180 and max(abs(south), abs(north)) <= 90 and east - west < 2 > north - south:
        raise SurveyError(f"{name}: the coordinates ({numbers}) look like degrees, not like {source.name}. {advice}")
    if not _is_reachable(plan, outer):
        raise SurveyError(f"{name}: the coordinates ({numbers}) lie outside {source.name}. {advice}")
    if _is_at_home(plan, outer):
        return []
    if _is_at_home(plan, (south, west, north, east)):
        raise SurveyError(f"{name}: the axes are swapped: x and y ({numbers}) fit {source.name} only the other way.")
    area = plan.area_of_use.name.rstrip(".") if plan.area_of_use else "another place"
    area = area if len(area) <= _LONGEST_AREA else area[:_LONGEST_AREA].rstrip() + " ..."
    return [f"the coordinates lie outside the area {source.name} is made for ({area}); check 'crs:'"]


def _is_reachable(plan: pyproj.CRS, bounds: Bounds) -> bool:
    try:
        return all(map(math.isfinite, _middle_lon_lat(plan, bounds)))
    except ProjError:
        return False


def _is_at_home(plan: pyproj.CRS, bounds: Bounds) -> bool:
    """Whether the middle lies in the CRS's area of use, give or take three degrees; True where it names none."""
    area = plan.area_of_use
    if area is None:
        return True
    try:
        lon_deg, lat_deg = _middle_lon_lat(plan, bounds)
    except ProjError:
        return False
    # Three degrees: surveys run a zone's width over the border of their UTM zone (common practice, no source).
    if not area.south - 3 <= lat_deg <= area.north + 3:
        return False
    east_of_west_deg = (lon_deg - (area.west - 3)) % 360
    return east_of_west_deg <= (area.east - area.west) % 360 + 6 or area.east - area.west >= 360


# ---------------------------------------------------------------- into the working CRS


@dataclass(frozen=True)
class Placement:
    """How the numbers of one tile become metres in the working CRS.

    Attributes
    ----------
    source_crs, crs : str
        The CRS of the tile's plan and the working CRS; the same text where the plan stays as it is.
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
    plan_unit_m = _describe(pyproj.CRS.from_user_input(working.source_crs)).plan_unit_m
    height_unit_m = working.given_height_unit_m or tile.height_unit_m or plan_unit_m or 1.0
    return Placement(working.source_crs, working.crs, height_unit_m)


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
