"""The outline of the area: where there are returns, inside the mapper's boundary."""

from __future__ import annotations

import numpy as np
import rasterio.features
import shapely
from scipy import ndimage
from shapely.geometry import MultiPolygon, Polygon, shape

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import any_into, cells_times_as_wide

COARSE_M = 4.0
"""Side of the squares that cells are joined to first, in metres: well above the spacing of pulses in sparse surveys."""


def squares_with_returns(all_returns: Heights, grid: Grid, /) -> tuple[Mask, Grid]:
    """Squares of `COARSE_M` with a return, and the grid they lie on.

    Parameters
    ----------
    all_returns : (rows, cols), returns in each cell; NaN or 0 where there are none
    """
    factor = max(1, round(COARSE_M / grid.cell_m))
    coarse = cells_times_as_wide(grid, factor)
    return any_into(all_returns > 0, grid, coarse, factor), coarse


def covered_area(
    seen: Mask, coarse: Grid, /, *, bridge_m: float = 24.0, min_part_m2: float = 2500.0
) -> Polygon | MultiPolygon:
    """Ground that the survey saw, as polygons.

    It is drawn from the returns, not from the tiles' frames, so that the same survey cut another way has the same
    outline. Voids are filled: a lake gives no returns and still lies in the area.

    Parameters
    ----------
    seen : (rows, cols) bool
        Squares with a return, as `squares_with_returns` finds them.
    bridge_m : float
        Gaps up to this width at the edge are bridged.
    min_part_m2 : float
        Smaller islands (a lost return far outside) are left out.
    """
    reach = max(1, round(bridge_m / 2 / coarse.cell_m))
    padded = np.pad(seen, reach)
    square = np.ones((2 * reach + 1, 2 * reach + 1), bool)
    closed = ndimage.binary_fill_holes(ndimage.binary_closing(padded, square))[reach:-reach, reach:-reach]
    shapes = rasterio.features.shapes(closed.astype(np.uint8), mask=closed, transform=coarse.transform)
    parts = [shape(outline) for outline, _ in shapes]
    large = [part for part in parts if part.area >= min_part_m2] or parts
    joined = shapely.simplify(shapely.union_all(large), coarse.cell_m)
    return joined if isinstance(joined, Polygon | MultiPolygon) else MultiPolygon()
