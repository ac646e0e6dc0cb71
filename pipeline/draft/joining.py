"""Cutting features at the edges of fields, and joining them across the fields' borders."""

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

from pipeline.features import join_features
from pipeline.lattice.grid import Bounds, EastNorth, Mask
from pipeline.lattice.lines import with_crossings

WHOLE = ("206", "521")
"""Areas that stand for one thing, gigantic boulders and buildings: never cut, the field that holds their middle has
them."""
EITHER_WAY = ("105", "106", "107", "108")
"""Lines without a direction, walls along their top and gullies along their bottom: fields may draw one of them from
opposite ends."""
SUM = "_sum_"
"""What the name of a column begins with that holds a measure of the piece, such as square metres of it that were seen,
and is added up where pieces are joined. A section measures such columns on the pieces, after the cut."""
MEET_M = 1e-3
"""Ends of lines this near to each other meet, in metres. Fields draw the same line from the same heights, so that ends
differ by the rounding of coordinates only."""
STRAIGHT_M = 1e-6
"""A vertex on a border this near to the straight line between its neighbours came from the cut, and goes."""

MEANS = ("confidence", "elevation_m", "height_m", "width_m")
"""Columns of which joined pieces have the mean, weighted by length or area."""

Rows = NDArray[np.int64]
Rewrite = Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]


# ---------------------------------------------------------------- cutting


def cut_to_core(features: gpd.GeoDataFrame, core: Bounds, /, *, whole: Collection[str] = WHOLE) -> gpd.GeoDataFrame:
    """What of a field's features is the field's own; all columns are kept.

    A point belongs to the field if it lies in its core; west and south edge are part of it, east and north edge are
    not. So it is for the middle (centroid) of an area of a symbol of `whole`, which is kept or left out uncut. Other
    lines and areas are cut at the edges, each piece a row of its own; lines keep their direction. A line along an edge
    belongs to the field whose west or south edge it is.

    Parameters
    ----------
    features : as `pipeline.features.make_features` gives them; points, lines and polygons, single-part
    core : west, south, east, north in metres
    whole : symbols of areas that are not cut
    """
    geometry = features.geometry.to_numpy()
    middles = shapely.get_coordinates(shapely.centroid(geometry))
    as_whole = np.asarray((shapely.get_dimensions(geometry) == 0) | np.isin(features["symbol"], list(whole)))
    bounds = shapely.bounds(geometry).reshape(-1, 4)
    is_inside = _in_core(bounds[:, :2], core) & _in_core(bounds[:, 2:], core)
    stays = np.where(as_whole, _in_core(middles, core), is_inside)
    pieces: list[list[BaseGeometry]] = [
        [part] if whole_part else [] for part, whole_part in zip(geometry, stays, strict=True)
    ]
    touches = (bounds[:, :2] <= core[2:]).all(axis=1) & (bounds[:, 2:] >= core[:2]).all(axis=1)
    for i in np.flatnonzero(~as_whole & ~is_inside & touches):
        pieces[i] = _pieces(geometry[i], core)
    row = np.repeat(np.arange(len(features)), [len(parts) for parts in pieces])
    cut = features.iloc[row].reset_index(drop=True)
    parts = np.array([part for parts in pieces for part in parts], np.object_)
    return gpd.GeoDataFrame(cut.set_geometry(gpd.GeoSeries(parts, crs=features.crs)))


def _in_core(places: EastNorth, core: Bounds) -> Mask:
    """(n,) bool: which places are the field's own."""
    return np.asarray(((places >= core[:2]) & (places < core[2:])).all(axis=1))


def _pieces(geometry: BaseGeometry, core: Bounds) -> list[BaseGeometry]:
    return list(_lines_in(geometry, core) if isinstance(geometry, LineString) else _areas_in(geometry, core))


def _with_vertices_on_edges(line: BaseGeometry, core: Bounds) -> EastNorth:
    """(n, 2) the vertices of a line, and those where it crosses an edge of the core, prolonged."""
    west, south, east, north = core
    easts, norths = np.array([west, east]), np.array([south, north])
    return with_crossings(shapely.get_coordinates(line), easts=easts, norths=norths)


def _lines_in(line: LineString, core: Bounds) -> list[BaseGeometry]:
    """The pieces of a line in the core, running the way the line runs."""
    nodes = _with_vertices_on_edges(line, core)
    is_in = _in_core((nodes[:-1] + nodes[1:]) / 2, core)
    if is_in.all():
        return [LineString(nodes)] if len(nodes) > 1 else []
    if line.is_closed and is_in[0] and is_in[-1]:
        # The ring starts inside: it is cut where it leaves, and goes on over its first vertex.
        leaves = int(np.flatnonzero(~is_in)[0])
        nodes = np.concatenate((nodes[leaves:-1], nodes[: leaves + 1]))
        is_in = np.roll(is_in, -leaves)
    change = np.flatnonzero(np.diff(is_in, prepend=False, append=False))
    return [LineString(nodes[a : b + 1]) for a, b in zip(change[::2], change[1::2], strict=True)]


