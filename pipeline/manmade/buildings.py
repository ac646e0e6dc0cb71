"""Buildings: right-angled outlines of the places where most returns come from roofs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely.geometry import Polygon

from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask

ROOF_WINDOW_M = 1.5
"""Side in metres of the window in which roof returns are counted against last returns. Our choice."""
LEAST_WINDOW_CELLS = 3
"""Least side of that window in cells: in a thin survey a third of the cells hold no return, and counted cell by cell
a house would fall apart along them (seen on `thin_with_buildings`, cells of 2 m: 177 pieces where the class of
buildings has some 70 clusters of returns)."""
ROOF_MIN_RATIO = 0.5
"""Share of the last returns in that window that must come from a roof for a cell to be roof: half, as at the edge of a
straight wall."""
MIN_WIDTH_M = 2.5
"""Width in metres below which a patch of roof is a wall, an eave or a stray instead of a building. Our choice."""
MIN_PART_M2 = 8.0
"""Area in square metres that a wing or a notch must add to the fit to become part of the plan: 2 m x 4 m, which is 0.13
mm on the map. With less, plans follow the noise of the returns. Our choice."""
MAX_PARTS = 6
"""Most rectangles that a plan is put together from, and most notches cut out of it. Our choice."""
MOST_CELLS = 120
"""Most cells across a building in which its walls are looked for, as the work grows with the cube of them: a house has
30 of half a metre; a hall gets wider cells. Our choice."""

Score = NDArray[np.float32]
"""(rows, cols) in a building's own frame: positive where roof is seen, negative where it is not."""


@dataclass(frozen=True)
class Outline:
    """A building's plan and how well it matches the roof returns.

    Attributes
    ----------
    shape : Polygon in the working CRS
    fit : float, 0..1
        Area common to the plan and to the cells with roof, over the area of both together.
    roof_share : float, 0..1
        Roof returns over last returns within the plan.
    returns : int
        Roof returns within the plan.
    """

    shape: Polygon
    fit: float
    roof_share: float
    returns: int


def building_outlines(
    building_returns: Heights, last_returns: Heights, grid: Grid, /, *, min_area_m2: float
) -> list[Outline]:
    """Right-angled outlines of the buildings, largest first.

    Roof cells are put together to patches; each patch gets the few rectangles of one direction that cover it best.
    Roof returns are held against last returns, as leaves above a roof add returns but seldom the last one; a roof
    hidden by dense trees is not found.

    Parameters
    ----------
    building_returns, last_returns : (rows, cols) float32
        Counts of returns of class 6 and of last returns.
    min_area_m2 : float
        Area of the smallest building.
    """
    roof = roof_cells(building_returns, last_returns, grid.cell_m)
    patches, _ = ndimage.label(roof)
    outlines: list[Outline] = []
    for number, box in enumerate(ndimage.find_objects(patches), start=1):
        patch = patches[box] == number
        if patch.sum() * grid.cell_m**2 < min_area_m2:
            continue
        plans = _plans_of(patch, (box[0], box[1]), grid, min_area_m2=min_area_m2)
        outlines += [_judge(plan, roof, building_returns, last_returns, grid) for plan in plans]
    return sorted(outlines, key=lambda o: (-o.shape.area, o.shape.bounds))


def roof_cells(building_returns: Heights, last_returns: Heights, cell_m: float, /) -> Mask:
    """(rows, cols) bool: cells where enough of the returns nearby come from roofs, freed of thin fringes."""
    size = max(_odd_cells(ROOF_WINDOW_M, cell_m), LEAST_WINDOW_CELLS)
    roof = square_mean(building_returns.astype(np.float32), size, rim="constant") * size**2
    seen = square_mean(last_returns.astype(np.float32), size, rim="constant") * size**2
    share = np.divide(roof, seen, out=np.zeros_like(roof), where=seen > 0.5)
    dense = (share >= ROOF_MIN_RATIO) & (roof > 0.5)
    fringe = np.ones((_odd_cells(MIN_WIDTH_M, cell_m),) * 2, bool)
    cleaned: Mask = ndimage.binary_opening(dense, fringe)
    return cleaned


