"""Nothing is drawn smaller than the norm allows: the one place where least lengths and areas are enforced."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from pipeline.draft.choosing.status import CANDIDATE, is_candidate
from pipeline.draft.record.left_out import left_out
from pipeline.norm.symbols import SymbolTable

TOLERANCE = 0.02
"""Share by which a feature may fall short: sizes of the norm are printed to two figures, edges lie on a lattice."""
DRAWN_LARGER = ("206", "521")
"""Symbols that the norm draws larger than they are rather than leaves out: a runner meets the building all the same."""

WATERCOURSES = ("304", "305", "306")
TOUCHING_M = 4.0
"""Distance in metres up to which two watercourses touch and are one blue line on the map, whose length counts: two
cells of the lattice that water is led over. Our choice."""

SHOWN_AS_POINT = {"208": "207", "209": "207"}
"""Areas of boulders too small for their symbol: a mapper draws the triangle of a boulder cluster in their midst."""


def small_fields_as_clusters(
    features: gpd.GeoDataFrame, symbols: SymbolTable, /
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The features with boulder fields below the norm's least area turned into clusters, and those fields."""
    symbol = features["symbol"].to_numpy(str)
    least_m2 = _by_symbol(symbol, {text: symbols.smallest(text).area_m2 for text in set(symbol)})
    area_m2 = shapely.area(features.geometry.to_numpy())
    is_small = np.isin(symbol, list(SHOWN_AS_POINT)) & (area_m2 < (1 - TOLERANCE) * np.nan_to_num(least_m2))
    merged = left_out(features[is_small], "too small for a field, drawn as a boulder cluster", what="merged")
    changed = features.copy()
    changed.loc[is_small, "symbol"] = [SHOWN_AS_POINT[text] for text in symbol[is_small]]
    middles = shapely.point_on_surface(features.geometry.to_numpy()[is_small])
    changed.loc[is_small, "geometry"] = gpd.GeoSeries(middles, index=features.index[is_small], crs=features.crs)
    return changed, merged


def without_too_small(features: gpd.GeoDataFrame, symbols: SymbolTable, /) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The features that are at least as large as the norm asks, and those that are not, each with the reason."""
    geometry = features.geometry.to_numpy()
    symbol = features["symbol"].to_numpy(str)
    least_m2 = _by_symbol(symbol, {text: symbols.smallest(text).area_m2 for text in set(symbol)})
    least_m = _by_symbol(symbol, {text: symbols.smallest(text).length_m for text in set(symbol)})
    dimension = shapely.get_dimensions(geometry)
    size = np.where(dimension == 2, shapely.area(geometry), _lengths_m(geometry, symbol))
    least = np.where(dimension == 2, least_m2, least_m)
    # A closed line is a small hill or hollow, which contours and form lines measure across.
    is_ring = (dimension == 1) & shapely.is_closed(geometry)
    counts = (dimension > 0) & ~is_ring & ~np.isin(symbol, DRAWN_LARGER) & np.isfinite(least)
    is_small = counts & (size < (1 - TOLERANCE) * np.nan_to_num(least))
    unit = np.where(dimension == 2, "m2", "m")
    reasons = [
        f"{found:.0f} {text}, and the norm draws none below {wanted:.0f} {text}"
        for found, wanted, text in zip(size[is_small], least[is_small], unit[is_small], strict=True)
    ]
    dropped = left_out(features[is_small], reasons)
    return features[~is_small].reset_index(drop=True), dropped


def short_watercourses_proposed(
    features: gpd.GeoDataFrame, symbols: SymbolTable, /
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """The features with drawn watercourses as candidates that are long enough only together with candidates, and those.

    What is printed of such a watercourse would be a scrap of blue shorter than the norm draws.
    """
    geometry, symbol = features.geometry.to_numpy(), features["symbol"].to_numpy(str)
    least_m = _by_symbol(symbol, {text: symbols.smallest(text).length_m for text in set(symbol)})
    drawn = np.flatnonzero(np.isin(symbol, WATERCOURSES) & ~is_candidate(features))
    length_m = _lengths_m(geometry[drawn], symbol[drawn])
    short = drawn[length_m < (1 - TOLERANCE) * np.nan_to_num(least_m[drawn])]
    reason = "too short to be drawn without the rest of it, which is not sure"
    gone = left_out(features.iloc[short], reason, what="not drawn")
    changed = features.copy()
    changed.loc[features.index[short], "status"] = CANDIDATE
    return changed, gone


def _lengths_m(geometry: NDArray[np.object_], symbol: NDArray[np.str_]) -> NDArray[np.float64]:
    """(n,) length in metres; of a watercourse together with those that it touches, as a ditch may run off both ways."""
    length_m = shapely.length(geometry)
    which = np.flatnonzero(np.isin(symbol, WATERCOURSES) & (shapely.get_dimensions(geometry) == 1))
    lines = geometry[which]
    if len(lines):
        first, second = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=TOUCHING_M)
        pairs = csr_array((np.ones(len(first)), (first, second)), shape=(len(lines), len(lines)))
        _, group = connected_components(pairs, directed=False)
        length_m[which] = np.bincount(group, weights=length_m[which])[group]
    return np.asarray(length_m, np.float64)


def _by_symbol(symbol: NDArray[np.str_], values: dict[str, float]) -> NDArray[np.float64]:
    """(n,) the value of each feature's symbol; NaN where the norm gives none."""
    return np.array([values[text] for text in symbol], np.float64)
