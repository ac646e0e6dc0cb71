"""Names that stay: the same feature has the same id whenever and wherever the area is run."""

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


def stable_ids(features: gpd.GeoDataFrame, /) -> list[str]:
    """An id for each feature from its symbol, its place to 0.1 m and its size to 1 m.

    It depends on the feature alone, not on what else was found. Two features that agree in all of it are told
    apart by a count in the order given.
    """
    seen: dict[str, int] = {}
    names = []
    for symbol, (east, north), size in zip(features["symbol"], _places(features), _sizes(features), strict=True):
        key = f"{symbol}|{east:.1f}|{north:.1f}|{size:.0f}"
        name = hashlib.sha256(key.encode()).hexdigest()[:12]
        seen[name] = seen.get(name, 0) + 1
        names.append(name if seen[name] == 1 else f"{name}-{seen[name]}")
    return names


def _places(features: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """(n, 2) east, north of the centre of each feature."""
    centre = shapely.centroid(features.geometry.to_numpy())
    return np.column_stack((shapely.get_x(centre), shapely.get_y(centre))).reshape(-1, 2)


def _sizes(features: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """(n,) length in metres (0 for points)."""
    size: NDArray[np.float64] = shapely.length(features.geometry.to_numpy())
    return size
