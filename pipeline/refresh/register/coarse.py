"""A first guess of a large shift, such as between two datums: where the slopes of two surveys fit best."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import cells_times_as_wide, mean_into
from pipeline.refresh.register.shift import Shift, Surface, moved_onto

CELL_M = 4.0
"""Cells in which the guess is made, in metres: least squares find the rest from there. Our choice."""
FARTHEST_M = 600.0
"""No larger shift is looked for, in metres: datums of one country are up to some hundred metres apart (common
practice, no source)."""
LEAST_OVERLAP_RATIO, LEAST_LIKENESS, LEAST_GAIN = 0.2, 0.6, 0.1
"""A guess counts if the smaller survey shares so much of its ground, slopes are so much alike (a correlation), and more
so by this than without any shift. Our choice."""
MOST_CELLS = 1_000_000
"""Larger areas are looked at in larger cells."""
Numbers = NDArray[np.float64]


def coarse_shift(old: Surface, new: Surface, /) -> Shift | None:
    """A shift of more than some metres, to a few metres; None where slopes fit as well without."""
    cell_m = max(CELL_M, CELL_M * (new.grid.rows * new.grid.cols * (new.grid.cell_m / CELL_M) ** 2 / MOST_CELLS) ** 0.5)
    (first, a), (second, b) = (_in_cells(surface, cell_m) for surface in (old, new))
    likeness = _likeness(_slopes(first, a.cell_m), _slopes(second, b.cell_m))
    # The lag of the arrays that lie with their upper left corners on each other, and what the corners are apart.
    rows, cols = np.indices(likeness.shape)
    east_m = (cols - (a.cols - 1)) * a.cell_m + b.west_m - a.west_m
    north_m = -(rows - (a.rows - 1)) * a.cell_m + b.north_m - a.north_m
    likeness = np.asarray(np.where(np.hypot(east_m, north_m) <= FARTHEST_M, likeness, -1.0))
    best, none = int(np.argmax(likeness)), int(np.argmin(np.hypot(east_m, north_m)))
    if likeness.flat[best] < max(LEAST_LIKENESS, likeness.flat[none] + LEAST_GAIN):
        return None
    return Shift(float(east_m.flat[best]), float(north_m.flat[best]))


def _in_cells(surface: Surface, cell_m: float) -> tuple[Heights, Grid]:
    times = max(1, round(cell_m / surface.grid.cell_m))
    larger = cells_times_as_wide(surface.grid, times)
    values = mean_into(surface.bare_earth, surface.grid, larger, times)
    exact = Grid.covering(larger.bounds, cell_m=cell_m, crs=larger.crs)
    if abs(larger.cell_m - cell_m) < 1e-9:
        return values, larger
    return moved_onto(values, larger, exact, Shift()), exact


def _slopes(heights: Heights, cell_m: float) -> tuple[Numbers, Numbers]:
    """Slope to the east and to the north, 0 where it is not known, which takes no part in any sum."""
    down, right = np.gradient(heights.astype(np.float64), cell_m)
    return np.asarray(np.nan_to_num(right)), np.asarray(np.nan_to_num(-down))


def _likeness(old: tuple[Numbers, Numbers], new: tuple[Numbers, Numbers]) -> Numbers:
    """(rows, cols) correlation of the slopes for every lag; -1 where surveys share too little."""
    product = sum(_correlated(b, a) for a, b in zip(old, new, strict=True))
    energy = [a**2 + b**2 for a, b in (old, new)]
    known = [(one > 0).astype(np.float64) for one in energy]
    shared = _correlated(known[1], known[0])
    strength = np.maximum(_correlated(known[1], energy[0]) * _correlated(energy[1], known[0]), 1e-12)
    enough = shared > LEAST_OVERLAP_RATIO * min(one.sum() for one in known)
    return np.asarray(np.where(enough, product / np.sqrt(strength), -1.0))


def _correlated(new: Numbers, old: Numbers) -> Numbers:
    return np.asarray(fftconvolve(new, old[::-1, ::-1], mode="full"))
