"""The features of a draft as short lists of whole numbers: the step from each place to the next, in 0.1 m."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.norm.symbols import KIND_OF_GEOMETRY, SymbolTable
from pipeline.report.looks import Json, look_of
from pipeline.report.place import Place

STEPS_PER_M = 10
"""Whole numbers a metre: 0.1 m is finer than any survey places a feature."""
MEASURES = ("elevation_m", "height_m", "width_m")
"""Columns of a feature that are told beside its evidence, to two decimals."""


AREA = 2
"""Dimension of an area."""


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
        rows["rings"] += _rings_of(layer.geometry[somewhere].to_numpy(), place)
    return {"symbols": looks, **{name: cast("Json", values) for name, values in rows.items()}}


def _rounded(value: float | None, decimals: int) -> float | None:
    """A number, or None for one that a mapper who drew the feature left empty."""
    return round(float(value), decimals) if value is not None and math.isfinite(value) else None


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _rings_of(geometry: NDArray[np.object_], place: Place) -> list[Json]:
    """For each geometry its lines, each on its own: a point, a line, the rings of an area; parts in turn."""
    parts, owner = shapely.get_parts(geometry, return_index=True)
    is_area = shapely.get_dimensions(parts) == AREA
    rings, of = shapely.get_rings(parts[is_area], return_index=True)
    lines = np.concatenate([rings, parts[~is_area]])
    owner = np.concatenate([owner[is_area][of], owner[~is_area]])
    order = np.argsort(owner, kind="stable")
    points, line = shapely.get_coordinates(lines[order], return_index=True)
    begins = np.searchsorted(line, np.arange(len(lines)))
    found: list[list[Json]] = [[] for _ in geometry]
    for whose, steps in zip(owner[order].tolist(), _steps(points, begins, place), strict=True):
        found[whose].append(steps)
    return cast("list[Json]", found)


def steps_of(points: NDArray[np.float64], place: Place, /) -> list[Json]:
    """x, y of the first place and then the steps; places that fall on the one before are left out."""
    return cast("list[Json]", _steps(points, np.zeros(1, np.int64), place)[0])


def _steps(points: NDArray[np.float64], begins: NDArray[np.int64], place: Place) -> list[Json]:
    """The same of many lines, whose points stand one line after the other."""
    whole = np.rint(place.on_map(points) * STEPS_PER_M).astype(np.int64)
    steps = np.diff(whole, axis=0, prepend=whole[:1])
    is_first = np.zeros(len(points), bool)
    is_first[begins] = True
    steps[begins] = whole[begins]
    kept = is_first | np.any(steps != 0, axis=1)
    ends = np.append(np.cumsum(kept)[begins] - 1, np.count_nonzero(kept)) * 2
    numbers = steps[kept].ravel().tolist()
    return [numbers[start:end] for start, end in itertools.pairwise(ends.tolist())]
