"""From cells to areas a mapper would draw: no overlaps, nothing below the standard's smallest size, smooth edges."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import shapes
from scipy import ndimage
from shapely.geometry import shape

from pipeline.lattice.grid import Grid

Kinds = NDArray[np.int16]
"""(rows, cols) int16: what each cell is, by a number of the caller's own; negative is outside."""


def merge_small_areas(
    kinds: Kinds, likeness: NDArray[np.float64], /, *, cell_m: float, min_area_m2: Mapping[int, float]
) -> Kinds:
    """Cells with every area below its least size given to the neighbour it is most like.

    The smallest areas go first, so that two small ones side by side may make one that is large enough.

    Parameters
    ----------
    kinds : (rows, cols); negative cells are outside and stay
    likeness : (k, k) weights: how readily an area of kind i becomes one of kind j, times the length of their border
    min_area_m2 : least area of each kind; kinds not named have none
    """
    least = np.zeros(len(likeness))
    for kind, area in min_area_m2.items():
        least[kind] = area / cell_m**2
    kinds = kinds.copy()
    for _ in range(64):
        region, kind_of = connected_areas(kinds)
        size = np.bincount(region.ravel(), minlength=len(kind_of))
        is_small = size < least[kind_of]
        is_small[0] = False
        new_kind = _absorb(region, size, kind_of, is_small, likeness)
        if np.array_equal(new_kind, kind_of):
            return kinds
        kinds = np.where(region > 0, new_kind[region], kinds).astype(np.int16)
    return kinds


def connected_areas(kinds: Kinds, /) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Number of the connected area (over cell edges) of each cell, from 1, 0 outside; and the kind of each number."""
    region = np.zeros(kinds.shape, np.int64)
    kind_of = [np.zeros(1, np.int64)]
    n_found = 0
    for kind in range(int(kinds.max(initial=-1)) + 1):
        is_kind = kinds == kind
        parts, n_parts = ndimage.label(is_kind)
        region[is_kind] = parts[is_kind] + n_found
        kind_of.append(np.full(n_parts, kind, np.int64))
        n_found += n_parts
    return region, np.concatenate(kind_of)


def _absorb(
    region: NDArray[np.int64],
    size: NDArray[np.int64],
    kind_of: NDArray[np.int64],
    is_small: NDArray[np.bool_],
    likeness: NDArray[np.float64],
) -> NDArray[np.int64]:
    """Kind of each region after the small ones that are smaller than their small neighbours have been given away."""
    one, other, length = _borders(region)
    inside = (one > 0) & (other > 0)
    one, other, length = one[inside], other[inside], length[inside]
    # Regions are numbered by position, so equal sizes are settled the same way however the area was cut.
    yields = (
        is_small[one] & is_small[other] & ((size[other] < size[one]) | ((size[other] == size[one]) & (other < one)))
    )
    waits = np.zeros(len(size), np.bool_)
    waits[one[yields]] = True
    moves = is_small[one] & ~waits[one]
    weight = length[moves] * likeness[kind_of[one[moves]], kind_of[other[moves]]]
    n_kinds = len(likeness)
    pull = np.bincount(one[moves] * n_kinds + kind_of[other[moves]], weight, minlength=len(size) * n_kinds)
    pull = pull.reshape(len(size), n_kinds)
    has_pull = pull.max(axis=1) > 0
    return np.where(has_pull, pull.argmax(axis=1), kind_of)


def _borders(region: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Pairs of regions that touch, both ways round, and the number of cell edges they share."""
    pairs = []
    for a, b in ((region[:, :-1], region[:, 1:]), (region[:-1], region[1:])):
        differ = a != b
        pairs += [np.stack((a[differ], b[differ])), np.stack((b[differ], a[differ]))]
    one, other = np.concatenate(pairs, axis=1)
    n = int(region.max()) + 1
    key, count = np.unique(one.astype(np.int64) * n + other, return_counts=True)
    return key // n, key % n, count.astype(np.float64)


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
