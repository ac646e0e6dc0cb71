"""What a mapper changed in a refreshed map before the same refresh is done again: it goes before the earlier map."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.refresh.old.columns import KEY
from pipeline.refresh.old.old_map import ROW, OldMap


@dataclass(frozen=True)
class Later:
    """Features of which the refreshed map has the last word, by the names that `KEY` holds.

    Attributes
    ----------
    changed : features that were added or changed there
    struck : features that were taken out there
    """

    changed: frozenset[str] = frozenset()
    struck: frozenset[str] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.changed or self.struck)


def with_later(old: OldMap, refreshed: OldMap, later: Later, /) -> OldMap:
    """The earlier map with what a mapper changed since in the map that was made of it.

    Parameters
    ----------
    refreshed : that map, understood as an earlier map itself
    """
    first = _only(old, ~_named(old, later.changed | later.struck))
    second = _only(refreshed, _named(refreshed, later.changed))
    second.given["is_kept"] = True
    shifted = second.features.assign(**{ROW: second.features[ROW] + len(first.given)})
    gone = old.features[np.isin(old.features["id"], list(later.struck))]
    struck = [table for table in (old.struck, refreshed.struck, gone) if table is not None and len(table)]
    return replace(
        old,
        given=_joined([first.given, second.given]),
        features=_joined([first.features, shifted]),
        struck=_joined(struck) if struck else None,
        struck_ids=later.struck,
    )


def _named(old: OldMap, names: Iterable[str]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.asarray(old.given[KEY].isin(list(names)), np.bool_)


def _only(old: OldMap, rows: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> OldMap:
    """An earlier map with some of its rows, numbered anew."""
    number = np.cumsum(rows) - 1
    features = old.features[rows[old.features[ROW].to_numpy()]]
    features = features.assign(**{ROW: number[features[ROW].to_numpy()]}).reset_index(drop=True)
    return replace(old, given=old.given[rows].reset_index(drop=True), features=features)


def _joined(tables: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    filled = [table for table in tables if len(table)] or tables[:1]
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=filled[0].crs)
