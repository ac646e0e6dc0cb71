"""Which feature of the new map is which one of the old: by kind and place, each at most once."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.draft.identity import FAMILY

POINT_REACH_M, LINE_REACH_M = 6.0, 8.0
"""How far apart two features of one kind may lie that are the same thing, in metres: twice what a drawn point is off in
a survey of 4 pulses/m2, and a line is off where it is drawn anew. Our choice."""
LEAST_SHARED = 0.3
"""Lines and areas are the same where they have so large a share of the shorter or smaller one in common. Our choice."""
GREENS, OPEN = ("406", "407", "408", "409", "410"), ("401", "402", "403", "404", "412", "413", "414")
KINDS = {
    **dict.fromkeys(GREENS, "green"),
    **dict.fromkeys(OPEN, "open"),
    **dict.fromkeys(("301", "302"), "301"),
    **dict.fromkeys(("307", "308", "309", "310", "311"), "308"),
    **dict.fromkeys(("104", "105", "106", "107", "108"), "104"),
    **dict.fromkeys(("109", "110", "111", "112", "113", "115"), "109"),
    **dict.fromkeys(("210", "211", "212", "213", "214"), "210"),
}
"""Symbols that two surveys may draw of one thing, beyond the families that ids go by."""


@dataclass(frozen=True)
class Matches:
    """Pairs of features.

    Attributes
    ----------
    old_of_new : (n_new,) row of the old feature, -1 for none
    new_of_old : (n_old,) row of the new feature, -1 for none
    apart_m : (n_new,) distance between the two of a pair, metres; NaN for none
    """

    old_of_new: NDArray[np.int64]
    new_of_old: NDArray[np.int64]
    apart_m: NDArray[np.float64]


def kind_of(symbol: str, /) -> str:
    """What a symbol stands for, whatever its size or class."""
    main = symbol.partition(".")[0]
    return KINDS.get(main, FAMILY.get(main, main))


def match(old: gpd.GeoDataFrame, new: gpd.GeoDataFrame, /, *, shift_error_m: float) -> Matches:
    """Pairs of features that are one thing, nearest first, each feature in one pair at most.

    Parameters
    ----------
    old, new : features in the frame of the new survey, rows numbered from 0
    shift_error_m : standard error of the shift between them; the reach grows with it
    """
    found = Matches(np.full(len(new), -1), np.full(len(old), -1), np.full(len(new), np.nan))
    if not len(old) or not len(new):
        return found
    first, second, apart_m = _candidates(old, new, 2 * shift_error_m)
    for k in np.lexsort((second, first, apart_m)):
        if found.new_of_old[first[k]] < 0 and found.old_of_new[second[k]] < 0:
            found.new_of_old[first[k]], found.old_of_new[second[k]] = second[k], first[k]
            found.apart_m[second[k]] = apart_m[k]
    return found


def _candidates(
    old: gpd.GeoDataFrame, new: gpd.GeoDataFrame, more_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Rows of old and new features of one kind that lie near, and how far apart they are."""
    shapes = [table.geometry.to_numpy() for table in (old, new)]
    reach_m = LINE_REACH_M + more_m + _half_widths(new).max(initial=0.0)
    at_new, at_old = shapely.STRtree(shapes[0]).query(shapes[1], predicate="dwithin", distance=reach_m)
    kinds = [np.array([kind_of(str(symbol)) for symbol in table["symbol"]]) for table in (old, new)]
    alike = (kinds[0][at_old] == kinds[1][at_new]) & (
        shapely.get_dimensions(shapes[0])[at_old] == shapely.get_dimensions(shapes[1])[at_new]
    )
    at_old, at_new = at_old[alike], at_new[alike]
    apart_m = np.array([_apart(shapes[0][i], shapes[1][j]) for i, j in zip(at_old, at_new, strict=True)], np.float64)
    limit = np.where(
        shapely.get_dimensions(shapes[1])[at_new] == 0,
        POINT_REACH_M + more_m + np.maximum(_half_widths(old)[at_old], _half_widths(new)[at_new]),
        LINE_REACH_M + more_m,
    )
    near = apart_m <= limit
    return at_old[near], at_new[near], apart_m[near]


def _half_widths(table: gpd.GeoDataFrame) -> NDArray[np.float64]:
    return np.asarray(np.nan_to_num(table["width_m"].to_numpy(np.float64)) / 2)


def _apart(old: shapely.Geometry, new: shapely.Geometry) -> float:
    """How far apart two features of one kind are: points by distance, lines by the mean over what they share.

    Infinite where they share too little. Areas that overlap enough are as far apart as they differ in area, in metres
    of rim.
    """
    if shapely.get_dimensions(new) == 0:
        return float(shapely.distance(old, new))
    if shapely.get_dimensions(new) == 1:
        return _lines_apart(old, new)
    shared = shapely.area(shapely.intersection(shapely.buffer(old, 0), shapely.buffer(new, 0)))
    if shared < LEAST_SHARED * min(shapely.area(old), shapely.area(new)):
        return float("inf")
    rim_m = shapely.length(old) + shapely.length(new)
    return float((shapely.area(old) + shapely.area(new) - 2 * shared) / max(rim_m, 1e-6))


def _lines_apart(old: shapely.Geometry, new: shapely.Geometry) -> float:
    shorter, longer = sorted((old, new), key=shapely.length)
    n = int(np.clip(shapely.length(shorter) / 2, 5, 200))
    places = shapely.line_interpolate_point(np.array([shorter]), np.linspace(0, 1, n), normalized=True)
    away = shapely.distance(places, longer)
    near = away <= LINE_REACH_M
    return float(away[near].mean()) if near.mean() >= LEAST_SHARED else float("inf")
