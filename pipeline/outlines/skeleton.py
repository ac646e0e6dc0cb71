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


ROUNDED_REACH = 6
"""How many vertices before and behind one decide where `rounded` puts it."""


def rounded(vertices: NDArray[np.float64], /) -> NDArray[np.float64]:
    """(n, 2) the vertices of a line, each averaged with about three on either side; the ends stay where they are."""
    smooth = ndimage.gaussian_filter1d(vertices, ROUNDED_REACH / 4, axis=0, mode="nearest")
    smooth[0], smooth[-1] = vertices[0], vertices[-1]
    return np.asarray(smooth)


_NEIGHBOURS = ((-1, 0), (0, -1), (0, 1), (1, 0), (-1, -1), (-1, 1), (1, -1), (1, 1))


def ridge_lines(mask: Mask, grid: Grid, /) -> list[shapely.LineString]:
    """One line, the longest, along the middle of every connected strip of cells.

    Parameters
    ----------
    mask : (rows, cols) bool
        The strip is thinned to its crest; the line is smoothed over about three cells.
    """
    skeleton = skeletonize(_closed(mask))  # type: ignore[no-untyped-call]
    labels, _ = ndimage.label(skeleton, np.ones((3, 3)))
    lines = []
    for label, box in enumerate(ndimage.find_objects(labels), start=1):
        cells = np.argwhere(labels[box] == label)
        if len(cells) < 4:
            continue
        path = _longest_path(cells) + np.array([box[0].start, box[1].start])
        lines.append(_as_line(path, grid))
    return lines


def _closed(mask: Mask) -> Mask:
    closed: Mask = ndimage.binary_closing(mask, np.ones((3, 3), bool), border_value=0) | mask
    return closed


def _longest_path(cells: NDArray[np.int64]) -> NDArray[np.int64]:
    """The longest of the shortest ways through a thinned strip: from the cell farthest off to the farthest from it."""
    index = {(int(r), int(c)): i for i, (r, c) in enumerate(cells)}
    links = [
        [index[(int(r) + i, int(c) + j)] for i, j in _NEIGHBOURS if (int(r) + i, int(c) + j) in index] for r, c in cells
    ]
    start, _ = _walk(links, 0)
    end, came_from = _walk(links, start)
    path = [end]
    while came_from[path[-1]] >= 0:
        path.append(came_from[path[-1]])
    return cells[path]


def _walk(links: list[list[int]], start: int) -> tuple[int, list[int]]:
    """The cell reached last going outwards from `start`, and where each was reached from."""
    came_from = [-2] * len(links)
    came_from[start] = -1
    queue = [start]
    for cell in queue:
        for other in links[cell]:
            if came_from[other] == -2:
                came_from[other] = cell
                queue.append(other)
    return queue[-1], came_from


def _as_line(path: NDArray[np.int64], grid: Grid) -> shapely.LineString:
    smooth = rounded(path.astype(np.float64))
    east = (smooth[:, 1] + grid.west_col + 0.5) * grid.cell_m
    north = (grid.north_row - 0.5 - smooth[:, 0]) * grid.cell_m
    return shapely.LineString(np.column_stack((east, north)))
