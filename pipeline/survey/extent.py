"""How much ground a survey covers, and where it has holes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from pipeline.intake.tile_table import TileTable
from pipeline.lattice.grid import Bounds, Mask
from pipeline.survey.sample.seen import SeenCells


@dataclass(frozen=True)
class Extent:
    """Ground the survey covers.

    Attributes
    ----------
    covered_m2 : float
        Ground within the tiles, overlaps once, holes left out where they are known.
    outside_m2 : float
        Boundary that no tile covers.
    holes_m2, largest_hole_m2 : float or None
        Empty ground within tiles and boundary, all and the largest piece; None where only a sample was read.
    """

    covered_m2: float
    outside_m2: float
    holes_m2: float | None
    largest_hole_m2: float | None


VOID_SPACINGS = 4.0
"""A square cell without returns is a hole when its side is this many times the mean distance of pulses: what the USGS
Lidar Base Specification calls a data void."""
LEAST_HOLE_M = 1.0
"""No hole has a smaller side, however dense the pulses: smaller gaps are the pattern of the scanner (our choice)."""


CELL_STEP_M = 0.1
"""Steps in which the side of these cells is chosen, in metres: a few returns more or less leave the cells where they
are, so that those of tiles that did not change are known from an earlier run. Our choice."""
SeenAt = Callable[[float], Sequence[SeenCells]]
"""Given the side of a cell in metres: the cells of each tile that hold a return."""


def measure_extent(
    table: TileTable, boundary: BaseGeometry | None, /, *, n_pulses: int, seen_at: SeenAt | None
) -> Extent:
    """Ground covered and holes.

    Parameters
    ----------
    n_pulses : pulses of the survey
    seen_at : where returns are; None where only a sample was read, which has holes of its own
    """
    covered = covered_ground(table)
    outline = covered if boundary is None else boundary
    outside_m2 = float(shapely.difference(outline, covered).area)
    if seen_at is None:
        return Extent(float(covered.area), outside_m2, None, None)
    spacing_m = math.sqrt(covered.area / n_pulses)
    side_m = max(LEAST_HOLE_M, round(VOID_SPACINGS * spacing_m / CELL_STEP_M) * CELL_STEP_M)
    seen = seen_at(side_m)
    everywhere_m2, _ = _measure_holes(seen, covered, covered, side_m)
    holes_m2, largest_m2 = _measure_holes(seen, covered, outline, side_m)
    return Extent(max(float(covered.area) - everywhere_m2, side_m**2), outside_m2, holes_m2, largest_m2)


def covered_ground(table: TileTable, /) -> BaseGeometry:
    """The ground within the outlines of all tiles, in the working CRS."""
    covered: BaseGeometry = shapely.union_all([shapely.Polygon(tile.outline) for tile in table.tiles])
    return covered


# Tiles may lie this far apart, such as the centimetre that rounding leaves, and have no gap between them (our choice).
_TILE_GAP_M = 0.1


def _measure_holes(
    tiles: Sequence[SeenCells], covered: BaseGeometry, outline: BaseGeometry, side_m: float
) -> tuple[float, float]:
    """Area of all cells without a return, and of the largest group of them, in square metres.

    Cells cut by the edge of the tiles or of the outline are left out: half a cell is easily empty.
    """
    all_m2, largest_m2 = 0.0, 0.0
    # Tiles end a centimetre before the next begins; that must not part a hole in two.
    closed = covered.buffer(side_m / 2, join_style="mitre").buffer(-side_m / 2, join_style="mitre")
    wanted = shapely.intersection(closed, outline.buffer(_TILE_GAP_M, join_style="mitre")).buffer(-side_m * 0.75)
    for part in shapely.get_parts(closed):
        inner = shapely.intersection(part, wanted)
        if inner.is_empty:
            continue
        seen, east, north = _seen_cells(tiles, inner.bounds, side_m)
        shapely.prepare(inner)
        empty = ~seen & shapely.contains_xy(inner, *np.meshgrid(east, north))
        groups, n_groups = ndimage.label(empty)
        if n_groups:
            all_m2 += float(empty.sum()) * side_m**2
            largest_m2 = max(largest_m2, float(np.bincount(groups.ravel())[1:].max()) * side_m**2)
    return all_m2, largest_m2


def _seen_cells(
    tiles: Sequence[SeenCells], bounds: Bounds, side_m: float
) -> tuple[Mask, NDArray[np.float64], NDArray[np.float64]]:
    """(rows, cols) which cells hold a return, with the east of the columns and the north of the rows (upwards)."""
    west, south, east, north = bounds
    first_col, first_row = math.floor(west / side_m), math.floor(south / side_m)
    n_cols, n_rows = math.floor(east / side_m) - first_col + 1, math.floor(north / side_m) - first_row + 1
    seen = np.zeros((n_rows, n_cols), np.bool_)
    for tile in tiles:
        col, row = tile.places()
        col, row = col - first_col, row - first_row
        inside = (col >= 0) & (col < n_cols) & (row >= 0) & (row < n_rows)
        seen[row[inside], col[inside]] = True
    cols, rows = np.arange(n_cols, dtype=np.float64), np.arange(n_rows, dtype=np.float64)
    return seen, (cols + first_col + 0.5) * side_m, (rows + first_row + 0.5) * side_m
