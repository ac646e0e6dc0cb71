"""Patches of cells on smooth planes: which of them are roofs by size, smoothness and the drop at their edge."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Mask
from pipeline.lattice.per_cell import count_in_cells
from pipeline.lattice.windows import highest_around
from pipeline.points.roofs.boulder_tops import MAX_AREA_M2, boulder_tops
from pipeline.points.roofs.planes import MIN_CLOSED_RATIO, Planes
from pipeline.points.roofs.returns import CELL_M, RoofReturns

MAX_RESIDUAL_M = 0.12
"""Standard deviation in metres of the returns about the plane of the roughest roof: tiles and the noise of a survey
give 0.03 to 0.08, crowns 0.5."""
MAX_SLOPE_DEG = 60.0
"""Slope in degrees of the steepest roof: steep roofs reach 60, steeper planes are walls. Common practice, no source."""
MIN_FACET_M2 = 2.0
"""Area in square metres of the smallest piece of smooth plane: crowns have smooth spots of one or two cells. Our
choice."""
MIN_SMOOTH_RATIO = 0.3
"""Share of smooth cells in a patch, 0 to 1: a square roof of 4 m has 0.37, as the outer 0.75 m are never smooth."""
MAX_FLUSH_RATIO = 0.15
"""Share of the rim of a patch at which low returns may carry its plane on, 0 to 1: on slopes and banks they do, below
eaves they do not. Our choice."""
MAX_HOLE_M2 = 6.0
"""Area in square metres of the largest hole in a roof that is filled: chimneys and dormers. Our choice."""


def facets_of(planes: Planes, /) -> Mask:
    """(rows, cols) bool: cells amid a smooth plane that hardly a pulse passed, in pieces large enough."""
    slope = np.hypot(planes.rise_east, planes.rise_north)
    smooth: Mask = (
        (planes.closed >= MIN_CLOSED_RATIO)
        & (planes.residual_m <= MAX_RESIDUAL_M)
        & (slope <= math.tan(math.radians(MAX_SLOPE_DEG)))
    )
    return _without_specks(smooth, MIN_FACET_M2 / CELL_M**2)


def _without_specks(cells: Mask, least_cells: float) -> Mask:
    """The connected pieces (by edges) of at least so many cells."""
    pieces, _ = ndimage.label(cells)
    large = np.bincount(pieces.ravel()) >= least_cells
    large[0] = False
    return large[pieces]


def roof_patches(returns: RoofReturns, facets: Mask, on_plane: Mask, /, *, min_patch_m2: float) -> Mask:
    """(rows, cols) bool: cells of the patches that are roofs by size, smoothness, shape and the drop at their edge."""
    hits = count_in_cells(returns.cell[on_plane & returns.is_high_last], facets.shape)
    misses = count_in_cells(returns.cell[~on_plane & returns.is_high_last], facets.shape)
    patch_cells = facets | ((hits > 0) & (hits >= misses))
    patches, count = ndimage.label(patch_cells, np.ones((3, 3)))
    flush = count_in_cells(returns.cell[on_plane & returns.is_low_last], facets.shape) > 0
    area = np.bincount(patches.ravel(), minlength=count + 1)
    smooth = np.bincount(patches[facets], minlength=count + 1) / np.maximum(area, 1)
    rim = _rim(patches)
    rim_cells = np.maximum(np.bincount(rim.ravel(), minlength=count + 1), 1)
    runs_on = np.bincount(rim[flush], minlength=count + 1) / rim_cells
    keep = (area * CELL_M**2 >= min_patch_m2) & (smooth >= MIN_SMOOTH_RATIO) & (runs_on <= MAX_FLUSH_RATIO)
    keep[0] = False
    tops = on_plane & returns.is_high_last
    keep &= ~boulder_tops(patches, returns, tops, keep & (area * CELL_M**2 <= MAX_AREA_M2))
    kept: Mask = keep[patches]
    return kept


def _rim(patches: NDArray[np.signedinteger]) -> NDArray[np.int32]:
    """(rows, cols) number of the patch that a cell outside is next to, up to two cells away; 0 elsewhere."""
    spread = highest_around(patches, 2)
    return np.where(patches > 0, 0, spread).astype(np.int32)


def enclosed(roofs: Mask, /) -> Mask:
    """(rows, cols) bool: small holes in roofs, left by what stands on them."""
    holes = ndimage.binary_fill_holes(roofs) & ~roofs
    return holes & ~_without_specks(holes, MAX_HOLE_M2 / CELL_M**2)
