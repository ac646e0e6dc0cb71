"""What one tile says about its coordinates: its plan and its heights, each with its unit.

Plan and height are kept apart: a survey may well have its plan in US survey feet and its heights in metres.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import pyproj
from pyproj.exceptions import CRSError

from pipeline.intake.units import INTERNATIONAL_FOOT_M, US_SURVEY_FOOT_M, unit_in_words


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


# Tiles of a survey say the same: PROJ takes 2 ms for each, and the text itself 2 kB.
_CRS_KEPT = 64


@functools.lru_cache(maxsize=_CRS_KEPT)
def crs_from_wkt(text: str, /) -> TileCrs:
    """What a well-known text says; a text PROJ cannot read gives an unknown CRS with a caution."""
    try:
        crs = pyproj.CRS.from_wkt(text.strip("\0 \r\n\t"))
    except CRSError:
        return TileCrs(caution="its coordinate system is written in a way PROJ cannot read")
    return describe_crs(crs)


GEOGRAPHIC_KEY, PROJECTED_KEY, USER_DEFINED = 2048, 3072, 32767
"""GeoTIFF keys that name a CRS, and what they hold where it is spelt out instead (OGC GeoTIFF 1.1, annex B)."""

# The keys of units and of the vertical CRS (OGC GeoTIFF 1.1, annex B).
_KEY_PLAN_UNIT, _KEY_VERTICAL, _KEY_HEIGHT_UNIT = 3076, 4096, 4099

# EPSG codes of the linear units that GeoTIFF keys 3076 and 4099 may hold (OGC GeoTIFF 1.1, clause 7.5.2; EPSG dataset).
_LINEAR_UNITS_M = {9001: 1.0, 9002: INTERNATIONAL_FOOT_M, 9003: US_SURVEY_FOOT_M}


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


@functools.lru_cache(maxsize=_CRS_KEPT)
def _describe_code(code: int) -> TileCrs:
    try:
        return describe_crs(pyproj.CRS.from_epsg(code))
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


def describe_crs(crs: pyproj.CRS, /) -> TileCrs:
    """Plan and height of a CRS that may be compound, bound or three-dimensional."""
    if crs.is_bound and crs.source_crs is not None:
        return describe_crs(crs.source_crs)
    if crs.is_compound:
        plan, height = describe_crs(crs.sub_crs_list[0]), crs.sub_crs_list[1]
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

    Some software writes feet with the factor of the metre; a unit that is called a foot is taken for one.
    """
    axis = vertical.axis_info[-1]
    factor, name = float(axis.unit_conversion_factor), axis.unit_name.lower()
    if factor == 1.0 and ("foot" in name or "feet" in name):
        return US_SURVEY_FOOT_M if "us" in name.split() or "survey" in name else INTERNATIONAL_FOOT_M
    return factor
