"""Lines along the crest of a strip of cells."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import skeletonize

from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.skeleton import rounded

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
