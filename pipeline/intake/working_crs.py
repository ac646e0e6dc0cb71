"""The metric CRS everything is drawn in, chosen from what the tiles and the area file say."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from pipeline.errors import NoCrsError, SurveyError
from pipeline.intake.plausible import check_plausible, is_at_home, middle_lon_lat
from pipeline.intake.tile_crs import TileCrs, describe_crs
from pipeline.intake.units import HEIGHT_UNITS_M, unit_in_words
from pipeline.lattice.grid import Bounds


@dataclass(frozen=True)
class WorkingCrs:
    """The metric CRS of an area and how its tiles come into it.

    Attributes
    ----------
    crs : str
        The working CRS as an authority code where it has one, else WKT; projected, metres.
    name : str
    source_crs : str
        The CRS of the tiles, also as an authority code or WKT.
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


def choose_working_crs(
    tiles: Mapping[str, tuple[TileCrs, Bounds]],
    /,
    *,
    given_crs: str | None = None,
    crs_overrides: bool = False,
    given_height_unit: str | None = None,
    height_unit_overrides: bool = False,
) -> WorkingCrs:
    """The metric CRS to work in.

    A projected CRS in metres stays as it is. One in feet, or one that stretches distances so much that no map could be
    measured on it (web maps), gives way to the UTM zone of the middle of the tiles, on the same datum where such a zone
    is defined. One in degrees does so too.

    Parameters
    ----------
    tiles : mapping
        File name to what the tile says of its CRS and its bounds in its own units.
    given_crs : str or None
        The CRS of the area file, for tiles that say none.
    crs_overrides : bool
        Whether `given_crs` also replaces what tiles say otherwise.
    given_height_unit : str or None
        metre, foot or us_survey_foot, for tiles that do not say their unit of heights.
    height_unit_overrides : bool
        Whether `given_height_unit` also replaces what tiles say otherwise.

    Raises
    ------
    SurveyError
        If a tile has no CRS and none is given, tiles are in two CRSs, one says another CRS or unit of heights than is
        given and that does not override, or the coordinates cannot be what the CRS says.
    """
    source = _common_crs(tiles, given_crs, crs_overrides)
    outer = _outer_bounds([bounds for _, bounds in tiles.values()])
    first = next(iter(tiles))
    cautions = [f"{name}: {crs.caution}" for name, (crs, _) in tiles.items() if crs.caution and given_crs is None]
    cautions += check_plausible(source, outer, name=first)
    unit_m = HEIGHT_UNITS_M[given_height_unit] if given_height_unit else None
    if given_height_unit and not height_unit_overrides:
        _refuse_another_height_unit({name: crs for name, (crs, _) in tiles.items()}, given_height_unit)
    plan = pyproj.CRS.from_wkt(str(source.plan_wkt))
    working, reason = _metric_crs(plan, source, outer, first)
    source_text = crs_text(plan)
    return WorkingCrs(crs_text(working), working.name, source_text, source.name, unit_m, reason, tuple(cautions))


def _common_crs(tiles: Mapping[str, tuple[TileCrs, Bounds]], given_crs: str | None, crs_overrides: bool) -> TileCrs:
    """The one CRS of all tiles, or the given one."""
    if not tiles:
        raise SurveyError("there are no tiles")
    if given_crs is not None:
        given = describe_crs(pyproj.CRS.from_user_input(given_crs))
        if given.plan_wkt is None:
            raise SurveyError(f"'crs: {given_crs}' in the area file cannot be used: {given.caution}")
        if not crs_overrides:
            _refuse_another_crs(tiles, given, given_crs)
        return given
    without = [name for name, (crs, _) in tiles.items() if crs.plan_wkt is None]
    if without:
        why = tiles[without[0]][0].caution or "it has no coordinate system"
        raise NoCrsError(
            f"{_some_of(without)}: {why}. Ask whoever made the tiles, and write it in the area file, "
            "for example 'crs: EPSG:25832'."
        )
    groups = _by_crs(tiles)
    if len(groups) > 1:
        parts = [f"{tiles[names[0]][0].name}: {_some_of(names)}" for names in groups.values()]
        raise SurveyError(
            "the tiles are in different coordinate systems (" + "; ".join(parts) + "). Use tiles of one system, or, if "
            "they are the same and some say it wrongly, write the right one as 'crs:' in the area file, and below it "
            "'crs_overrides: true'."
        )
    return next(iter(tiles.values()))[0]


