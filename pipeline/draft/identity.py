"""Names that stay: the same feature has the same id whenever and wherever the area is run, or flown anew."""

from __future__ import annotations

import hashlib

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray


def in_fixed_order(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The features by symbol, then from north to south and west to east, whatever order they came in."""
    place = _places(features)
    order = np.lexsort((_sizes(features), place[:, 0], -place[:, 1], features["symbol"].to_numpy(str)))
    return features.iloc[order].reset_index(drop=True)


FAMILY = {
    "102": "101",
    "110": "109",
    "112": "111",
    **dict.fromkeys(("205", "206", "207"), "204"),
    "202": "201",
    **dict.fromkeys(("305", "306"), "304"),
    "418": "417",
    **dict.fromkeys(("503", "504", "505", "506", "507"), "502"),
}
"""Symbols between which a few returns more or less decide, such as a boulder just below or above two metres, by the one
that stands for them in an id."""
LEVEL = ("101", "102", "103")
"""Lines of one elevation, which is part of their id."""
POINT_CELL_M, SHAPE_CELL_M = 8.0, 16.0
"""Side of the squares that tell places apart, in metres: of points, and of the middles of lines and areas up to
`SMALL_M` across. A smaller square is left more often when a feature moves by a decimetre, a larger one holds two more
often. Fitted, with `SMALL_M` and `STEP`, on an invented scene and on a real lava field that were drafted anew with
5 % fewer returns and moved by 4 cm (`tests/benchmarks/kept_ids.py`): of 370 features 2 share a square, and 98.6 % of
those that stay keep theirs."""
SMALL_M, STEP = 32.0, 4.0
"""Diagonal of a small line or area, in metres, and how many times larger the next class is, whose squares are as many
times larger too: the middle of a long line moves farther when its ends do."""


def stable_ids(features: gpd.GeoDataFrame, /) -> list[str]:
    """An id for each feature from what it is and the square in which its middle lies.

    It does not depend on what else was found, nor on a few returns more or less and a survey that is off by
    centimetres, unless the feature lies at the edge of its square. Features that share all of it are told apart by a
    count from the largest, so that a small one that is new renames none; equals by the order given.
    """
    geometry = features.geometry.to_numpy()
    dimension = shapely.get_dimensions(geometry)
    west, south, east, north = shapely.bounds(geometry).reshape(-1, 4).T
    across_m = np.maximum(np.hypot(east - west, north - south), SMALL_M / STEP)
    size_class = np.where(dimension > 0, np.round(np.log(across_m / SMALL_M) / np.log(STEP)), 0).clip(0)
    cell_m = np.where(dimension > 0, SHAPE_CELL_M, POINT_CELL_M) * STEP**size_class
    square = np.floor(_places(features) / cell_m[:, None]).astype(np.int64)
    keys = [
        f"{kind}|{size_class[row]:.0f}|{square[row, 0]}|{square[row, 1]}" for row, kind in enumerate(_kinds(features))
    ]
    seen: dict[str, int] = {}
    names = [""] * len(keys)
    for row in np.argsort(-_prominence(features, dimension), kind="stable"):
        name = hashlib.sha256(keys[row].encode()).hexdigest()[:12]
        seen[name] = seen.get(name, 0) + 1
        names[row] = name if seen[name] == 1 else f"{name}-{seen[name]}"
    return names


def _kinds(features: gpd.GeoDataFrame) -> list[str]:
    """(n,) what each feature is: its family of symbols, and for contours their elevation."""
    pairs = zip(features["symbol"].astype(str), features["elevation_m"], strict=True)
    return [FAMILY.get(symbol, symbol) + (f"|{height_m:.1f}" if symbol in LEVEL else "") for symbol, height_m in pairs]


def _prominence(features: gpd.GeoDataFrame, dimension: NDArray[np.int32]) -> NDArray[np.float64]:
    """(n,) square metres of areas, metres of lines, height of points; 0 where not known."""
    geometry = features.geometry.to_numpy()
    height_m = np.nan_to_num(features["height_m"].to_numpy(np.float64))
    size = np.where(dimension == 2, shapely.area(geometry), shapely.length(geometry))
    return np.asarray(np.where(dimension == 0, height_m, size), np.float64)


def _places(features: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """(n, 2) east, north of the centre of each feature."""
    centre = shapely.centroid(features.geometry.to_numpy())
    return np.column_stack((shapely.get_x(centre), shapely.get_y(centre))).reshape(-1, 2)


def _sizes(features: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """(n,) length in metres (0 for points)."""
    size: NDArray[np.float64] = shapely.length(features.geometry.to_numpy())
    return size
