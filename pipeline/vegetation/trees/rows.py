"""Orchards and vineyards (413, 414): areas whose trees or bushes stand in regular rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.outlines.squares import squares_over

LEAST_AREA_M2 = 3000.0
"""Smaller areas hold too few plants to tell rows from chance (our choice)."""
LEAST_PART_M2 = 1000.0
"""Smaller parts of an area, as the squares it is looked at in cut off, are left out: in so few plants chance makes
waves (our choice)."""
MOST_HEIGHT_M = 6.0
"""Higher plants in rows are a plantation, which is forest (common practice, no source)."""
PLANT_TOP_M = 8.0
"""What stands higher counts as this high, so that one tall tree does not rule the pattern (our choice)."""
PLANT_FROM_M = 0.5
"""What stands lower is grass between the rows and does not count in the height of the plants (our choice)."""
TREND_M = 6.0
"""Sigma of the mean height that is taken off before rows are looked for: half of MAX_SPACING_M. Larger, slow changes of
height pass for rows; smaller, wide rows are taken off with it (our choice)."""
MIN_SPACING_M = 1.5
"""Least distance of rows: vineyards from 1.5 m (common practice, no source)."""
MAX_SPACING_M = 12.0
"""Greatest distance of rows: old orchards up to 12 m (common practice, no source)."""
MIN_TURN_DEG = 40.0
"""A second direction of rows turns this far or more from the first; a nearer one is only the first, blurred (our
choice)."""
MIN_SHARE = 0.35
"""Plants stand in rows where the strongest waves hold at least this share of their pattern; trees at random in 0.5 ha
reached 0.12 at most (60 made canopies)."""
ORCHARD_MAX_WAVE_RATIO = 3.0
"""In an orchard rows are at most this many times as strong in one direction as in the other (our choice)."""
ORCHARD_LEAST_HEIGHT_M = 2.0
"""Lower plants are vines, berries or nursery stock rather than fruit trees (common practice, no source)."""

WAVE_SUMS = (
    "wave_power",
    "wave_first",
    "wave_second",
    "wave_spacing_m",
    "wave_cosine",
    "wave_sine",
    "plants_m",
    "plants",
)
"""Power of all waves of the pattern, of the strongest, and of the strongest in another direction; distance of the rows
(m) and cosine and sine of twice their direction, each times the power of the strongest; sum of the heights of the
plants (m), and cells of them."""

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


def measure_rows(
    polygons: NDArray[np.object_], owner: NDArray[np.int32], canopy_height: Heights, grid: Grid, /
) -> dict[str, Numbers]:
    """What `rows_of` asks for, (n,) each by name: the waves in which the plants of each area stand.

    Areas are looked at square by square of a fixed lattice, so that those cut in pieces have the sums of their pieces.
    The canopy within an area, less its mean in a Gaussian of TREND_M, is taken apart into waves (Fourier); rows put a
    large share of the power into one wave, a lattice into two. Trees at random, and crowns in clumps, spread it over
    hundreds.

    Parameters
    ----------
    polygons : (n,) areas, or what of them lies in squares of `pipeline.outlines.squares.SQUARE_M`
    owner : (rows, cols) which of them, counted from 1, holds each cell; 0 where none does
    canopy_height : (rows, cols) metres above ground, NaN where unknown
    """
    sums = np.zeros((len(WAVE_SUMS), len(polygons)))
    large = np.flatnonzero(shapely.area(polygons) >= LEAST_PART_M2)
    for i in large:
        window = grid.window_around(polygons[i].bounds)
        part = grid.part(window)
        if not part.rows or not part.cols:
            continue
        inside = owner[window] == i + 1
        for square in squares_over(part, part.bounds, margin_m=0):
            cells = inside[square.own]
            if np.count_nonzero(cells) * grid.cell_m**2 >= LEAST_PART_M2:
                sums[:, i] += _waves(canopy_height[window][square.own], cells, grid.cell_m)
    return dict(zip(WAVE_SUMS, sums, strict=True))


def _waves(canopy_height: Heights, inside: Mask, cell_m: float) -> Numbers:
    """WAVE_SUMS of the plants in some cells."""
    rows, cols = (np.flatnonzero(inside.any(axis=axis)) for axis in (1, 0))
    window = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
    inside = inside[window]
    plants = np.clip(np.nan_to_num(canopy_height[window]), 0, PLANT_TOP_M).astype(np.float64)
    around = Known.of(inside, gaussian_window(TREND_M / cell_m, rim="constant"))
    wave = np.where(inside, plants - around.mean(plants, least_share=1e-9), 0.0)
    power = np.abs(np.fft.fft2(wave)) ** 2 / wave.size
    north, east = (np.asarray(np.fft.fftfreq(size, cell_m), np.float64) for size in power.shape)
    frequency = np.hypot(-north[:, None], east[None, :])
    in_band = (frequency >= 1 / MAX_SPACING_M) & (frequency <= 1 / MIN_SPACING_M)
    total = float(power[in_band].sum())
    height = plants[inside & (plants > PLANT_FROM_M)]
    if total <= 0:
        return np.array([0, 0, 0, 0, 0, 0, height.sum(), len(height)], np.float64)
    peak = _peaks(np.where(in_band, power, 0.0))
    row, col = divmod(int(peak.argmax()), power.shape[1])
    across = np.array([east[col], -north[row]])
    first, second = float(peak.max()), _second(peak, across, east, north)
    # Twice the angle, so that rows that run up and rows that run down the page are the same.
    twice = 2 * np.arctan2(-across[1], across[0])
    turned = first * np.array([1 / np.hypot(*across), np.cos(twice), np.sin(twice)])
    return np.array([total, first, second, *turned, height.sum(), len(height)])


def rows_of(sums: Mapping[str, Numbers], /) -> list[Rows | None]:
    """The rows of each area, or None where its plants stand as chance put them.

    Parameters
    ----------
    sums : of `measure_rows`; NaN where they were not measured
    """
    return [_rows(*values) for values in np.column_stack([np.nan_to_num(sums[name]) for name in WAVE_SUMS])]


def _rows(
    total: float,
    first: float,
    second: float,
    spacing: float,
    cosine: float,
    sine: float,
    plants_m: float,
    n_plants: float,
) -> Rows | None:
    # Each wave stands in the spectrum twice, once for either way of running through it.
    share = 2 * (first + second) / total if total > 0 else 0.0
    if share < MIN_SHARE:
        return None
    return Rows(
        spacing_m=float(spacing / first),
        angle_deg=float(np.degrees(np.arctan2(sine, cosine)) / 2) % 180,
        is_lattice=bool(second >= first / ORCHARD_MAX_WAVE_RATIO),
        share=float(share),
        height_m=float(plants_m / n_plants) if n_plants else 0.0,
    )


def draw_rows(areas: gpd.GeoDataFrame, sums: Mapping[str, Numbers], /) -> gpd.GeoDataFrame:
    """The areas, those whose plants stand in rows drawn as orchards (413) or vineyards (414).

    The confidence is how regular the rows are, and 0.2 for the rest, 0.9 at most: a guess, compared with no field.

    Parameters
    ----------
    areas : features of the draft with polygons
    sums : of `measure_rows`
    """
    areas = areas.copy()
    is_large = areas.area.to_numpy() >= LEAST_AREA_M2
    for place, large, rows in zip(areas.index, is_large, rows_of(sums), strict=True):
        if not large or rows is None or rows.height_m > MOST_HEIGHT_M:
            continue
        areas.loc[place, "symbol"] = row_symbol(rows)
        areas.loc[place, "angle_deg"] = rows.angle_deg
        areas.loc[place, "height_m"] = rows.height_m
        areas.loc[place, "confidence"] = min(0.9, rows.share + 0.2)
        areas.loc[place, "evidence"] = (
            f"plants {rows.height_m:.1f} m high in rows {rows.spacing_m:.1f} m apart, "
            f"{rows.share:.0%} of their pattern is regular"
        )
    return areas


def row_symbol(rows: Rows, /) -> str:
    """413 (orchard) for a lattice of trees, 414 (vineyard or similar) for hedges and low plants in rows."""
    return "413" if rows.is_lattice and rows.height_m >= ORCHARD_LEAST_HEIGHT_M else "414"


def _peaks(power: Numbers) -> Numbers:
    """Power of each wave with its nearest neighbours, among which the area's outline spreads it."""
    return np.asarray(ndimage.uniform_filter(power, 3, mode="wrap") * 9, np.float64)


def _second(peak: Numbers, across: Numbers, east: Numbers, north: Numbers) -> float:
    """Power of the strongest wave in another direction, MIN_TURN_DEG or more away."""
    length = np.hypot(east[None, :], north[:, None])
    turn = np.abs(east[None, :] * across[0] - north[:, None] * across[1]) / np.maximum(
        length * np.hypot(*across), 1e-12
    )
    elsewhere = (turn <= np.cos(np.radians(MIN_TURN_DEG))) & (length > 0)
    return float(peak[elsewhere].max(initial=0.0))
