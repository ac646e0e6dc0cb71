"""From features as others tagged them to features of the norm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from pipeline.borrowed.table import NEVER, Row, said, symbol_of
from pipeline.features import join_features, make_features, no_features
from pipeline.norm.symbols import SymbolTable

KIND_OF_DIMENSION = ("point", "line", "area")
IMPORTED_CONFIDENCE = 0.7
"""How likely a mapper who walks there would draw the same: maps of others are a few years old and were made for other
eyes. Our choice, not measured."""


@dataclass(frozen=True)
class Matched:
    """What of one source became features.

    Attributes
    ----------
    features : of `pipeline.features`, with `origin`
    unknown : how many features no row of the table knew, by what they say of themselves, the most frequent first
    """

    features: gpd.GeoDataFrame
    unknown: Mapping[str, int]


def match_features(
    layers: Sequence[gpd.GeoDataFrame], /, *, rows: tuple[Row, ...], symbols: SymbolTable, origin: str, crs: str
) -> Matched:
    """The layers of one source as features of the norm.

    Parameters
    ----------
    layers : tables in the working CRS, all columns but the geometry text, "" where a feature says nothing
    rows : of the table, the mapper's own first
    origin : the source's name
    """
    tables, unknown = [], pd.Series(dtype=int)
    for layer in layers:
        single = layer.explode(ignore_index=True)
        dimension = shapely.get_dimensions(single.geometry.to_numpy())
        for number, kind in enumerate(KIND_OF_DIMENSION):
            part = single[dimension == number]
            if len(part):
                features, not_known = _of_kind(part, kind, rows, symbols, origin)
                tables.append(features)
                unknown = unknown.add(not_known, fill_value=0)
    joined = join_features(tables, crs)
    counted = unknown.sort_values(ascending=False, kind="stable")
    return Matched(joined.assign(origin=origin), {str(name): int(n) for name, n in counted.items()})


def _of_kind(
    part: gpd.GeoDataFrame, kind: str, rows: tuple[Row, ...], symbols: SymbolTable, origin: str
) -> tuple[gpd.GeoDataFrame, pd.Series[int]]:
    """Features of one kind. Each combination of tags is looked up once, however many features have it."""
    tags = part.drop(columns=part.geometry.name)
    group = tags.groupby(list(tags.columns), sort=False, dropna=False).ngroup().to_numpy()
    first = np.unique(group, return_index=True)[1]
    combinations = [{str(k): str(v) for k, v in row.items() if v} for row in tags.iloc[first].to_dict("records")]
    found = [symbol_of(kind, combination, rows, symbols) for combination in combinations]
    words = [said(combination) for combination in combinations]
    number = np.array([symbol or "" for symbol in found], dtype=object)[group]
    not_known = pd.Series([words[i] or "no tag" for i in group[number == ""]], dtype=object).value_counts()
    taken = ~np.isin(number.astype(str), ("", NEVER))
    if not taken.any():
        return no_features(str(part.crs)), not_known
    symbol = number[taken].astype(str)
    features = make_features(
        _drawable(part.geometry.to_numpy()[taken], symbol, kind, symbols),
        crs=str(part.crs),
        symbol=list(symbol),
        confidence=IMPORTED_CONFIDENCE,
        evidence=[f"{origin}: {words[i]}" if words[i] else origin for i in group[taken]],
    )
    return features, not_known


def _drawable(
    geometry: NDArray[np.object_], symbol: NDArray[np.str_], kind: str, symbols: SymbolTable
) -> NDArray[np.object_]:
    """Lines of symbols that the norm draws as areas only (a hedge as 410) as strips of the least width it draws."""
    if kind != "line":
        return geometry
    half_m = {text: symbols.smallest(text).width_m / 2 for text in set(symbol) if symbols[text].kinds == ("area",)}
    made = geometry.copy()
    for text, width_m in half_m.items():
        rows = symbol == text
        made[rows] = shapely.buffer(geometry[rows], width_m, cap_style="flat")
    return made
