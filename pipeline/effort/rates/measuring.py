"""What drives the hours, measured in squares of 250 m on the layers of a draft."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import MultiPolygon, Polygon

from pipeline.effort.rates.trade import MEASURES, Numbers
from pipeline.lattice.grid import Bounds

CELL_M = 250.0
"""Side of a square, in metres: 16 to a square kilometre, an hour or two of fieldwork each. Our choice."""
LEAST_M2 = 1.0
"""Ground within a square below which it is left out, in square metres. Our choice."""
CONTOURS = ("101", "101.1", "102", "103")
OPEN_LAND = ("401", "402", "402.1", "403", "404", "404.1", "412", "413", "414")
"""Symbols of open land (ISOM 2017-2, 401 to 404 and 412 to 414): one sees across it, and a draft saves little there."""
NOT_TO_RUN_OVER = ("410", "412", "413", "414", "301", "307", "501", "520", "521", "206")
"""Symbols of areas that nobody runs through, or may."""
WAYS = ("502", "503", "504", "505", "506", "507", "508")
NOT_SEEN = "600.1"
"""Our own symbol of ground that too few pulses reached."""
REJECTED = "rejected"
Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Cells:
    """Squares of the ground, those cut by the outline of the area as far as they lie in it.

    Attributes
    ----------
    place : (n, 2) int64, column and row: east and north of the south-west corner over CELL_M
    area_m2 : (n,) ground within the area
    """

    place: NDArray[np.int64]
    area_m2: Numbers

    def bounds(self, number: int, /) -> Bounds:
        """West, south, east and north of a square, metres."""
        west, south = (self.place[number] * CELL_M).tolist()
        return west, south, west + CELL_M, south + CELL_M

    @property
    def centres(self) -> Numbers:
        """(n, 2) east and north, metres."""
        return np.asarray((self.place + 0.5) * CELL_M, np.float64)


def cells_over(outline: Polygon | MultiPolygon, /) -> Cells:
    """The squares that an outline reaches into, from south to north and west to east."""
    west, south, east, north = np.asarray(outline.bounds) / CELL_M
    cols = np.arange(np.floor(west), np.ceil(east), dtype=np.int64)
    rows = np.arange(np.floor(south), np.ceil(north), dtype=np.int64)
    place = np.stack(np.meshgrid(cols, rows), axis=-1).reshape(-1, 2)
    corners = place * CELL_M
    boxes = shapely.box(corners[:, 0], corners[:, 1], corners[:, 0] + CELL_M, corners[:, 1] + CELL_M)
    area_m2 = shapely.area(shapely.intersection(boxes, outline))
    kept = area_m2 >= LEAST_M2
    return Cells(place[kept], area_m2[kept])


def measure(
    layers: Mapping[str, gpd.GeoDataFrame],
    outline: Polygon | MultiPolygon,
    covered: Polygon | MultiPolygon,
    /,
    *,
    rise_of: Callable[[Bounds], float],
) -> tuple[Cells, pd.DataFrame]:
    """The squares of an area and what each holds.

    Candidates count like what is drawn: each has to be looked at. What a mapper has rejected does not.

    Parameters
    ----------
    layers : of a draft, by their names; a layer that is missing holds nothing
    outline, covered : of the area, and of the ground that the tiles cover, in the CRS of the layers
    rise_of : the mean rise over run of the ground within bounds; NaN where nothing is known

    Returns
    -------
    Cells, and a table of them with a column for each of MEASURES.
    """
    cells = cells_over(outline)
    kept = {name: table[table["status"] != REJECTED] for name, table in layers.items() if len(table)}
    rise = np.array([rise_of(cells.bounds(number)) for number in range(len(cells.place))])
    area_km2 = cells.area_m2 / 1e6
    table = pd.DataFrame(_of_sections(kept, cells))
    table["area_km2"] = area_km2
    table["slope_km2"] = np.nan_to_num(rise) * area_km2
    table["not_seen_km2"] = np.minimum(area_km2, _not_seen_km2(kept, outline, covered, cells))
    table["open_km2"] = np.minimum(area_km2, _area_km2(_with(kept, "vegetation_area", OPEN_LAND), cells))
    barred = sum(_area_km2(_with(kept, layer, NOT_TO_RUN_OVER), cells) for layer in _AREAS)
    table["fit_km2"] = np.maximum(0.0, area_km2 - barred - table["open_km2"].to_numpy() / 2)
    return cells, table[list(MEASURES)]


_AREAS = ("rock_area", "water_area", "vegetation_area", "manmade_area")


def _of_sections(layers: Mapping[str, gpd.GeoDataFrame], cells: Cells) -> dict[str, Numbers]:
    """Counts and lengths of the five sections."""
    forms = _without(layers, "landform_line", CONTOURS)
    built = _without(layers, "manmade_line", WAYS)
    boundaries = _with(layers, "vegetation_line", ("415", "416"))
    return {
        "contour_km": _length_km(_with(layers, "landform_line", CONTOURS), cells),
        "landforms": _count([forms, *_all_of(layers, "landform_point", "landform_area")], cells),
        "rocks": _count(_all_of(layers, "rock_point", "rock_line", "rock_area"), cells),
        "rock_km": _length_km(_joined(_all_of(layers, "rock_line", "rock_area")), cells),
        "stands": _count(_all_of(layers, "vegetation_area", "vegetation_point"), cells),
        "edges_km": _length_km(_joined(_all_of(layers, "vegetation_area")), cells),
        "paths_km": _length_km(_with(layers, "manmade_line", WAYS), cells),
        "waters": _count(_all_of(layers, "water_point", "water_line", "water_area"), cells),
        "water_km": _length_km(_joined(_all_of(layers, "water_line", "water_area")), cells),
        "built": _count([built, boundaries, *_all_of(layers, "manmade_point", "manmade_area")], cells),
        "built_km": _length_km(_joined([built, boundaries, *_all_of(layers, "manmade_area")]), cells),
    }


# ---------------------------------------------------------------- features of some symbols


def _with(layers: Mapping[str, gpd.GeoDataFrame], layer: str, symbols: Sequence[str]) -> Shapes:
    return _chosen(layers, layer, symbols, among=True)


def _without(layers: Mapping[str, gpd.GeoDataFrame], layer: str, symbols: Sequence[str]) -> Shapes:
    return _chosen(layers, layer, symbols, among=False)


def _chosen(layers: Mapping[str, gpd.GeoDataFrame], layer: str, symbols: Sequence[str], *, among: bool) -> Shapes:
    """Shapes of a layer whose symbol, with or without its sub-number, is among some, or is not."""
    if layer not in layers:
        return np.empty(0, object)
    table = layers[layer]
    symbol = table["symbol"].astype(str)
    # Not `partition`: of no features it makes a table without columns.
    is_among = (symbol.isin(symbols) | symbol.str.split(".").str[0].isin(symbols)).to_numpy(bool)
    return np.asarray(table.geometry.to_numpy()[is_among == among], object)


def _all_of(layers: Mapping[str, gpd.GeoDataFrame], *names: str) -> list[Shapes]:
    return [layers[name].geometry.to_numpy() for name in names if name in layers]


def _joined(parts: Sequence[Shapes]) -> Shapes:
    return np.concatenate([np.empty(0, object), *parts])


# ---------------------------------------------------------------- sums by square


def _count(parts: Sequence[Shapes], cells: Cells) -> Numbers:
    """(n,) features of each square; one that reaches over several counts where a point within it lies."""
    shapes = _joined(parts)
    if not len(shapes):
        return np.zeros(len(cells.place))
    # The nearest square, as a point on the rim of the area may belong to none.
    _, nearest = cKDTree(cells.centres).query(shapely.get_coordinates(shapely.point_on_surface(shapes)), p=np.inf)
    return np.bincount(nearest, minlength=len(cells.place)).astype(np.float64)


def _length_km(shapes: Shapes, cells: Cells) -> Numbers:
    """(n,) kilometres of lines, and of the outlines of areas, within each square."""
    is_area = shapely.get_dimensions(shapes) == 2
    lines = np.where(is_area, shapely.boundary(shapes), shapes) if len(shapes) else shapes
    return _sum_within(lines, cells, shapely.length) / 1e3


def _area_km2(shapes: Shapes, cells: Cells) -> Numbers:
    """(n,) square kilometres of areas within each square."""
    return _sum_within(shapes, cells, shapely.area) / 1e6


def _sum_within(shapes: Shapes, cells: Cells, size_of: Callable[[Shapes], Numbers]) -> Numbers:
    if not len(shapes):
        return np.zeros(len(cells.place))
    tree = shapely.STRtree(shapes)
    found = np.zeros(len(cells.place))
    for number in range(len(found)):
        bounds = cells.bounds(number)
        found[number] = size_of(shapely.clip_by_rect(shapes[tree.query(shapely.box(*bounds))], *bounds)).sum()
    return found


def _not_seen_km2(
    layers: Mapping[str, gpd.GeoDataFrame],
    outline: Polygon | MultiPolygon,
    covered: Polygon | MultiPolygon,
    cells: Cells,
) -> Numbers:
    """(n,) ground that no tile covers, and ground that too few pulses reached."""
    outside = shapely.get_parts(shapely.difference(outline, covered))
    return _area_km2(_joined([outside, _with(layers, "technical_area", (NOT_SEEN,))]), cells)
