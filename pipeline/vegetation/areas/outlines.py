"""From cells to the outlines a mapper would draw: smooth, and shared by the areas on both sides."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import shapes
from shapely.geometry import shape

from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.merging import Kinds


def polygons_of(
    kinds: Kinds, grid: Grid, /, *, smooth_m: float, min_area_m2: NDArray[np.float64]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Areas of equal kind as polygons with shared, smoothed edges, and the kind of each.

    Edges are simplified as one coverage (Visvalingam and Whyatt 1993, tolerance `smooth_m`), then the corners are
    cut twice (Chaikin 1974) along each shared edge once for both its sides, so neighbours never overlap or part.
    The rim of the whole stays as it is. What has become smaller than `min_area_m2` of its kind joins the neighbour
    it shares most border with.
    """
    found = [(shape(s), int(k)) for s, k in shapes(kinds, mask=kinds >= 0, connectivity=4, transform=grid.transform)]
    if not found:
        return np.empty(0, np.object_), np.empty(0, np.int64)
    coarse = np.array([polygon for polygon, _ in found], np.object_)
    kind = np.array([k for _, k in found], np.int64)
    simple = shapely.coverage_simplify(coarse, smooth_m, simplify_boundary=False)
    # The rim of the whole is where the survey ends, not an edge in the forest: it stays as it is.
    inside = (kinds >= 0).astype(np.uint8)
    whole = [shape(s) for s, _ in shapes(inside, mask=inside > 0, connectivity=4, transform=grid.transform)]
    rim = shapely.union_all(shapely.boundary(np.array(whole, np.object_)))
    inner = shapely.difference(shapely.union_all(shapely.boundary(simple)), rim)
    edges = shapely.get_parts(shapely.line_merge(inner))
    for _ in range(2):
        edges = _cut_corners(edges, longest_m=smooth_m)
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all([*edges, rim])]))
    return _join_small(*_name_faces(faces, simple, kind), min_area_m2)


def _join_small(
    polygons: NDArray[np.object_], kind: NDArray[np.int64], min_area_m2: NDArray[np.float64]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Polygons with those below their least area joined to the neighbour with the longest common border."""
    polygons, kind = polygons.copy(), kind.copy()
    alive = np.ones(len(polygons), np.bool_)
    small = np.flatnonzero(shapely.area(polygons) < min_area_m2[kind])
    for i in small[np.argsort(shapely.area(polygons[small]), kind="stable")]:
        if shapely.area(polygons[i]) >= min_area_m2[kind[i]]:
            continue
        near = np.flatnonzero(alive & shapely.touches(polygons, polygons[i]))
        near = near[near != i]
        shared = shapely.length(shapely.intersection(shapely.boundary(polygons[near]), shapely.boundary(polygons[i])))
        if not len(near) or shared.max() == 0:
            continue
        host = near[int(np.argmax(shared))]
        polygons[host] = shapely.union(polygons[host], polygons[i])
        alive[i] = False
    return polygons[alive], kind[alive]


def _name_faces(
    faces: NDArray[np.object_], named: NDArray[np.object_], kind: NDArray[np.int64]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Each face with the kind of the old polygon that holds its inner point; faces of no polygon fall away."""
    tree = shapely.STRtree(named)
    face, holder = tree.query(shapely.point_on_surface(faces), predicate="within")
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
