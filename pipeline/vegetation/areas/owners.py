"""Which piece of an area each cell belongs to: pieces cut at the border of a field share no cell and lose none."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Bounds, Grid

Owners = NDArray[np.int32]
"""(rows, cols) number of the piece, counted from 1, that holds the middle of each cell; 0 where none does."""
Rows = NDArray[np.int64]


OFF_MIDDLE_M = (1.37e-4, 0.71e-4)
"""How far east and north of the middle of a cell the place lies that decides which area it belongs to, metres. Edges
that were cut from the sides of cells run through many a middle, where the rounding of a coordinate would decide (our
choice)."""


def owners(
    whole: NDArray[np.object_], pieces: NDArray[np.object_], part_of: Rows, grid: Grid, where: Bounds, /
) -> Owners:
    """The piece that holds the middle of each cell.

    The areas before the cut tell which of them a cell belongs to, and the pieces only which piece of it, since a cut
    edge is rounded in another way.

    Parameters
    ----------
    whole : (m,) areas before the cut, that do not overlap
    pieces : (n,) what of them lies in `where`
    part_of : (n,) which of the areas each piece is of
    where : cells beyond it belong to no piece
    """
    found, piece = burnt(whole, grid), burnt(pieces, grid)
    area_of = np.concatenate(([0], part_of + 1))
    first = np.zeros(len(whole) + 1, np.int32)
    first[area_of[:0:-1]] = np.arange(len(pieces), 0, -1)
    owner: Owners = np.where(area_of[piece] == found, piece, first[found]).astype(np.int32)
    east, north = grid.centres()
    owner[(north < where[1]) | (north >= where[3])] = 0
    owner[:, (east < where[0]) | (east >= where[2])] = 0
    return owner


def burnt(polygons: NDArray[np.object_], grid: Grid, /) -> Owners:
    """(rows, cols) number of the polygon, counted from 1, that each cell lies in; 0 where it lies in none."""
    owner = np.zeros(grid.shape, np.int32)
    if not len(polygons):
        return owner
    rings, of_polygon = shapely.get_rings(polygons, return_index=True)
    places, of_ring = shapely.get_coordinates(rings, return_index=True)
    # In cells to the east and south of the place in the first cell that decides.
    off = np.array([grid.west_m + OFF_MIDDLE_M[0], grid.north_m + OFF_MIDDLE_M[1]])
    cells = (places - off) / (grid.cell_m, -grid.cell_m) - 0.5
    ends = np.searchsorted(of_ring, np.arange(len(rings)), side="right")
    last_ring = np.searchsorted(of_polygon, np.arange(len(polygons)), side="right")
    _fill(np.ascontiguousarray(cells), ends, last_ring, owner)
    return owner


@compiled
def _fill(cells: NDArray[np.float64], ends: Rows, last_ring: Rows, owner: Owners) -> None:
    """As `burnt`: whole numbers are the places that decide; a later polygon takes the cells of an earlier one.

    Along each row the sides of a polygon are crossed: behind an odd number of them a cell lies in it.
    """
    rows, cols = owner.shape
    first, ring = 0, 0
    for polygon in range(len(last_ring)):
        last = ends[last_ring[polygon] - 1]
        top = max(int(np.ceil(cells[first:last, 1].min())), 0)
        left = max(int(np.ceil(cells[first:last, 0].min())), 0)
        bottom = min(int(np.ceil(cells[first:last, 1].max())), rows)
        right = min(int(np.ceil(cells[first:last, 0].max())), cols)
        crossed = np.zeros((max(bottom - top, 0), max(right - left, 0) + 1), np.bool_)
        while ring < last_ring[polygon]:
            for vertex in range(first, ends[ring] - 1):
                col, row = cells[vertex]
                to_col, to_row = cells[vertex + 1]
                if to_row < row:
                    col, row, to_col, to_row = to_col, to_row, col, row
                for at in range(max(int(np.ceil(row)), top), min(int(np.ceil(to_row)), bottom)):
                    met = int(np.ceil(col + (at - row) / (to_row - row) * (to_col - col)))
                    met = min(max(met, left), right)
                    crossed[at - top, met - left] = not crossed[at - top, met - left]
            first = ends[ring]
            ring += 1
        for at in range(top, bottom):
            inside = False
            for col_at in range(left, right):
                inside = inside != crossed[at - top, col_at - left]
                if inside:
                    owner[at, col_at] = polygon + 1
