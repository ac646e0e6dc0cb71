"""The features of a draft as short lists of whole numbers: the step from each place to the next, in 0.1 m."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.norm.symbols import KIND_OF_GEOMETRY, SymbolTable
from pipeline.report.looks import Json, look_of
from pipeline.report.place import Place

STEPS_PER_M = 10
"""Whole numbers a metre: 0.1 m is finer than any survey places a feature."""
MEASURES = ("elevation_m", "height_m", "width_m")
"""Columns of a feature that are told beside its evidence, to two decimals."""


def features_of(layers: Mapping[str, gpd.GeoDataFrame], place: Place, symbols: SymbolTable, /) -> dict[str, Json]:
    """All features of a draft with how each symbol is drawn, for the data block `features`.

    Returns
    -------
    `symbols` : the looks (`pipeline.report.looks.look_of`)
    `look`, `id`, `sure` (percent), `status`, `evidence`, `angle` (degrees from magnetic north or None), measures, and
    `origin` : one value a feature
    `rings` : for each feature a list of lines, each as x, y of its first place and the steps from place to place,
    in 1 / STEPS_PER_M metres
    """
    looks: list[Json] = []
    rows: dict[str, list[Json]] = {
        name: [] for name in ("look", "id", "sure", "status", "evidence", "origin", "angle", *MEASURES, "rings")
    }
    numbers: dict[tuple[str, str], int] = {}
    for layer in layers.values():
        somewhere = ~(layer.geometry.isna() | layer.geometry.is_empty)
        for row in layer[somewhere].itertuples():
            kind = KIND_OF_GEOMETRY[row.geometry.geom_type]
            key = (str(row.symbol), kind)
            if key not in numbers:
                numbers[key] = len(looks)
                looks.append(look_of(str(row.symbol), kind, symbols))
            rows["look"].append(numbers[key])
            rows["sure"].append(round(100 * (_rounded(row.confidence, 4) or 0.0)))
            for name in ("id", "status", "evidence", "origin"):
                rows[name].append(_text(getattr(row, name)))
            rows["angle"].append(_rounded(row.angle_deg, 1))
            for name in MEASURES:
                rows[name].append(_rounded(getattr(row, name), 2))
            rows["rings"].append(_rings(row.geometry, place))
    return {"symbols": looks, **{name: cast("Json", values) for name, values in rows.items()}}


def _rounded(value: float | None, decimals: int) -> float | None:
    """A number, or None for one that a mapper who drew the feature left empty."""
    return round(float(value), decimals) if value is not None and math.isfinite(value) else None


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _rings(geometry: BaseGeometry, place: Place) -> list[Json]:
    """Every line of a geometry on its own: a point, a line, the rings of an area, parts one after the other."""
    parts = shapely.get_rings(geometry) if "Polygon" in geometry.geom_type else shapely.get_parts(geometry)
    return [steps_of(shapely.get_coordinates(part), place) for part in parts]


def steps_of(points: NDArray[np.float64], place: Place, /) -> list[Json]:
    """x, y of the first place and then the steps; places that fall on the one before are left out."""
    whole = np.rint(place.on_map(points) * STEPS_PER_M).astype(np.int64)
    steps = np.diff(whole, axis=0)
    kept = np.concatenate([whole[:1], steps[np.any(steps != 0, axis=1)]])
    return cast("list[Json]", kept.ravel().tolist())
