"""Time and memory of the water step for areas of a square kilometre and more: `python -m tests.benchmarks.water_area`.

The ground is made: restless, with ponds in its hollows and one lake in the middle that grows with the area. It goes on
in squares of 1024 m, so that any size of it can be written without holding it in memory.
"""

from __future__ import annotations

import sys
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

from pipeline.files import arrays
from pipeline.files.layers import read_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.terrain.profile import AIMED
from tests.benchmarks.watched import run_watched
from tests.landscape import CRS, rough

CELL_M = 0.5
SQUARE_CELLS = 2048
"""Cells a side after which the made ground repeats."""
LAST_PER_M2 = 6.0
LAKE_SHARE = 0.15
"""Radius of the lake in the middle over the side of the area."""
RATES = {"land": 1.0, "water": 0.08}


def write_ground(folder: Path, /, *, squares: int) -> None:
    """Write the rasters that the water step reads, for an area of so many squares a side."""
    n = squares * SQUARE_CELLS
    grid = Grid(CRS, 1_000_000, 12_000_000, CELL_M, n, n)
    square = Grid(CRS, 1_000_000, 12_000_000, CELL_M, SQUARE_CELLS, SQUARE_CELLS)
    heights = rough(square, spread_m=8.0)
    pond_m = float(np.quantile(heights, 0.03))
    heights = np.maximum(heights, np.float32(pond_m))
    profile = {
        "driver": "GTiff",
        "height": n,
        "width": n,
        "count": 1,
        "dtype": "float32",
        "crs": CRS,
        "nodata": -9999.0,
    }
    profile |= {"transform": grid.transform, "tiled": True, "blockxsize": 512, "blockysize": 512, "compress": "deflate"}
    folder.mkdir(parents=True, exist_ok=True)
    with ExitStack() as opened:
        names = ("bare_earth", "ground_support", "canopy_height", *COUNTS)
        put = {name: opened.enter_context(rasterio.open(folder / f"{name}.tif", "w", **profile)) for name in names}
        for row in range(squares):
            for col in range(squares):
                made = _square(heights, pond_m, row, col, squares)
                window = Window(col * SQUARE_CELLS, row * SQUARE_CELLS, SQUARE_CELLS, SQUARE_CELLS)
                put["bare_earth"].write(made[0], 1, window=window)
                put["ground_support"].write(np.where(made[1] > 0, 0.3, 0.7).astype(np.float32), 1, window=window)
                for name in ("canopy_height", "water_returns"):
                    put[name].write(np.zeros_like(made[1]), 1, window=window)
                for name in COUNTS[1:]:
                    put[name].write(made[1], 1, window=window)
    arrays.write_json(folder / "grid.json", vars(grid))


COUNTS = ("water_returns", "last_returns", AIMED, "lone_ground_returns", "lone_ground_intensity_sum")


def _square(heights: Heights, pond_m: float, row: int, col: int, squares: int) -> tuple[Heights, Heights]:
    """Heights and last returns of one square."""
    side_m = squares * SQUARE_CELLS * CELL_M
    south, east = ((np.arange(SQUARE_CELLS) + at * SQUARE_CELLS + 0.5) * CELL_M - side_m / 2 for at in (row, col))
    beyond_m = np.hypot(south[:, None], east[None, :]) - LAKE_SHARE * side_m
    share = np.clip(beyond_m / 60, 0, 1)
    ground = (pond_m - 4) * (1 - share) + heights * share
    is_water = (beyond_m <= 0) | ((heights <= pond_m) & (share >= 1))
    rng = np.random.default_rng([row, col])
    rate = np.where(is_water, RATES["water"], RATES["land"]) * LAST_PER_M2 * CELL_M**2
    noise = rng.normal(0, 0.02, ground.shape)
    return _as_float32(ground + noise), _as_float32(rng.poisson(rate).astype(np.float64))


def _as_float32(values: NDArray[np.float64]) -> Heights:
    return values.astype(np.float32)


def measure(squares: int, /) -> list[str]:
    """A line of the table: square kilometres, seconds, seconds a square kilometre, GiB, features."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        write_ground(folder, squares=squares)
        command = [sys.executable, "-m", "pipeline", "water", "--bare-earth", str(folder / "bare_earth.tif")]
        command += ["--ground-support", str(folder / "ground_support.tif"), "--counts", name]
        command += ["--canopy-height", str(folder / "canopy_height.tif"), "--climate", "moderate", "--porous", "ask"]
        command += ["--report", str(folder / "running_water.txt")]
        command += ["--out", str(folder / "water.gpkg"), "--scale", "10000", "--settings", "{}"]
        cost = run_watched(command)
        found = found_in(folder / "water.gpkg")
    km2 = (squares * SQUARE_CELLS * CELL_M / 1000) ** 2
    return [f"{km2:.1f}", f"{cost.seconds:.0f}", f"{cost.seconds / km2:.1f}", f"{cost.largest_gib:.2f}", *found]


def found_in(path: Path, /) -> list[str]:
    """How much was found: bodies of standing water and their hectares, channels and their kilometres."""
    found = read_features(path)
    lakes, lines = (found[found.symbol == symbol].geometry for symbol in ("302", "306"))
    return [str(len(lakes)), f"{lakes.area.sum() / 1e4:.1f}", str(len(lines)), f"{lines.length.sum() / 1e3:.1f}"]


if __name__ == "__main__":
    print("km2  s  s/km2  GiB  lakes  ha  channels  km", flush=True)
    for one in map(int, sys.argv[1:] or ("1", "2", "4", "8")):
        print("  ".join(measure(one)), flush=True)
