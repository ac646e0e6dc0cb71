"""The table of questions that all sources of questions fill."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry.base import BaseGeometry

TEXTS = ("id", "symbol", "kind", "look_at", "why")
NUMBERS = ("confidence", "chance", "matters", "minutes")
"""How sure the draft is; chance that a look changes the map; how much the symbol matters; minutes of looking."""


def question_table(rows: pd.DataFrame, places: Sequence[BaseGeometry], /, *, crs: object) -> gpd.GeoDataFrame:
    """Questions with their places; a row that lacks a column, as an empty table does, is filled with "" or 0.

    Returns
    -------
    GeoDataFrame with points, the columns TEXTS as text and NUMBERS as float64.
    """
    columns: dict[str, object] = {name: rows[name].astype(object) if name in rows else "" for name in TEXTS}
    columns |= {name: rows[name].astype(np.float64) if name in rows else 0.0 for name in NUMBERS}
    filled = pd.DataFrame(columns, index=range(len(places)))
    return gpd.GeoDataFrame(filled, geometry=list(places), crs=crs)
