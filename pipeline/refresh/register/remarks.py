"""What a shift may mean: another datum, another kind of height, a tilt or a step between flights."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError

from pipeline.refresh.register.shift import Numbers, Shift, Surface, biweight, block_medians, moved_onto

DATUM_LEAST_M, DATUM_FIT_M = 5.0, 8.0
"""A shift across the ground of more than this, in metres, may be one of datum, and is said to be one where a datum of
the place explains it to within so much: transformations between old datums are that uncertain (common practice, no
source)."""
HEIGHT_LEAST_M = 0.3
"""Heights that differ by more than this, in metres, are more than one survey's levelling error. Our choice."""
UNDULATION_M = (5.0, 110.0)
"""Where a geoid lies above or below the ellipsoid: -107 to +86 m on Earth (common practice, no source)."""
SYSTEMS_M = 2.6
"""Levelled height systems of neighbouring countries differ by up to so much (Belgium's and the Netherlands' by 2.3 m;
common practice, no source)."""
AS_WGS84 = ("WGS 84", "ITRF", "IGS", "IGb", "ETRF", "WGS 66", "NSWC")
"""Beginnings of names of datums that lie within a metre of WGS 84 or that PROJ cannot tell from it; each costs a third
of a second to ask."""
TILT_SIGMAS, TILT_LEAST_M = 5.0, 0.05
"""A tilt or a step is said if it is beyond so many standard errors and lifts one side by more than this, in metres. Our
choice."""


def datum_in_words(shift: Shift, crs: str, place: tuple[float, float], /) -> str:
    """What datum or kind of height would explain a shift at a place; empty where it needs no explaining.

    Parameters
    ----------
    crs : of the new survey, projected
    place : east, north in it
    """
    found = []
    if math.hypot(shift.east_m, shift.north_m) > DATUM_LEAST_M:
        found.append(_horizontal(shift, crs, place))
    if abs(shift.up_m) > HEIGHT_LEAST_M:
        found.append(_vertical(shift.up_m, crs, place))
    return " ".join(found)


def _horizontal(shift: Shift, crs: str, place: tuple[float, float]) -> str:
    size_m = math.hypot(shift.east_m, shift.north_m)
    said = f"The old map lies {size_m:.0f} m away across the ground"
    fits = sorted(
        (math.hypot(east - shift.east_m, north - shift.north_m), name) for name, east, north in datum_shifts(crs, place)
    )
    if fits and fits[0][0] <= max(DATUM_FIT_M, 0.05 * size_m):
        return f"{said}: about what taking coordinates in {fits[0][1]} for those of the new survey brings."
    return f"{said}, which no datum in use at this place explains; check the coordinate system of the old map."


def datum_shifts(crs: str, place: tuple[float, float], /) -> Iterator[tuple[str, float, float]]:
    """Datums in use at a place, and the shift east and north, in metres, if the old map was in one of them by mistake.

    Coordinates of the old map are read as the new survey's; what has to be added to come to the right place is what
    the transformation between the two datums adds.
    """
    projected = pyproj.CRS.from_user_input(crs)
    own = projected.geodetic_crs
    if own is None:
        return
    to_degrees = pyproj.Transformer.from_crs(projected, own, always_xy=True)
    lon, lat = to_degrees.transform(*place)
    around = AreaOfInterest(lon - 0.01, lat - 0.01, lon + 0.01, lat + 0.01)
    for info in query_crs_info(
        auth_name="EPSG", pj_types=PJType.GEOGRAPHIC_2D_CRS, area_of_interest=around, contains=True
    ):
        if info.name.startswith(AS_WGS84):
            continue
        try:
            other = pyproj.CRS.from_authority(info.auth_name, info.code)
            step = pyproj.Transformer.from_crs(other, own, always_xy=True)
            east, north = to_degrees.transform(*step.transform(lon, lat), direction="INVERSE")
        except ProjError:
            continue
        if math.isfinite(east) and math.isfinite(north):
            yield info.name, east - place[0], north - place[1]


