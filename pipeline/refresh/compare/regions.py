"""Cells that lie together: seeds that are beyond doubt, grown as far as the change reaches."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.grid import Heights, Mask
from pipeline.norm.symbols import isom

EIGHT = np.ones((3, 3), np.bool_)
"""Cells that touch with a corner lie together too."""


def grown_from(seeds: Mask, extent: Mask, /) -> Mask:
    """(rows, cols) the parts of the extent that hold at least one seed."""
    label, n = ndimage.label(extent | seeds, EIGHT)
    kept = np.zeros(n + 1, np.bool_)
    kept[np.unique(label[seeds])] = True
    kept[0] = False
    return np.asarray(kept[label])


def large_enough(cells: Mask, /, *, least_cells: float) -> Mask:
    """(rows, cols) the parts of a mask that have so many cells."""
    label, n = ndimage.label(cells, EIGHT)
    size = np.bincount(label.ravel(), minlength=n + 1)
    kept = size >= least_cells
    kept[0] = False
    return np.asarray(kept[label])


def without_gaps(cells: Mask, seen: Mask, /, *, cell_m: float) -> Mask:
    """(rows, cols) the mask with those gaps filled that a map has no room for, as a mapper draws round them.

    Holes smaller than the least area of forest within another symbol (ISOM 405), and bays, gaps and holes narrower
    than the least width of an undergrowth area (ISOM 406); the mask grows nowhere outward.

    Parameters
    ----------
    seen : (rows, cols) bool, where both surveys tell what stands there; other cells are not filled
    """
    reach = isom("406").smallest.width_m / 2
    n = int(np.ceil(reach / cell_m)) + 1
    wide = np.pad(cells, n)
    near = ndimage.distance_transform_edt(~wide) * cell_m <= reach
    closed = (ndimage.distance_transform_edt(near) * cell_m > reach)[n:-n, n:-n] | cells
    holes = ndimage.binary_fill_holes(closed) & ~closed
    holes &= ~large_enough(holes, least_cells=isom("405").smallest.area_m2 / cell_m**2)
    return np.asarray((closed | holes) & (seen | cells))


def parts_of(cells: Mask, /) -> Iterator[tuple[tuple[slice, slice], Mask]]:
    """Each part of a mask: its window, and its cells in it."""
    label, _ = ndimage.label(cells, EIGHT)
    for number, (rows, cols) in enumerate(ndimage.find_objects(label), 1):
        yield (rows, cols), np.asarray(label[rows, cols] == number)


def local_mean(values: Heights, sigma_cells: float, /) -> tuple[Heights, Heights]:
    """Mean of the known values in a Gaussian window around each cell, and the share of the window that is known."""
    known = np.isfinite(values)
    total = gaussian(np.where(known, values, 0).astype(np.float32), sigma_cells, rim="constant")
    share = gaussian(known.astype(np.float32), sigma_cells, rim="constant")
    mean = np.where(share > 0.02, total / np.maximum(share, 1e-6), np.nan)
    return mean.astype(np.float32), share.astype(np.float32)


def robust_spread(values: NDArray[np.floating], /) -> float:
    """Standard deviation by the median of absolute values: what it is around 0, whatever a minority does."""
    return 1.4826 * float(np.median(np.abs(values))) if values.size else float("nan")


def spread_by_stratum(
    values: Heights, strata: NDArray[np.integer], usable: Mask, /, *, floor: float, ceiling: Heights
) -> Heights:
    """(rows, cols) what the pair of surveys itself shows of its noise: the robust spread of each stratum.

    A stratum that changed by more than half would take its change for noise; so the spread is held below what the
    surveys' own errors allow.

    Parameters
    ----------
    strata : (rows, cols) number of the stratum of each cell, 0 and above
    floor : least standard deviation
    ceiling : (rows, cols) greatest standard deviation
    """
    found = np.full(int(strata.max()) + 1, np.nan)
    for number in np.unique(strata[usable]):
        inside = values[usable & (strata == number)]
        if inside.size >= LEAST_IN_STRATUM:
            found[number] = robust_spread(inside)
    whole = robust_spread(values[usable])
    spread = np.where(np.isfinite(found), found, whole)[strata]
    return np.asarray(np.clip(np.fmin(spread, ceiling), floor, None), np.float32)


LEAST_IN_STRATUM = 200
"""Cells without which a stratum takes the spread of all. Our choice."""