def _areas_in(area: BaseGeometry, core: Bounds) -> list[BaseGeometry]:
    """The pieces of an area in the core."""
    if not isinstance(area, Polygon):
        raise TypeError(f"features are points, lines and polygons, not {area.geom_type}")
    shell, *holes = [_with_vertices_on_edges(ring, core) for ring in (area.exterior, *area.interiors)]
    inside = shapely.intersection(Polygon(shell, holes), shapely.box(*core))
    return [part for part in shapely.get_parts(inside) if isinstance(part, Polygon) and part.area > 0]


# ---------------------------------------------------------------- joining


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

    Lines of one symbol (and one elevation, where they have one) whose ends meet on a border become one line, if one
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
        Is given the joined features, and no others, with the columns of sums, and returns them with new evidence.

    Returns
    -------
    GeoDataFrame without columns of sums; first what lies in one field, then what was joined.
    """
    joined = join_features(list(tables), crs)
    if len(joined) == 0:
        return joined
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
        return _without_sums(joined)
    following = dict(line_links.tolist())
    cut = joined[is_piece]
    made = join_features([_as_one(pieces, following, field_m) for _, pieces in cut.groupby(group[is_piece])], crs)
    return _without_sums(join_features([joined[~is_piece], made if rewrite is None else rewrite(made)], crs))


def _without_sums(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return features.drop(columns=[name for name in features.columns if name.startswith(SUM)]).reset_index(drop=True)


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
    """(n,) a number for each symbol and, of lines that have one, elevation."""
    kinds = features["symbol"].astype(str) + "|" + features["elevation_m"].round(2).astype(str)
    return np.asarray(pd.factorize(kinds)[0], np.int64)


def _area_links(features: gpd.GeoDataFrame, areas: Rows, table: Rows) -> Rows:
    """(k, 2) rows of areas of one symbol and of two fields that share a stretch of a border."""
    shapes, symbol = features.geometry.to_numpy()[areas], features["symbol"].to_numpy(str)[areas]
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    is_pair = (a < b) & (symbol[a] == symbol[b]) & (table[areas[a]] != table[areas[b]])
    a, b = a[is_pair], b[is_pair]
    shares = shapely.length(shapely.intersection(shapes[a], shapes[b])) > MEET_M
    return np.asarray(np.column_stack((areas[a], areas[b]))[shares], np.int64)


def _groups(n: int, links: Rows) -> Rows:
    """(n,) a number for each set of rows that hang together."""
    linked = coo_array((np.ones(len(links), bool), (links[:, 0], links[:, 1])), shape=(n, n))
    return np.asarray(connected_components(linked, directed=False)[1], np.int64)


def _as_one(pieces: gpd.GeoDataFrame, following: Mapping[int, int], field_m: float) -> gpd.GeoDataFrame:
    """One row (or several, if areas do not make one shape) of pieces that belong together."""
    geometry = pieces.geometry.to_numpy()
    shapes: list[BaseGeometry]
    if pieces["symbol"].iloc[0] in EITHER_WAY:
        size, shapes = (
            shapely.length(geometry),
            list(shapely.get_parts(shapely.line_merge(shapely.union_all(geometry)))),
        )
    elif shapely.get_dimensions(geometry)[0] == 1:
        size, shapes = shapely.length(geometry), [_chained(pieces.geometry, following)]
    else:
        size, shapes = shapely.area(geometry), list(shapely.get_parts(shapely.union_all(geometry)))
    largest = pieces.iloc[[int(np.argmax(size))]]
    row = largest.assign(**{name: _mean(pieces[name].to_numpy(np.float64), size) for name in MEANS})
    row = row.assign(**{name: pieces[name].sum() for name in pieces.columns if name.startswith(SUM)})
    clean = [_without_seam_vertices(shape, field_m) for shape in shapes]
    repeated = row.loc[row.index.repeat(len(clean))].reset_index(drop=True)
    return gpd.GeoDataFrame(repeated.set_geometry(gpd.GeoSeries(clean, crs=pieces.crs)))


def _mean(values: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Weighted mean of what is known."""
    known = np.isfinite(values)
    return float(np.average(values[known], weights=weight[known])) if known.any() else np.nan


def _chained(lines: gpd.GeoSeries, following: Mapping[int, int]) -> LineString:
    """Lines of which each goes on with the one that follows it, as one line; a ring starts with the first of them."""
    begun = set(lines.index) - {following[row] for row in lines.index if row in following}
    start = min(begun, default=lines.index[0])
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