def _odd_cells(length_m: float, cell_m: float) -> int:
    """The odd number of cells nearest to a length, at least 1."""
    return max(1, 2 * round((length_m / cell_m - 1) / 2) + 1)


def _plans_of(patch: Mask, box: tuple[slice, slice], grid: Grid, /, *, min_area_m2: float) -> list[Polygon]:
    """The plan of one patch, in the working CRS."""
    rows, cols = np.nonzero(patch)
    east = (cols + box[1].start + grid.west_col + 0.5) * grid.cell_m
    north = (grid.north_row - rows - box[0].start - 0.5) * grid.cell_m
    places = np.column_stack([east, north])
    centre = places.mean(axis=0)
    # The scan for rectangles grows with the cube of the cells across: a large hall is looked at more coarsely.
    step_m = grid.cell_m * math.ceil(max(patch.shape) / MOST_CELLS)
    turn = _direction(patch, places - centre, grid.cell_m, step_m)
    score, corner = _in_frame(_rotated(places - centre, -turn), grid.cell_m, step_m)
    plan = _rectangles(score, step_m)
    shape = shapely.union_all([_in_metres(part, corner, step_m) for part in plan.added])
    for notch in plan.cut:
        shape = shape.difference(_in_metres(notch, corner, step_m))
    polygons = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]
    # Whole polygons are turned, with the courtyards in them.
    turned = [shapely.transform(part, lambda corners: _rotated(corners, turn) + centre) for part in polygons]
    return [part for part in turned if part.area >= min_area_m2]


def _in_metres(cells: tuple[int, int, int, int], corner: NDArray[np.float64], step_m: float) -> Polygon:
    """A rectangle of cells of the frame (west, south, east, north) as a polygon."""
    return shapely.box(*(np.array(cells) * step_m + np.tile(corner, 2)))


def _rotated(places: NDArray[np.float64], turn: float) -> NDArray[np.float64]:
    """Places turned anticlockwise about the origin."""
    c, s = math.cos(turn), math.sin(turn)
    turned: NDArray[np.float64] = places @ np.array([[c, s], [-s, c]])
    return turned


def _direction(patch: Mask, places: NDArray[np.float64], cell_m: float, step_m: float) -> float:
    """Direction of the walls in radians, 0 to pi/2: the one in which the patch fits rectangles best.

    The edges of the patch say it roughly (mean of the fourfold angle, as every wall counts whichever way it faces); a
    search around that finds the turn for which the best single rectangle holds most.
    """
    soft = ndimage.gaussian_filter(np.pad(patch, 4).astype(np.float32), 1.5)
    down, right = np.gradient(soft)
    angle, weight = np.arctan2(-down, right), np.hypot(down, right) ** 2
    rough = math.atan2(float((weight * np.sin(4 * angle)).sum()), float((weight * np.cos(4 * angle)).sum())) / 4
    tries = rough + np.radians(np.arange(-10.0, 10.5, 1.0))
    sums = []
    for turn in tries:
        score, _ = _in_frame(_rotated(places, -turn), cell_m, step_m)
        sums.append(_best_rectangle(score)[0])
    # The middle of equally good turns: a small patch cannot tell one degree from the next.
    best = np.flatnonzero(np.asarray(sums) >= max(sums) * 0.995)
    return float(tries[best].mean() % (math.pi / 2))


def _in_frame(places: NDArray[np.float64], cell_m: float, step_m: float) -> tuple[Score, NDArray[np.float64]]:
    """Turned cell centres as scores in the building's own frame, +1 roof and -1 not, with a rim of 2 cells.

    `cell_m` is the side of the cells that `places` are centres of, `step_m` that of the frame's cells.

    Returns
    -------
    score : (rows, cols), row 0 in the south
    corner : (2,) the frame's coordinates of the lower left corner
    """
    low = places.min(axis=0) - 2.5 * step_m
    shape = np.ceil((places.max(axis=0) - low) / step_m + 2.5).astype(int)
    x = (np.arange(shape[0]) + 0.5) * step_m + low[0]
    y = (np.arange(shape[1]) + 0.5) * step_m + low[1]
    at = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    near = cKDTree(places).query(at, distance_upper_bound=0.71 * cell_m)[0]
    return np.where(np.isfinite(near), 1.0, -1.0).astype(np.float32).reshape(shape[1], shape[0]), low