def _vertical(up_m: float, crs: str, place: tuple[float, float]) -> str:
    said = f"Heights of the new survey are {abs(up_m):.2f} m {'higher' if up_m > 0 else 'lower'} all over"
    undulation_m = geoid_m(crs, place)
    if undulation_m is not None and abs(abs(up_m) - abs(undulation_m)) < 1.0:
        return f"{said}: the height of the geoid here ({undulation_m:.1f} m), so one has them above the ellipsoid."
    if UNDULATION_M[0] <= abs(up_m) <= UNDULATION_M[1]:
        return f"{said}: about the difference between heights above the ellipsoid and above the sea."
    if abs(up_m) <= SYSTEMS_M:
        return f"{said}: two height systems of neighbouring countries, or of two epochs, differ by as much."
    return f"{said}, which no usual height system explains; check the unit of heights of both."


def geoid_m(crs: str, place: tuple[float, float], /) -> float | None:
    """Height of the geoid (EGM2008) above the ellipsoid, metres; None where PROJ has no grid for it at hand."""
    lon, lat = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(*place)
    try:
        step = pyproj.Transformer.from_crs("EPSG:4979", "EPSG:4326+3855", always_xy=True)
        height = step.transform(lon, lat, 0.0)[2]
    except ProjError:
        return None
    # Without the grid, PROJ passes heights through as they are.
    return None if not math.isfinite(height) or height == 0.0 else -float(height)


def tilt_in_words(old: Surface, new: Surface, shift: Shift, /) -> str:
    """Whether one survey is tilted against the other, or has a step, such as between flight lines; empty if not."""
    laid = moved_onto(old.bare_earth, old.grid, new.grid, shift, up_m=shift.up_m)
    difference = new.bare_earth - laid
    east, north, height = block_medians(difference, np.isfinite(difference), new.grid)
    if len(height) < 20:
        return ""
    slope, error, plain = _plane(east, north, height)
    across_m = np.array([np.ptp(east), np.ptp(north)])
    lift_m = slope * across_m
    step = _step(east, north, height)
    if step is not None and step[1] < 0.7 * plain:
        return step[0]
    if (np.abs(slope) > TILT_SIGMAS * error).any() and np.abs(lift_m).max() > TILT_LEAST_M:
        return (
            f"The new survey is tilted against the old one: {slope[0] * 1000:+.2f} m in a kilometre to the east, "
            f"{slope[1] * 1000:+.2f} m to the north."
        )
    return ""


def _plane(east: Numbers, north: Numbers, height: Numbers) -> tuple[Numbers, Numbers, float]:
    """Slope to the east and north, their standard errors, and the mean absolute rest, by robust least squares."""
    terms = np.column_stack([east - east.mean(), north - north.mean(), np.ones(len(east))])
    weight: Numbers = np.ones(len(height))
    for _ in range(6):
        normal = terms.T @ (terms * weight[:, None])
        found = np.linalg.solve(normal, terms.T @ (height * weight))
        rest = height - terms @ found
        weight = biweight(rest)
    spread = float(np.sqrt((weight * rest**2).sum() / max(weight.sum() - 3, 1.0)))
    errors = spread * np.sqrt(np.diag(np.linalg.inv(normal)))
    return np.asarray(found[:2], np.float64), np.asarray(errors[:2], np.float64), float(np.median(np.abs(rest)))


def _step(east: Numbers, north: Numbers, height: Numbers) -> tuple[str, float] | None:
    """The largest step across a line from north to south or from west to east, in words, and the median rest."""
    best: tuple[float, float, str, float] | None = None
    for name, axis in (("east", east), ("north", north)):
        for at in np.quantile(axis, np.linspace(0.15, 0.85, 15)):
            sides = [height[axis < at], height[axis >= at]]
            if min(map(len, sides)) < 8:
                continue
            medians = [float(np.median(side)) for side in sides]
            rest = np.concatenate([np.abs(side - middle) for side, middle in zip(sides, medians, strict=True)])
            size_m, median = medians[1] - medians[0], float(np.median(rest))
            if best is None or median < best[1]:
                best = size_m, median, name, float(at)
    if best is None or abs(best[0]) < max(TILT_LEAST_M, TILT_SIGMAS * 1.4826 * best[1] / math.sqrt(len(height) / 4)):
        return None
    size_m, median, name, at = best
    return f"Heights differ by a step of {size_m:+.2f} m {name} of {at:.0f}, as between two flights.", median
