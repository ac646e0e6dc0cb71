"""Ground whose landforms are known: shapes as formulas, on a grid of the lattice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights
from pipeline.terrain.surface import ground_support

CRS = "EPSG:25832"


def grid_of(*, side_m: float = 200.0, cell_m: float = 1.0) -> Grid:
    """A square grid with its middle at 500100 east, 6000100 north (for the default side)."""
    n = round(side_m / cell_m)
    return Grid(CRS, round(500_000 / cell_m), round((6_000_000 + side_m) / cell_m), cell_m, n, n)


def middle_of(grid: Grid) -> tuple[float, float]:
    """East and north of the middle."""
    west, south, east, north = grid.bounds
    return (west + east) / 2, (south + north) / 2


def from_middle(grid: Grid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(rows, cols) metres east and north of the middle at each cell centre."""
    east, north = grid.centres()
    middle = middle_of(grid)
    x, y = np.meshgrid(east - middle[0], north - middle[1])
    return x, y


def as_heights(values: NDArray[np.float64]) -> Heights:
    """As the float32 that the pipeline passes on."""
    return values.astype(np.float32)


def level(grid: Grid, *, height_m: float = 102.0) -> Heights:
    """Ground without any shape."""
    return np.full(grid.shape, height_m, np.float32)


def plane(grid: Grid, *, rise_deg: float, height_m: float = 152.0) -> Heights:
    """A slope that rises to the north."""
    _, y = from_middle(grid)
    return as_heights(height_m + np.tan(np.radians(rise_deg)) * y)


def cone(grid: Grid, *, top_m: float = 131.0, rise: float = 0.5) -> Heights:
    """A hill with circles for contours: radius (top - level) / rise."""
    x, y = from_middle(grid)
    return as_heights(top_m - rise * np.hypot(x, y))


def saddle(grid: Grid, *, height_m: float, curve_m: float = 400.0) -> Heights:
    """High to east and west, low to north and south."""
    x, y = from_middle(grid)
    return as_heights(height_m + (x**2 - y**2) / curve_m)


def ribbed_slope(grid: Grid, *, rise_deg: float, width_m: float, depth_m: float) -> Heights:
    """A slope rising north, furrowed by parallel re-entrants and spurs of one width; depth from crest to bottom."""
    x, _ = from_middle(grid)
    return as_heights(plane(grid, rise_deg=rise_deg) + depth_m / 2 * np.cos(np.pi * x / width_m))


def stepped_slope(grid: Grid, *, rise_deg: float, step_m: float, face_m: float, every_m: float) -> Heights:
    """A slope rising north with terraces: every so far a face of that width and height."""
    _, y = from_middle(grid)
    place = (y + 1e-3) / every_m
    within = (place - np.floor(place)) * every_m
    return as_heights(plane(grid, rise_deg=rise_deg) + step_m * (np.floor(place) + np.clip(within / face_m, 0, 1)))


def bump(
    grid: Grid, *, east_m: float, north_m: float, height_m: float, radius_m: float, stretch: float = 1.0
) -> Heights:
    """A rounded hill (or pit, if negative) to add to other ground; stretched eastwards."""
    x, y = from_middle(grid)
    away_sq = ((x - east_m) / stretch) ** 2 + (y - north_m) ** 2
    return as_heights(height_m * np.exp(-away_sq / (0.55 * radius_m) ** 2))


def furrow(grid: Grid, *, depth_m: float, half_width_m: float, length_m: float = 60.0) -> Heights:
    """A furrow from south to north through the middle, to add to other ground; negative depth is a wall."""
    x, y = from_middle(grid)
    across = np.clip(1 - np.abs(x) / half_width_m, 0, 1)
    return as_heights(-depth_m * across * (np.abs(y) <= length_m / 2))


def rough(grid: Grid, *, spread_m: float, finest_m: float = 4.0, seed: int = 7) -> Heights:
    """Restless ground: random shapes down to a size, growing with their width as natural ground does."""
    rng = np.random.default_rng(seed)
    frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(grid.cols, grid.cell_m), np.fft.fftfreq(grid.rows, grid.cell_m)))
    weight = np.zeros(grid.shape)
    used = (frequency > 0) & (frequency < 1 / finest_m)
    weight[used] = frequency[used] ** -2.0
    shapes = np.fft.ifft2(np.fft.fft2(rng.standard_normal(grid.shape)) * weight).real
    return as_heights(shapes * spread_m / shapes.std())


def support(grid: Grid, *, per_m2: float, within_m: float = 0.0, per_m2_within: float = 0.0, seed: int = 5) -> Heights:
    """Metres to the nearest of so many scattered ground returns, and of other numbers near the middle."""
    rng = np.random.default_rng(seed)
    west, south, east, north = grid.bounds
    densest = max(per_m2, per_m2_within)
    places = rng.uniform((west, south), (east, north), (round(densest * (east - west) * (north - south)), 2))
    is_near = np.hypot(*(places - middle_of(grid)).T) < within_m
    kept = rng.random(len(places)) < np.where(is_near, per_m2_within, per_m2) / densest
    return ground_support(places[kept], grid)


def noise(grid: Grid, *, spread_m: float, seed: int = 3) -> Heights:
    """What lidar adds: independent errors from cell to cell."""
    return as_heights(np.random.default_rng(seed).normal(0, spread_m, grid.shape))
