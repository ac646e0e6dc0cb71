"""A feature before the draft is composed: a geometry, a symbol, a confidence and the evidence for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

TEXT_COLUMNS = ("symbol", "evidence")
NUMBER_COLUMNS = ("confidence", "elevation_m", "height_m", "width_m", "angle_deg")
"""`angle_deg` is clockwise from GRID north until the draft is composed, which turns it to magnetic north."""

WAYS = ("502", "503", "504", "505", "506", "507")
"""Roads, tracks and paths."""
EITHER_WAY = ("105", "106", "107", "108", "416", *WAYS, "510", "511", "513", "514", "515", "516")
"""Lines without a direction, such as walls, gullies and paths: fields may draw one of them from opposite ends."""
SUM = "_sum_"
"""What the name of a column begins with that holds a measure of a piece of a feature, such as the cells of it that were
seen: where pieces are joined across the borders of fields, it is added up. A section measures such columns on the
pieces, after the cut, and judges the whole by them; the draft has none."""

Numbers = Sequence[float] | NDArray[np.floating] | float


def make_features(
    geometry: Sequence[BaseGeometry] | NDArray[np.object_],
    /,
    *,
    crs: str,
    symbol: Sequence[str] | str,
    confidence: Numbers,
    evidence: Sequence[str] | str,
    elevation_m: Numbers = np.nan,
    height_m: Numbers = np.nan,
    width_m: Numbers = np.nan,
    angle_deg: Numbers = np.nan,
) -> gpd.GeoDataFrame:
    """Features as a GeoDataFrame with the columns of the draft that a theme fills.

    Parameters
    ----------
    geometry : sequence of n shapely geometries
    confidence : n numbers or one, 0..1
        How likely a mapper who walks there would draw the same thing.
    evidence : n texts or one
        Why: one short sentence with figures.

    Returns
    -------
    GeoDataFrame with geometry, TEXT_COLUMNS and NUMBER_COLUMNS.

    Raises
    ------
    ValueError
        If a confidence lies outside 0..1 or a column has the wrong length.
    """
    n = len(geometry)
    table: dict[str, object] = {
        "symbol": [symbol] * n if isinstance(symbol, str) else list(symbol),
        "evidence": [evidence] * n if isinstance(evidence, str) else list(evidence),
    }
    numbers = {
        "confidence": confidence,
        "elevation_m": elevation_m,
        "height_m": height_m,
        "width_m": width_m,
        "angle_deg": angle_deg,
    }
    table |= {key: np.broadcast_to(np.asarray(value, np.float64), (n,)).copy() for key, value in numbers.items()}
    sure = np.asarray(table["confidence"])
    if n and not bool(np.all((sure >= 0) & (sure <= 1))):
        raise ValueError("confidence must lie between 0 and 1")
    return gpd.GeoDataFrame(table, geometry=list(geometry), crs=crs)


def no_features(crs: str) -> gpd.GeoDataFrame:
    """An empty table of features."""
    return make_features([], crs=crs, symbol=[], confidence=[], evidence=[])


def with_sums(features: gpd.GeoDataFrame, sums: Mapping[str, NDArray[np.float64]], /) -> gpd.GeoDataFrame:
    """The features with these measures of them, (n,) each, as columns that begin with `SUM`."""
    return features.assign(**{SUM + name: values for name, values in sums.items()})


def without_sums(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The features without columns that begin with `SUM`, numbered anew."""
    return features.drop(columns=[name for name in features.columns if name.startswith(SUM)]).reset_index(drop=True)


def join_features(tables: Sequence[gpd.GeoDataFrame], crs: str) -> gpd.GeoDataFrame:
    """One table of several; empty tables are allowed."""
    filled = [table for table in tables if len(table)]
    if not filled:
        return no_features(crs)
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=crs)
