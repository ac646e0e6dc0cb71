"""Joining features across the borders of fields, where `pipeline.outlines.cutting` cut them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.features import EITHER_WAY, SUM, join_features, without_sums
from pipeline.lattice.grid import EastNorth, Mask
from pipeline.outlines.cutting import WHOLE

MEET_M = 1e-3
"""Ends of lines this near to each other meet, in metres. Fields draw the same line from the same heights, so that ends
differ by the rounding of coordinates only."""
STRAIGHT_M = 1e-6
"""A vertex on a border this near to the straight line between its neighbours came from the cut, and goes."""

LEVEL = ("101", "102", "103")
"""Lines of one level: those of two levels are never joined. Of others the elevation is a mean along what was seen."""
MEANS = ("confidence", "elevation_m", "height_m", "width_m")
"""Columns of which joined pieces have the mean, weighted by length or area."""

Rows = NDArray[np.int64]
Rewrite = Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]


def join_fields(
    tables: Sequence[gpd.GeoDataFrame],
    /,
    *,
    field_m: float,
    crs: str,
    whole: Collection[str] = WHOLE,
    rewrite: Rewrite | None = None,
) -> gpd.GeoDataFrame:
    """The features of a section, joined across the borders of the fields.

    Lines of one symbol (contours: and one elevation) whose ends meet on a border become one line, if one
    line ends there that the other field goes on with; areas of one symbol that share a stretch of a border become one.
    Their confidence and numbers are the means by length or area; symbol, evidence and angle are those of the largest
    piece; columns that begin with `SUM` are added up. What lies in one field stays as it is.

    Parameters
    ----------
    tables : the features of each field, as `cut_to_core` gives them
    field_m : float
        Side of a field in metres.
    whole : symbols of areas that were not cut
    rewrite : function or None
        Is given all features, those of one field and those joined, with the columns of sums, and returns what is to be
        drawn, with symbols, confidence and evidence that rest on whole features.

    Returns
    -------
    GeoDataFrame without columns of sums; first what lies in one field, then what was joined.
    """
    joined = join_features(list(tables), crs)
    if len(joined) == 0:
        return _finished(joined, rewrite)
    table = np.repeat(np.arange(len(tables)), [len(part) for part in tables])
    symbol = joined["symbol"].to_numpy(str)
    geometry = joined.geometry.to_numpy()
    is_cut = _on_border(geometry, field_m) & ~np.isin(symbol, list(whole))
    lines = np.flatnonzero(is_cut & (shapely.get_dimensions(geometry) == 1))
    areas = np.flatnonzero(is_cut & (shapely.get_dimensions(geometry) == 2))
    line_links = _line_links(joined, lines, table, field_m)
    group = _groups(len(joined), np.concatenate((line_links, _area_links(joined, areas, table))))
    is_piece = np.bincount(group)[group] > 1
    if not is_piece.any():
        return _finished(joined, rewrite)
    following = dict(line_links.tolist())
    cut = joined[is_piece]
    made = _as_one_each(cut, group[is_piece], following, field_m)
    return _finished(join_features([joined[~is_piece], made], crs), rewrite)


def _finished(features: gpd.GeoDataFrame, rewrite: Rewrite | None) -> gpd.GeoDataFrame:
    """The features rewritten, without columns of sums."""
    return without_sums(features if rewrite is None else rewrite(features))


def _off_lattice(values: NDArray[np.float64], field_m: float) -> NDArray[np.float64]:
    """Metres to the nearest border of fields, along one axis."""
    return np.abs(values - np.round(values / field_m) * field_m)


def _on_border(geometry: NDArray[np.object_], field_m: float) -> Mask:
    """(n,) bool: which features reach a border of fields."""
    return np.asarray((_off_lattice(shapely.bounds(geometry).reshape(-1, 4), field_m) < MEET_M).any(axis=1))


def _line_links(features: gpd.GeoDataFrame, lines: Rows, table: Rows, field_m: float) -> Rows:
    """(k, 2) rows of lines of which the first ends on a border where the second, of another field, begins.

    Where more than two ends of a symbol meet, it is a fork, and nothing is joined.
    """
    shapes = features.geometry.to_numpy()[lines]
    first, last = (shapely.get_coordinates(shapely.get_point(shapes, i)) for i in (0, -1))
    places = np.concatenate((first, last))
    end = np.flatnonzero((_off_lattice(places, field_m) < MEET_M).any(axis=1))
    if len(end) < 2:
        return np.empty((0, 2), np.int64)
    row, is_last = np.tile(lines, 2)[end], end >= len(lines)
    kind = _kinds(features)[row]
    pairs = cKDTree(places[end]).query_pairs(MEET_M, output_type="ndarray").astype(np.int64)
    pairs = pairs[kind[pairs[:, 0]] == kind[pairs[:, 1]]]
    n_met = np.bincount(pairs.ravel(), minlength=len(end))
    a, b = pairs[(n_met[pairs] == 1).all(axis=1)].T
    either_way = np.isin(features["symbol"].to_numpy(str)[row[a]], EITHER_WAY)
    follows = ((is_last[a] != is_last[b]) | either_way) & (table[row[a]] != table[row[b]])
    from_row, to_row = np.where(is_last[a], row[a], row[b]), np.where(is_last[a], row[b], row[a])
    return np.asarray(np.column_stack((from_row, to_row))[follows], np.int64)


def _kinds(features: gpd.GeoDataFrame) -> Rows:
    """(n,) a number for each symbol and, of lines of one level, elevation."""
    symbol = features["symbol"].astype(str)
    level = features["elevation_m"].round(2).astype(str).where(symbol.isin(LEVEL), "")
    return np.asarray(pd.factorize(symbol + "|" + level)[0], np.int64)


def _area_links(features: gpd.GeoDataFrame, areas: Rows, table: Rows) -> Rows:
    """(k, 2) rows of areas of one symbol and of two fields that share a stretch of a border."""
    shapes, symbol = features.geometry.to_numpy()[areas], features["symbol"].to_numpy(str)[areas]
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    is_pair = (a < b) & (symbol[a] == symbol[b]) & (table[areas[a]] != table[areas[b]])
    a, b = a[is_pair], b[is_pair]
    # A sliver at a corner of two fields may share less than a millimetre: any stretch will do, a point alone will not.
    shares = shapely.length(shapely.intersection(shapes[a], shapes[b])) > 0
    return np.asarray(np.column_stack((areas[a], areas[b]))[shares], np.int64)


def _groups(n: int, links: Rows) -> Rows:
    """(n,) a number for each set of rows that hang together."""
    linked = coo_array((np.ones(len(links), bool), (links[:, 0], links[:, 1])), shape=(n, n))
    return np.asarray(connected_components(linked, directed=False)[1], np.int64)


def _as_one_each(
    pieces: gpd.GeoDataFrame, group: Rows, following: Mapping[int, int], field_m: float
) -> gpd.GeoDataFrame:
    """One row (or several, if areas do not make one shape) for the pieces of each group, which belong together."""
    order = np.argsort(group, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(group[order])) + 1)
    geometry, symbol = pieces.geometry.to_numpy(), pieces["symbol"].to_numpy(str)
    is_line = shapely.get_dimensions(geometry) == 1
    size = np.where(is_line, shapely.length(geometry), shapely.area(geometry))
    shapes = [_joined(geometry[rows], symbol[rows[0]], pieces.index[rows].tolist(), following) for rows in groups]
    columns = {name: pieces[name].to_numpy(np.float64) for name in MEANS}
    means = {name: [_mean(known[rows], size[rows]) for rows in groups] for name, known in columns.items()}
    counts = {name: pieces[name].to_numpy() for name in pieces.columns if name.startswith(SUM)}
    sums = {name: [np.nansum(known[rows]) for rows in groups] for name, known in counts.items()}
    largest = [int(rows[np.argmax(size[rows])]) for rows in groups]
    made = pieces.iloc[largest].assign(**means, **sums)
    made = made.iloc[np.repeat(np.arange(len(groups)), [len(parts) for parts in shapes])].reset_index(drop=True)
    clean = [_without_seam_vertices(shape, field_m) for parts in shapes for shape in parts]
    return gpd.GeoDataFrame(made.set_geometry(gpd.GeoSeries(clean, crs=pieces.crs)))


def _joined(
    geometry: NDArray[np.object_], symbol: str, rows: Sequence[int], following: Mapping[int, int]
) -> list[BaseGeometry]:
    """The shapes that pieces with these rows make together."""
    if symbol in EITHER_WAY:
        return list(shapely.get_parts(shapely.line_merge(shapely.union_all(geometry))))
    if shapely.get_dimensions(geometry)[0] == 1:
        return [_chained(dict(zip(rows, geometry, strict=True)), following)]
    return list(shapely.get_parts(shapely.union_all(geometry)))


def _mean(values: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Weighted mean of what is known."""
    known = np.isfinite(values)
    return float(np.average(values[known], weights=weight[known])) if known.any() else np.nan


