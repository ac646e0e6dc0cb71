"""What composing left out, merged or moved, and why: nothing a section found disappears without a line here."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from pipeline.norm.symbols import SymbolTable

COLUMNS = ("symbol", "name", "what", "reason", "distance_m", "east_m", "north_m", "size", "confidence", "evidence")
"""`what` is dropped, cut, thinned, merged, moved, or not drawn (it stays in the draft as a candidate); `distance_m` is
how far, or how near to what it gave way to; `size` is metres of a line, square metres of an area, empty for a point."""


def left_out(
    features: gpd.GeoDataFrame,
    reasons: Sequence[str] | str,
    /,
    *,
    what: str = "dropped",
    distance_m: float | NDArray[np.float64] = np.nan,
) -> gpd.GeoDataFrame:
    """The features with what became of them and why: (n,) reasons, or one for all."""
    texts = [reasons] * len(features) if isinstance(reasons, str) else list(reasons)
    return features.assign(what=what, reason=texts, distance_m=distance_m)


def left_out_table(parts: Sequence[gpd.GeoDataFrame], symbols: SymbolTable, /) -> pd.DataFrame:
    """One row for each feature that composing left out, as `report/left_out.csv` shows it.

    Returns
    -------
    DataFrame with COLUMNS, ordered by symbol, then from north to south and west to east.
    """
    filled = [part for part in parts if len(part)]
    if not filled:
        return pd.DataFrame(columns=list(COLUMNS))
    joined = pd.concat(filled, ignore_index=True)
    geometry = joined.geometry.to_numpy()
    middle = shapely.centroid(geometry)
    table = pd.DataFrame(
        {
            "symbol": joined["symbol"],
            "name": [symbols.name_of(symbol) for symbol in joined["symbol"]],
            "what": joined["what"],
            "reason": joined["reason"],
            "distance_m": joined["distance_m"].round(1),
            "east_m": shapely.get_x(middle).round(1),
            "north_m": shapely.get_y(middle).round(1),
            "size": _sizes(geometry).round(1),
            "confidence": joined["confidence"].round(3),
            "evidence": joined["evidence"],
        }
    )
    order = np.lexsort((table["size"], table["east_m"], -table["north_m"], table["symbol"]))
    return table.iloc[order].reset_index(drop=True)


def _sizes(geometry: NDArray[np.object_]) -> NDArray[np.float64]:
    """(n,) square metres of areas, metres of lines, NaN for points."""
    dimension = shapely.get_dimensions(geometry)
    size: NDArray[np.float64] = np.where(dimension == 2, shapely.area(geometry), shapely.length(geometry))
    return np.where(dimension == 0, np.nan, size)
