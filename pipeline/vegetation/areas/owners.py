"""Which piece of an area each cell belongs to: pieces cut at the border of a field share no cell and lose none."""

from __future__ import annotations

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import rasterize

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
    if not len(polygons):
        return np.zeros(grid.shape, np.int32)
    numbered = zip(polygons, range(1, len(polygons) + 1), strict=True)
    east_m, north_m = grid.west_m + OFF_MIDDLE_M[0], grid.north_m + OFF_MIDDLE_M[1]
    transform = Affine(grid.cell_m, 0.0, east_m, 0.0, -grid.cell_m, north_m)
    return np.asarray(rasterize(numbered, out_shape=grid.shape, transform=transform, fill=0, dtype=np.int32), np.int32)
