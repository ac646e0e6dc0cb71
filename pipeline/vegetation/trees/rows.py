"""Orchards and vineyards (413, 414): areas whose trees or bushes stand in regular rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window

ROWS_MIN_SPACING_M = 1.5
"""Least distance of rows: vineyards from 1.5 m (common practice, no source)."""
ROWS_MAX_SPACING_M = 12.0
"""Greatest distance of rows: old orchards up to 12 m (common practice, no source)."""
ROWS_TREND_M = 6.0
"""Sigma of the mean height taken off first: half of what lies between wide rows."""
ROWS_PLANT_TOP_M = 8.0
"""What stands higher counts as this high, so that one tall tree does not rule; such plants are forest."""
ROWS_PLANT_FROM_M = 0.5
"""What stands lower is grass between the rows and does not count in the height of the plants."""
ROWS_MIN_TURN_DEG = 40.0
"""A second direction of rows turns this far from the first; what is nearer is its blur."""
ORCHARD_MAX_WAVE_RATIO = 3.0
"""In an orchard rows are at most this many times as strong in one direction as in the other (common practice, no
source)."""
ORCHARD_LEAST_HEIGHT_M = 2.0
"""Lower plants are vines, berries or nursery stock rather than fruit trees (common practice, no source)."""
ROWS_MIN_SHARE = 0.35
"""Share of a pattern in its strongest waves; chance reaches 0.17 in 0.5 ha."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Rows:
    """Regular rows of an area.

    Attributes
    ----------
    spacing_m : distance between rows
    angle_deg : direction of the rows, clockwise from grid north, 0 to 180
    is_lattice : whether they are regular in a second direction as well
    share : share of the pattern's power in its strongest waves of two directions, 0..1
    height_m : mean height of the plants
    """

    spacing_m: float
    angle_deg: float
    is_lattice: bool
    share: float
    height_m: float


def find_rows(canopy_height: Heights, area: Polygon, grid: Grid, /) -> Rows | None:
    """The rows of an area, or None where its plants stand as chance put them.

    The canopy within the area, less its mean in a Gaussian of `rows_trend_m`, is taken apart into waves (Fourier);
    rows put a large share of the power into one wave, a lattice into two. Trees at random, and crowns in clumps, spread
    it over hundreds.
    """
    window = _window(area, grid)
    if window is None:
        return None
    inside, rows, cols = window
    plants = np.clip(np.nan_to_num(canopy_height[rows, cols]), 0, ROWS_PLANT_TOP_M).astype(np.float64)
    around = Known.of(inside, gaussian_window(ROWS_TREND_M / grid.cell_m, rim="constant"))
    wave = np.where(inside, plants - around.mean(plants, least_share=1e-9), 0.0)
    power = np.abs(np.fft.fft2(wave)) ** 2
    north, east = (np.asarray(np.fft.fftfreq(size, grid.cell_m), np.float64) for size in power.shape)
    frequency = np.hypot(-north[:, None], east[None, :])
    in_band = (frequency >= 1 / ROWS_MAX_SPACING_M) & (frequency <= 1 / ROWS_MIN_SPACING_M)
    total = float(power[in_band].sum())
    if total <= 0:
        return None
    peak = _peaks(np.where(in_band, power, 0.0))
    row, col = divmod(int(peak.argmax()), power.shape[1])
    across = np.array([east[col], -north[row]])
    first, second = float(peak.max()), _second(peak, across, east, north, ROWS_MIN_TURN_DEG)
    # Each wave stands in the spectrum twice, once for either way of running through it.
    share = 2 * (first + second) / total
    if share < ROWS_MIN_SHARE:
        return None
    height = plants[inside & (plants > ROWS_PLANT_FROM_M)]
    return Rows(
        spacing_m=float(1 / np.hypot(*across)),
        angle_deg=float(np.degrees(np.arctan2(-across[1], across[0]))) % 180,
        is_lattice=second >= first / ORCHARD_MAX_WAVE_RATIO,
        share=share,
        height_m=float(height.mean()) if len(height) else 0.0,
    )


def row_symbol(rows: Rows, /) -> str:
    """413 (orchard) for a lattice of trees, 414 (vineyard or similar) for hedges and low plants in rows."""
    return "413" if rows.is_lattice and rows.height_m >= ORCHARD_LEAST_HEIGHT_M else "414"


def _window(area: Polygon, grid: Grid) -> tuple[Mask, slice, slice] | None:
    """Cells inside an area, within the rows and columns that hold it."""
    rows, cols = grid.window_around(area.bounds)
    inside = rasterize([area], out_shape=grid.shape, transform=grid.transform)[rows, cols].astype(np.bool_)
    return (inside, rows, cols) if inside.any() else None


def _peaks(power: Numbers) -> Numbers:
    """Power of each wave with its nearest neighbours, among which the area's outline spreads it."""
    return np.asarray(ndimage.uniform_filter(power, 3, mode="wrap") * 9, np.float64)


def _second(peak: Numbers, across: Numbers, east: Numbers, north: Numbers, min_turn_deg: float) -> float:
    """Power of the strongest wave in another direction, `min_turn_deg` or more away."""
    length = np.hypot(east[None, :], north[:, None])
    turn = np.abs(east[None, :] * across[0] - north[:, None] * across[1]) / np.maximum(
        length * np.hypot(*across), 1e-12
    )
    elsewhere = (turn <= np.cos(np.radians(min_turn_deg))) & (length > 0)
    return float(peak[elsewhere].max(initial=0.0))
