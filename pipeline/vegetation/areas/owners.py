"""Which piece of an area each cell belongs to: pieces cut at the border of a field share no cell and lose none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize

from pipeline.lattice.grid import Bounds, Grid

Owners = NDArray[np.int32]
"""(rows, cols) number of the piece, counted from 1, that holds the middle of each cell; 0 where none does."""
Rows = NDArray[np.int64]


def owners(
    whole: NDArray[np.object_], pieces: NDArray[np.object_], part_of: Rows, grid: Grid, where: Bounds, /
) -> Owners:
    """The piece that holds the middle of each cell.

    Where an edge runs through the middle of a cell, rounding decides, and it rounds a cut edge in another way. So the
    areas before the cut tell which of them a cell belongs to, and the pieces only which piece of it.

    Parameters
    ----------
    whole : (m,) areas before the cut, that do not overlap
    pieces : (n,) what of them lies in `where`
    part_of : (n,) which of the areas each piece is of
    where : cells beyond it belong to no piece
    """
    found, piece = _burnt(whole, grid), _burnt(pieces, grid)
    area_of = np.concatenate(([0], part_of + 1))
    first = np.zeros(len(whole) + 1, np.int32)
    first[area_of[:0:-1]] = np.arange(len(pieces), 0, -1)
    owner: Owners = np.where(area_of[piece] == found, piece, first[found]).astype(np.int32)
    east, north = grid.centres()
    owner[(north < where[1]) | (north >= where[3])] = 0
    owner[:, (east < where[0]) | (east >= where[2])] = 0
    return owner


def _burnt(polygons: NDArray[np.object_], grid: Grid) -> Owners:
    if not len(polygons):
        return np.zeros(grid.shape, np.int32)
    numbered = zip(polygons, range(1, len(polygons) + 1), strict=True)
    burnt = rasterize(numbered, out_shape=grid.shape, transform=grid.transform, fill=0, dtype=np.int32)
    return np.asarray(burnt, np.int32)