def _chained(lines: Mapping[int, BaseGeometry], following: Mapping[int, int]) -> LineString:
    """Lines by row, of which each goes on with the one that follows it, as one line; a ring starts with the first."""
    begun = set(lines) - {following[row] for row in lines if row in following}
    start = min(begun, default=next(iter(lines)))
    chain = [start]
    while following.get(chain[-1], start) != start:
        chain.append(following[chain[-1]])
    coordinates = [shapely.get_coordinates(lines[row]) for row in chain]
    joined = np.concatenate([coordinates[0], *(line[1:] for line in coordinates[1:])])
    if chain[-1] in following:
        joined[-1] = joined[0]
    return LineString(joined)


def _without_seam_vertices(shape: BaseGeometry, field_m: float) -> BaseGeometry:
    """A line or an area without the vertices on borders that lie straight between their neighbours."""
    if isinstance(shape, Polygon):
        shell, *holes = [_straightened(shapely.get_coordinates(r), field_m) for r in (shape.exterior, *shape.interiors)]
        return Polygon(shell, holes)
    return LineString(_straightened(shapely.get_coordinates(shape), field_m))


def _straightened(line: EastNorth, field_m: float) -> EastNorth:
    """(m, 2) the vertices of a line or a ring that are needed to draw it, of those on borders."""
    is_ring = bool((line[0] == line[-1]).all())
    nodes = line[:-1] if is_ring else line
    before, after = np.roll(nodes, 1, axis=0), np.roll(nodes, -1, axis=0)
    along, aside = after - before, nodes - before
    length = np.maximum(np.hypot(*along.T), 1e-12)
    off_m = np.abs(along[:, 0] * aside[:, 1] - along[:, 1] * aside[:, 0]) / length
    share = (along * aside).sum(axis=1) / length**2
    goes = (_off_lattice(nodes, field_m) < MEET_M).any(axis=1) & (off_m < STRAIGHT_M) & (share > 0) & (share < 1)
    if not is_ring:
        goes[[0, -1]] = False
    kept = nodes[~goes]
    if len(kept) < (3 if is_ring else 2):
        return line
    return np.concatenate((kept, kept[:1])) if is_ring else kept
