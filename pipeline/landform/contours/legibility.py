"""Whether contours can be read on paper and still say what the ground says: the measures a draft is held to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.landform.lines.even_steps import at_even_steps, ways_along
from pipeline.landform.lines.near_places import near_pairs
from pipeline.landform.lines.squares import in_squares
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.reach import within_reach
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.terrain.relief import gradient

Lines = list[shapely.LineString]


def count_crossings(lines: Lines, /) -> int:
    """Pairs of lines that meet, plus lines that meet themselves other than by closing."""
    geometries = np.array(lines, dtype=object)
    tree = shapely.STRtree(geometries)
    first, second = tree.query(geometries, predicate="intersects")
    return int((first < second).sum() + (~shapely.is_simple(geometries)).sum())


def count_crowded_vertices(lines: Lines, /, *, spacing_m: float) -> int:
    """Vertices beyond one per `spacing_m` of line, summed over the lines that have too many."""
    geometries = np.array(lines, dtype=object)
    allowed = np.floor(shapely.length(geometries) / spacing_m) + 2
    return int(np.clip(shapely.get_num_points(geometries) - allowed, 0, None).sum())


@dataclass(frozen=True)
class Stations:
    """Places at even steps along lines.

    Attributes
    ----------
    places : (n, 2) float64, metres
    line : (n,) int64, which line
    along_m : (n,) float64, metres from its beginning
    piece : (n,) int64, which piece of a line between two sides of the fixed squares
    length_m : (number of lines,) float64, metres
    """

    places: EastNorth
    line: NDArray[np.int64]
    along_m: NDArray[np.float64]
    piece: NDArray[np.int64]
    length_m: NDArray[np.float64]


def stations(lines: Lines, /, *, step_m: float) -> Stations:
    """Places at most `step_m` apart along each line, its ends included (see `stations_along`)."""
    return stations_along(_ways(lines), step_m=step_m)


def _ways(lines: Lines) -> list[EastNorth]:
    """The vertices of each line."""
    places, number = shapely.get_coordinates(lines, return_index=True)
    return np.split(places, np.searchsorted(number, np.arange(1, len(lines)))) if lines else []


def stations_along(ways: list[EastNorth], /, *, step_m: float) -> Stations:
    """Places at most `step_m` apart along each line, given by its vertices, its ends included.

    Steps are counted within each piece of a line between the sides of the fixed squares
    (`pipeline.landform.lines.squares`), so that places do not depend on where a line begins.
    """
    pieces, of_line = in_squares(ways)
    if not pieces:
        none = np.empty(0, np.int64)
        return Stations(np.empty((0, 2)), none, np.empty(0), none, np.zeros(len(ways)))
    is_last = np.diff(of_line, append=-1) != 0
    ends = np.cumsum([len(piece) for piece in pieces])
    vertices = np.concatenate(pieces)
    way_m = ways_along(vertices, ends)
    length_m = way_m[ends - 1]
    n_steps = np.maximum(np.ceil(length_m / step_m).astype(np.int64), 1)
    places, at_m = at_even_steps(vertices, way_m, ends, n_steps)
    number = np.repeat(np.arange(len(pieces)), n_steps + 1)
    # A piece ends where the next one of its line begins.
    kept = np.ones(len(number), bool)
    kept[np.cumsum(n_steps + 1)[~is_last] - 1] = False
    passed_m = _passed_m(length_m, is_last)
    whole_m = np.zeros(len(ways))
    whole_m[of_line[is_last]] = (passed_m + length_m)[is_last]
    return Stations(places[kept], of_line[number[kept]], (passed_m[number] + at_m)[kept], number[kept], whole_m)


def _passed_m(length_m: NDArray[np.float64], is_last: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n,) length of the pieces of its line that come before each piece."""
    passed_m = np.zeros(len(length_m))
    for piece in range(1, len(length_m)):
        passed_m[piece] = 0.0 if is_last[piece - 1] else passed_m[piece - 1] + length_m[piece - 1]
    return passed_m


def close_approaches(
    ways: list[EastNorth], /, *, apart_m: float, step_m: float = 1.0, level_m: NDArray[np.float64] | None = None
) -> tuple[EastNorth, EastNorth, NDArray[np.int64]]:
    """Pairs of places where two lines, or two parts of one line, are nearer than `apart_m`.

    Two parts of one line count as different where the way along the line between them is more than three times
    `apart_m`; a bend is not a gap.

    Parameters
    ----------
    ways : list of n (k, 2) float64
        The vertices of each line.
    level_m : (n,)
        Elevation of each, where only lines of one elevation are to be compared.

    Returns
    -------
    (n, 2) and (n, 2) float64 places, and (n, 2) int64 the lines they lie on.
    """
    if not ways:
        return np.empty((0, 2)), np.empty((0, 2)), np.empty((0, 2), np.int64)
    at = stations_along(ways, step_m=step_m)
    is_closed = np.array([way[0, 0] == way[-1, 0] and way[0, 1] == way[-1, 1] for way in ways], bool)
    around_m = np.where(is_closed, at.length_m, np.inf)[at.line]
    _, group = np.unique(np.zeros(len(ways)) if level_m is None else level_m, return_inverse=True)
    first, second = near_pairs(at.places, at.line, at.along_m, around_m, group[at.line], apart_m=apart_m)
    return at.places[first], at.places[second], np.column_stack([at.line[first], at.line[second]])


