"""From cells to the outlines a mapper would draw: smooth, and shared by the areas on both sides."""

from __future__ import annotations

from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.merging import Kinds

EDGE_SQUARE_M = 50.0
"""Side of the squares that edges are simplified in. Larger, an edge depends on more of the ground around it; smaller,
more vertices are kept where it crosses from one square into the next (our choice)."""


def polygons_of(
    kinds: Kinds, grid: Grid, /, *, smooth_m: float, min_area_m2: NDArray[np.float64]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Areas of equal kind as polygons with shared, smoothed edges, and the kind of each.

    Edges are simplified as one coverage (Visvalingam and Whyatt 1993, tolerance `smooth_m`), then the corners are
    cut twice (Chaikin 1974) along each shared edge once for both its sides, so neighbours never overlap or part.
    An edge keeps a vertex where it crosses a side of the squares of EDGE_SQUARE_M and is simplified between these, so
    that it runs the same whatever lies beyond the next square.
    The rim of the whole stays as it is. What has become smaller than `min_area_m2` of its kind joins the neighbour
    it shares most border with.
    """
    pieces, kind = _simple_pieces(kinds, grid, smooth_m=smooth_m)
    if not len(pieces):
        return pieces, kind
    edges, rim = _edges_of(pieces, kind)
    for _ in range(2):
        edges = _cut_corners(edges, longest_m=smooth_m)
    # The rim of the whole is where the survey ends, not an edge in the forest: it stays as it is.
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all([*edges, *rim])]))
    return _join_small(*_name_faces(faces, pieces, kind), min_area_m2)


def _simple_pieces(kinds: Kinds, grid: Grid, *, smooth_m: float) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Pieces of areas, none larger than a square of EDGE_SQUARE_M, with simplified edges, and the kind of each."""
    side = max(1, round(EDGE_SQUARE_M / grid.cell_m))
    down = (grid.north_row - 1 - np.arange(grid.rows)) // side % 2
    across = (grid.west_col + np.arange(grid.cols)) // side % 2
    # Neighbouring squares differ in one of the two, so that no piece reaches from one into the next.
    coded = np.where(kinds >= 0, kinds * 4 + 2 * down[:, None] + across[None, :], -1).astype(np.int16)
    faces = shapely.get_parts(shapely.polygonize([_cell_edges(coded, grid)]))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    row, col = grid.row_col(inside[:, 0], inside[:, 1])
    kind = kinds[row, col].astype(np.int64)
    seen = kind >= 0
    return shapely.coverage_simplify(faces[seen], smooth_m, simplify_boundary=False), kind[seen]


def _cell_edges(coded: Kinds, grid: Grid) -> shapely.MultiLineString:
    """The sides of cells between two codes, as straight as they run, with an end wherever they turn or meet others."""
    padded = np.pad(coded, 1, constant_values=-1)
    # Corners of cells are numbered by rows from the upper left; a side belongs to the corner where it begins.
    flat, upright = np.diff(padded, axis=0)[:, 1:-1] != 0, np.diff(padded, axis=1)[1:-1] != 0
    east = (np.arange(grid.cols + 1) + grid.west_col) * grid.cell_m
    north = (grid.north_row - np.arange(grid.rows + 1)) * grid.cell_m
    right, left = np.pad(flat, ((0, 0), (0, 1))), np.pad(flat, ((0, 0), (1, 0)))
    below, above = np.pad(upright, ((0, 1), (0, 0))), np.pad(upright, ((1, 0), (0, 0)))
    row, first = np.nonzero(right & (~left | above | below))
    _, last = np.nonzero(left & (~right | above | below))
    level = np.stack([np.column_stack((east[at], north[row])) for at in (first, last)], axis=1)
    col, first = np.nonzero((below & (~above | left | right)).T)
    _, last = np.nonzero((above & (~below | left | right)).T)
    steep = np.stack([np.column_stack((east[col], north[at])) for at in (first, last)], axis=1)
    return _stretches(np.concatenate((level, steep)))


def _edges_of(pieces: NDArray[np.object_], kind: NDArray[np.int64]) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Lines along which pieces of different kinds meet, from one fork to the next, and those along the rim of all."""
    rings, piece = shapely.get_parts(shapely.boundary(pieces), return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    within = ring[1:] == ring[:-1]
    start, end, of_kind = points[:-1][within], points[1:][within], kind[piece[ring[:-1][within]]]
    is_turned = (start[:, 0] > end[:, 0]) | ((start[:, 0] == end[:, 0]) & (start[:, 1] > end[:, 1]))
    sides = np.where(is_turned[:, None], np.hstack((end, start)), np.hstack((start, end)))
    order = np.lexsort(sides.T)
    sides, of_kind = sides[order], of_kind[order]
    # A stretch of edge stands in the rings of both pieces beside it, and only once on the rim of the whole.
    is_twin = (sides[1:] == sides[:-1]).all(axis=1)
    differs = np.flatnonzero(is_twin & (of_kind[1:] != of_kind[:-1]))
    alone = ~(np.append(is_twin, False) | np.insert(is_twin, 0, False))
    return _merged(sides[differs]), _merged(sides[alone])


def _merged(sides: NDArray[np.float64]) -> NDArray[np.object_]:
    return np.asarray(shapely.get_parts(shapely.line_merge(_stretches(sides.reshape(-1, 2, 2)))), np.object_)


def _stretches(ends: NDArray[np.float64]) -> shapely.MultiLineString:
    """Straight lines as one geometry, given (n, 2, 2) the east and north of both ends of each."""
    lines = np.asarray(shapely.linestrings(ends), np.object_)
    return cast("shapely.MultiLineString", shapely.multilinestrings(lines))


def _join_small(
    polygons: NDArray[np.object_], kind: NDArray[np.int64], min_area_m2: NDArray[np.float64]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Polygons with those below their least area joined to the neighbour with the longest common border."""
    polygons, kind = polygons.copy(), kind.copy()
    alive = np.ones(len(polygons), np.bool_)
    frame = shapely.bounds(polygons)
    small = np.flatnonzero(shapely.area(polygons) < min_area_m2[kind])
    for i in small[np.argsort(shapely.area(polygons[small]), kind="stable")]:
        if shapely.area(polygons[i]) >= min_area_m2[kind[i]]:
            continue
        near = np.flatnonzero(
            alive & (frame[:, :2] <= frame[i, 2:]).all(axis=1) & (frame[:, 2:] >= frame[i, :2]).all(axis=1)
        )
        near = near[shapely.touches(polygons[near], polygons[i]) & (near != i)]
        shared = shapely.length(shapely.intersection(shapely.boundary(polygons[near]), shapely.boundary(polygons[i])))
        if not len(near) or shared.max() == 0:
            continue
        host = near[int(np.argmax(shared))]
        polygons[host] = shapely.union(polygons[host], polygons[i])
        frame[host] = shapely.bounds(polygons[host])
        alive[i] = False
    return polygons[alive], kind[alive]


def _name_faces(
    faces: NDArray[np.object_], named: NDArray[np.object_], kind: NDArray[np.int64]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Each face with the kind of the old polygon that holds its inner point; faces of no polygon fall away."""
    tree = shapely.STRtree(named)
    face, holder = tree.query(shapely.point_on_surface(faces), predicate="intersects")
    face, first = np.unique(face, return_index=True)
    return faces[face], kind[holder[first]]


def _cut_corners(lines: NDArray[np.object_], /, *, longest_m: float) -> NDArray[np.object_]:
    """Chaikin's corner cutting, a quarter of each side but no more than `longest_m` from a corner.

    Ends stay; closed lines stay closed and are cut at their seam as well.
    """
    lines = lines[~shapely.is_empty(lines)]
    if not len(lines):
        return lines
    points, line = shapely.get_coordinates(lines, return_index=True)
    same = line[1:] == line[:-1]
    step = np.diff(points, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    cut = np.minimum(0.25, longest_m / np.maximum(length, 1e-9))[:, None] * step
    quarter, three_quarters = points[:-1] + cut, points[1:] - cut
    first = np.concatenate(([True], ~same))
    last = np.concatenate((~same, [True]))
    closed = np.all(points[first] == points[last], axis=1)
    pieces = [points[first], quarter[same], three_quarters[same], points[last]]
    order = np.arange(len(points))
    rank = [order[first] - 0.5, order[:-1][same] + 0.25, order[:-1][same] + 0.75, order[last] + 0.5]
    owner = [line[first], line[:-1][same], line[:-1][same], line[last]]
    keep_ends = np.where(closed)[0]
    xy, at, who = np.concatenate(pieces), np.concatenate(rank), np.concatenate(owner)
    sort = np.lexsort((at, who))
    xy, at, who = xy[sort], at[sort], who[sort]
    starts = np.flatnonzero(np.concatenate(([True], who[1:] != who[:-1])))
    ends = np.append(starts[1:], len(who)) - 1
    # A ring has no ends to keep: its seam is a corner like any other.
    xy[starts[keep_ends]] = xy[ends[keep_ends] - 1]
    drop = np.zeros(len(who), np.bool_)
    drop[ends[keep_ends]] = True
    return np.asarray(shapely.linestrings(xy[~drop], indices=who[~drop]), np.object_)
