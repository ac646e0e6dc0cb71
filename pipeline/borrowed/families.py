"""Symbols that may stand for one and the same thing: what one map calls a path is a track on the next."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from pipeline.features import WAYS

FAMILIES = {
    "way": (*WAYS, "508", "532"),
    "watercourse": ("304", "305", "306", "309"),
    "wire": ("510", "511"),
    "wall": ("513", "514", "515", "516", "517", "518"),
    "building": ("521", "522", "523"),
    "water body": ("301", "302"),
    "cliff": ("201", "202"),
}
"""Our choice, after the sections of ISOM 2017-2. A railway (509) stands alone: lidar does not tell it from a road, so a
way that lidar shows along it is the railway; see `family_of`."""


def family_of(symbol: str, /) -> str:
    """The family of a symbol, "" where it has none."""
    main = symbol.partition(".")[0]
    if main == "509":
        return "way"
    return next((name for name, members in FAMILIES.items() if main in members), "")


def families_of(features: gpd.GeoDataFrame, /) -> NDArray[np.str_]:
    """(n,) family of each feature."""
    return np.array([family_of(text) for text in features["symbol"]], dtype=str)