def _by_crs(tiles: Mapping[str, tuple[TileCrs, Bounds]]) -> dict[str, list[str]]:
    """The CRSs that tiles say, by `crs_text`, each with the names of its tiles."""
    said = {name: crs.plan_wkt for name, (crs, _) in tiles.items() if crs.plan_wkt is not None}
    # Naming a CRS takes PROJ up to a second, so each spelling is looked up once.
    texts = {wkt: crs_text(pyproj.CRS.from_wkt(wkt)) for wkt in set(said.values())}
    groups: dict[str, list[str]] = {}
    for name, wkt in said.items():
        groups.setdefault(texts[wkt], []).append(name)
    return groups


def _refuse_another_crs(tiles: Mapping[str, tuple[TileCrs, Bounds]], given: TileCrs, given_crs: str) -> None:
    """Refuse tiles that say another plan than the area file gives: one is wrong, and only people can know which."""
    given_text = crs_text(pyproj.CRS.from_wkt(str(given.plan_wkt)))
    others = {text: names for text, names in _by_crs(tiles).items() if text != given_text}
    if others:
        said = "; ".join(f"{tiles[names[0]][0].name}: {_some_of(names)}" for names in others.values())
        raise SurveyError(
            f"the area file says 'crs: {given_crs}' ({given.name}), but tiles say another coordinate system ({said}). "
            "Remove the line 'crs:' if the tiles are right; if they are wrong, write below it 'crs_overrides: true'."
        )


def _refuse_another_height_unit(tiles: Mapping[str, TileCrs], given: str) -> None:
    """Refuse tiles that say another unit of heights than the area file gives, as feet for metres triple every hill."""
    given_m = HEIGHT_UNITS_M[given]
    others: dict[float, list[str]] = {}
    for name, crs in tiles.items():
        if crs.height_unit_m is not None and not math.isclose(crs.height_unit_m, given_m, rel_tol=1e-9):
            others.setdefault(crs.height_unit_m, []).append(name)
    if others:
        said = "; ".join(f"{unit_in_words(unit_m)}: {_some_of(names)}" for unit_m, names in others.items())
        raise SurveyError(
            f"the area file says 'height_unit: {given}' ({unit_in_words(given_m)}), but tiles say another unit of "
            f"heights ({said}). Remove the line 'height_unit:' if the tiles are right; if they are wrong, write below "
            "it 'height_unit_overrides: true'."
        )


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


MAX_SCALE_ERROR_RATIO = 0.01
"""A projection that makes a metre longer or shorter by more than this share gives way to UTM: distances measured on the
map would be wrong. National grids stay below 0.005, web maps stretch by half at 48 degrees (our choice between)."""


def _metric_crs(plan: pyproj.CRS, source: TileCrs, outer: Bounds, name: str) -> tuple[pyproj.CRS, str]:
    """The metric CRS for tiles in `plan`, and why."""
    lon_deg, lat_deg = middle_lon_lat(plan, outer)
    if source.plan_unit_m is not None and math.isclose(source.plan_unit_m, 1.0, rel_tol=1e-9):
        # Far from home a projection's stretch says nothing but that the coordinates are not from there.
        error_ratio = _scale_error_ratio(plan, lon_deg, lat_deg) if is_at_home(plan, outer) else 0.0
        if error_ratio <= MAX_SCALE_ERROR_RATIO:
            return plan, "the tiles are in metres already"
        return _utm(plan, lon_deg, lat_deg, name), f"{source.name} stretches distances by {error_ratio:.0%} here"
    return _utm(plan, lon_deg, lat_deg, name), f"the tiles are in {unit_in_words(source.plan_unit_m)}"


def _scale_error_ratio(plan: pyproj.CRS, lon_deg: float, lat_deg: float) -> float:
    """How far a metre of the plan is from a metre on the ground, as a share; 0 where PROJ cannot tell."""
    factors = pyproj.Proj(plan).get_factors(lon_deg, lat_deg, errcheck=False)
    scales = (float(factors.tissot_semimajor), float(factors.tissot_semiminor))
    return max(abs(scale - 1) for scale in scales) if all(map(math.isfinite, scales)) else 0.0


# UTM is defined between these latitudes (NGA.SIG.0012, Universal Grids).
_UTM_SOUTH_DEG, _UTM_NORTH_DEG = -80.0, 84.0

_WORLD_DATUM = "WGS 84"


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