@dataclass(frozen=True)
class _Plan:
    """Rectangles (west, south, east, north in cells): parts of a building, and what is cut out of them."""

    added: list[tuple[int, int, int, int]]
    cut: list[tuple[int, int, int, int]]


def _rectangles(score: Score, cell_m: float, /) -> _Plan:
    """Few rectangles that cover the roof: parts are added while each brings enough area, then notches are cut."""
    least = MIN_PART_M2 / cell_m**2
    added: list[tuple[int, int, int, int]] = []
    cut: list[tuple[int, int, int, int]] = []
    open_score, covered = score.copy(), np.zeros(score.shape, bool)
    while len(added) < MAX_PARTS:
        gain, (west, south, east, north) = _best_rectangle(open_score)
        if added and gain < least:
            break
        added.append((west, south, east, north))
        covered[south:north, west:east] = True
        # What is covered costs nothing more, so that a wing may reach into the main part.
        open_score[south:north, west:east] = 0
    notch_score = np.where(covered, -score, -1).astype(np.float32)
    while len(cut) < MAX_PARTS:
        gain, (west, south, east, north) = _best_rectangle(notch_score)
        if gain < least:
            break
        cut.append((west, south, east, north))
        notch_score[south:north, west:east] = -1
    return _Plan(added, cut)


def _best_rectangle(score: Score) -> tuple[float, tuple[int, int, int, int]]:
    """The rectangle of cells with the greatest sum, and that sum.

    Returns west, south, east, north in cells (upper ends excluded). Kadane's scan for the best run of columns, done for
    all pairs of first and last row at once (Bentley 1984, Programming pearls: algorithm design techniques,
    Communications of the ACM 27 (9), 865-873).
    """
    rows, cols = score.shape
    total = np.vstack([np.zeros((1, cols), np.float32), np.cumsum(score, axis=0)])
    first, last = np.triu_indices(rows + 1, k=1)
    strips = total[last] - total[first]
    run = np.zeros(len(first), np.float32)
    start = np.zeros(len(first), np.int64)
    best = np.full(len(first), -np.inf, np.float32)
    span = np.zeros((len(first), 2), np.int64)
    for col in range(cols):
        fresh = run <= 0
        run = np.where(fresh, 0, run) + strips[:, col]
        start = np.where(fresh, col, start)
        better = run > best
        best = np.where(better, run, best)
        span[better] = np.column_stack([start[better], np.full(int(better.sum()), col + 1)])
    winner = int(np.argmax(best))
    west, east = span[winner]
    return float(best[winner]), (int(west), int(first[winner]), int(east), int(last[winner]))


def _judge(shape: Polygon, roof: Mask, building_returns: Heights, last_returns: Heights, grid: Grid) -> Outline:
    """How well a plan matches the roof returns."""
    near = shape.buffer(3.0).bounds
    window = Grid.covering(near, cell_m=grid.cell_m, crs=grid.crs)
    row, col = grid.north_row - window.north_row, window.west_col - grid.west_col
    rows = slice(max(row, 0), max(row + window.rows, 0))
    cols = slice(max(col, 0), max(col + window.cols, 0))
    east, north = grid.centres()
    x, y = np.meshgrid(east[cols], north[rows])
    inside = shapely.contains_xy(shape, x, y)
    cells = roof[rows, cols]
    fit = float((inside & cells).sum() / max(1, (inside | cells).sum()))
    hits, seen = float(building_returns[rows, cols][inside].sum()), float(last_returns[rows, cols][inside].sum())
    return Outline(shape, fit, min(1.0, hits / max(seen, 1.0)), round(hits))
