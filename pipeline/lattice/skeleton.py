"""Lines along the middle of strips of cells, from the skeleton of a mask."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import skeletonize

from pipeline.lattice.grid import Grid, Mask

Labels = NDArray[np.int64]
_STRAIGHT = ((0, 1), (1, 0))
_DIAGONAL = ((1, 1), (1, -1))


def skeleton_lines(mask: Mask, grid: Grid, /, *, cut_at_corners: bool) -> list[shapely.LineString]:
    """Lines through the centres of the cells of the skeleton of a mask, cut where it forks.

    Parameters
    ----------
    mask : (rows, cols) bool
    cut_at_corners : bool
        Whether cells that touch at a corner are linked even where another cell lies beside both. The three cells of a
        right angle then form a triangle, and the lines are cut there as at a fork.

    Source
    ------
    Skeleton: Zhang and Suen (1984), doi:10.1145/357994.358023, as scikit-image has it.
    """
    row, col = np.nonzero(skeletonize(mask))  # type: ignore[no-untyped-call]
    links = _links(row, col, grid, cut_at_corners)
    if not len(links):
        return []
    east, north = grid.centres()
    places = np.column_stack((east[col], north[row]))
    steps = np.asarray(shapely.linestrings(places[links]))
    # In a square of four cells both diagonals are links then: a union cuts them where they cross.
    joined = shapely.union_all(steps) if cut_at_corners else shapely.multilinestrings(steps)
    merged = shapely.line_merge(joined)
    return list(shapely.get_parts(merged))


def _links(row: Labels, col: Labels, grid: Grid, cut_at_corners: bool) -> Labels:
    """(k, 2) which two cells of the skeleton touch, each pair once."""
    number = np.full((grid.rows + 2, grid.cols + 2), -1)
    number[row + 1, col + 1] = np.arange(len(row))
    pairs = []
    for south, right in _STRAIGHT + _DIAGONAL:
        other = number[row + 1 + south, col + 1 + right]
        linked = other >= 0
        if (south, right) in _DIAGONAL and not cut_at_corners:
            linked &= (number[row + 1 + south, col + 1] < 0) & (number[row + 1, col + 1 + right] < 0)
        pairs.append(np.column_stack((np.flatnonzero(linked), other[linked])))
    return np.concatenate(pairs)


def rounded(vertices: NDArray[np.float64], /) -> NDArray[np.float64]:
    """(n, 2) the vertices of a line, each averaged with about three on either side; the ends stay where they are."""
    smooth = ndimage.gaussian_filter1d(vertices, 1.5, axis=0, mode="nearest")
    smooth[0], smooth[-1] = vertices[0], vertices[-1]
    return np.asarray(smooth)