def crowded_places(
    lines: Lines, heights: Heights, grid: Grid, /, *, apart_m: float, steepest_deg: float, step_m: float = 1.0
) -> EastNorth:
    """Places where a contour runs nearer than `apart_m` to another, or to another part of itself.

    Left out is ground steeper than lines can show, `steepest_deg`, where the ground rises one interval within less
    than `apart_m`, and what lies within `apart_m` of such ground: a cliff pushes the lines beside it aside.

    Returns
    -------
    (n, 2) float64
    """
    first, second, _ = close_approaches(_ways(lines), apart_m=apart_m, step_m=step_m)
    places = np.unique(np.concatenate([first, second]), axis=0)
    near_steep = _near_steep(heights, grid, steepest_deg=steepest_deg, margin_m=apart_m)
    index = grid.cell_index(places[:, 0], places[:, 1])
    inside = index >= 0
    return np.asarray(places[inside][~near_steep.ravel()[index[inside]]])


def _near_steep(heights: Heights, grid: Grid, /, *, steepest_deg: float, margin_m: float) -> NDArray[np.bool_]:
    """(rows, cols) bool: ground steeper than lines can show, and what lies within `margin_m` of it."""
    east, north = gradient(heights, grid)
    steep = np.degrees(np.arctan(np.hypot(east, north))) >= steepest_deg
    return within_reach(steep, reach_m=margin_m, cell_m=grid.cell_m)


@dataclass(frozen=True)
class Shapes:
    """Re-entrants and spurs that raw contours show.

    Attributes
    ----------
    places : (n, 2) float64
        Where a raw contour crosses the axis of the re-entrant or spur.
    level_m : (n,) float64
        Elevation of that contour.
    depth_m : (n,) float64
        How far the axis lies below (re-entrant, positive) or above (spur, negative) the ground on both sides.
    reach_m : (n,) float64
        How far the contour reaches into it: depth over the slope along the axis.
    """

    places: EastNorth
    level_m: NDArray[np.float64]
    depth_m: NDArray[np.float64]
    reach_m: NDArray[np.float64]

    def where(self, chosen: NDArray[np.bool_], /) -> Shapes:
        """The chosen ones."""
        return Shapes(self.places[chosen], self.level_m[chosen], self.depth_m[chosen], self.reach_m[chosen])


def find_shapes(
    raw_lines: Lines,
    level_m: NDArray[np.float64],
    heights: Heights,
    grid: Grid,
    /,
    *,
    width_m: float,
    min_depth_m: float,
) -> Shapes:
    """Re-entrants and spurs at least `min_depth_m` deep over `width_m`, where the raw contours cross their axes.

    Along every raw contour the ground half a width to either side, measured square to the slope, is compared with the
    contour's own level; the deepest place of each run is the axis. Runs end at the sides of the fixed squares.
    """
    at = stations(raw_lines, step_m=grid.cell_m)
    east, north = gradient(heights, grid)
    to_east, to_north = _value_at(east, grid, at.places), _value_at(north, grid, at.places)
    steepness = np.hypot(to_east, to_north)
    aside = np.column_stack([-to_north, to_east]) / np.maximum(steepness, 1e-6)[:, None] * (width_m / 2)
    level = level_m[at.line]
    left, right = (_value_at(heights, grid, at.places + side) - level for side in (aside, -aside))
    # Both flanks must stand up: one flank alone is a bend of the slope, not a re-entrant.
    depth = np.where((left > 0) & (right > 0), np.minimum(left, right), 0)
    depth = np.where((left < 0) & (right < 0), np.maximum(left, right), depth)
    run = np.abs(depth) >= min_depth_m
    label = np.cumsum(
        run & ~np.concatenate([[False], run[:-1]]) | run & np.concatenate([[True], np.diff(at.piece) != 0])
    )
    chosen = np.flatnonzero(run)
    order = chosen[np.lexsort((-np.abs(depth[chosen]), label[chosen]))]
    axis = order[np.unique(label[order], return_index=True)[1]]
    reach_m = np.abs(depth[axis]) / np.maximum(steepness[axis], 1e-6)
    return Shapes(at.places[axis], level[axis], depth[axis], reach_m)


def is_showable(
    shapes: Shapes, heights: Heights, grid: Grid, /, *, min_reach_m: float, steepest_deg: float, margin_m: float
) -> NDArray[np.bool_]:
    """(n,) bool: shapes that a line can show at all.

    Left out are shapes that reach less far than half the smallest bend, `min_reach_m`, and those on ground steeper than
    lines can show or within `margin_m`, half the width of a line, of it: there the lines keep off each other, and
    cannot follow the ground.
    """
    near_steep = _near_steep(heights, grid, steepest_deg=steepest_deg, margin_m=margin_m)
    index = grid.cell_index(shapes.places[:, 0], shapes.places[:, 1])
    return np.asarray((shapes.reach_m >= min_reach_m) & (index >= 0) & ~near_steep.ravel()[index])


def is_expressed(shapes: Shapes, lines: Lines, level_m: NDArray[np.float64], /) -> NDArray[np.bool_]:
    """(n,) bool: whether a contour of the same level still reaches at least half as far into each shape.

    A line cut straight across the mouth passes a full reach away from the axis place, one that follows the ground
    passes through it.
    """
    expressed = np.zeros(len(shapes.level_m), bool)
    for level in np.unique(shapes.level_m):
        same = np.flatnonzero(shapes.level_m == level)
        drawn = shapely.union_all([line for line, own in zip(lines, level_m, strict=True) if own == level])
        away_m = shapely.distance(shapely.points(shapes.places[same]), drawn)
        expressed[same] = away_m <= shapes.reach_m[same] / 2
    return expressed


def _value_at(values: Heights, grid: Grid, places: EastNorth) -> NDArray[np.float64]:
    """(n,) values between the cell centres, NaN outside."""
    return bilinear(values, *row_col_between(places, grid), beyond=np.nan)
