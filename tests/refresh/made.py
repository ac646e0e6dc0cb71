"""Made ground, forest and returns for tests of a refresh: small, and with known changes."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid
from pipeline.refresh.register.shift import Surface
from pipeline.returns.cloud import Cloud

CRS = "EPSG:25832"
GRID = Grid(CRS, 500_000, 5_700_160, 1.0, 160, 160)
"""160 m of ground in cells of a metre; north edge at 5 700 160."""
NO_NUMBERS = ("elevation_m", "height_m", "width_m", "angle_deg")


def hills(east: NDArray[np.float64], north: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rolling ground 20 m high, the same function at any place."""
    x, y = east - 500_000, north - 5_700_000
    return 100 + 6 * np.sin(x / 19) * np.cos(y / 23) + 4 * np.sin((x + 2 * y) / 31) + 1.2 * np.sin(x / 6 + y / 8)


def surface(
    *, east_m: float = 0, north_m: float = 0, up_m: float = 0, noise_m: float = 0.03, seed: int = 1, relief: float = 1
) -> Surface:
    """The hills as a survey shows them that lies off by this shift."""
    east, north = np.meshgrid(*GRID.centres())
    rng = np.random.default_rng(seed)
    height = relief * hills(east - east_m, north - north_m) + up_m + rng.normal(0, noise_m, GRID.shape)
    support = np.full(GRID.shape, 0.3, np.float32)
    return Surface(GRID, height.astype(np.float32), support)


def disc(col: float, row: float, radius: float) -> NDArray[np.bool_]:
    """Cells of the grid within so many cells of one."""
    rows, cols = np.indices(GRID.shape)
    return np.asarray(np.hypot(rows - row, cols - col) <= radius)


def cloud_over(
    lowest: NDArray[np.floating],
    *,
    pulses_per_m2: float = 6,
    seed: int = 3,
    share_low: float = 1.0,
    n_returns: int = 1,
    return_number: int | None = None,
) -> Cloud:
    """Last returns of pulses that come down evenly onto a surface; of the others, a twig 1 m above it is the last.

    With a `return_number` less than `n_returns` they are no last returns.
    """
    rng = np.random.default_rng(seed)
    west, south, east_edge, north_edge = GRID.bounds
    n = int(pulses_per_m2 * GRID.rows * GRID.cols)
    east, north = rng.uniform(west, east_edge, n), rng.uniform(south, north_edge, n)
    cell = GRID.cell_index(east, north)
    height = lowest.ravel()[cell] + rng.normal(0, 0.02, n) + (rng.random(n) > share_low) * 1.0
    numbers = [np.full(n, number, np.uint8) for number in (return_number or n_returns, n_returns)]
    return Cloud.of(np.column_stack([east, north, height]), return_number=numbers[0], n_returns=numbers[1])


def features(rows: list[Mapping[str, object]]) -> gpd.GeoDataFrame:
    """Features with the columns of a draft; each row has `symbol`, `layer` and `geometry` at least."""
    whole = [
        {
            "id": f"f{number}",
            "name": "",
            "confidence": 0.9,
            "evidence": "",
            "status": "draft",
            "origin": "lidar",
            **dict.fromkeys(NO_NUMBERS, np.nan),
            **row,
        }
        for number, row in enumerate(rows)
    ]
    columns = ["id", "symbol", "name", "confidence", "evidence", "status", "origin", *NO_NUMBERS, "layer", "geometry"]
    return gpd.GeoDataFrame(whole, columns=columns, geometry="geometry", crs=CRS)
