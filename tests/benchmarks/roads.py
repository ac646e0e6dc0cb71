"""Roads drawn from bare earth alone measured against the lines of an authority that were corrected by others.

Run: TUSSOCK_DATA=folder python -m tests.benchmarks.roads

The western half of the square kilometre was tuned on, the eastern half was not. Smaller tracks are in no list, so that
precision is a lower bound.
"""

from __future__ import annotations

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.lattice.grid import Grid
from pipeline.manmade.tracks.evidence import TRACK_COUNTS
from pipeline.manmade.tracks.tracks import draw_tracks

NEAR_M = 5.0
APART_M = 1.0

Places = NDArray[np.float64]


def places_along(lines: gpd.GeoSeries) -> Places:
    """(n, 2) places APART_M from each other along the lines."""
    cut = shapely.segmentize(shapely.force_2d(lines.explode().to_numpy()), APART_M)
    return np.asarray(shapely.get_coordinates(cut))


def measure_roads(folder: Path) -> list[str]:
    """A line for each half of the block: recall and precision within NEAR_M, and the median offset, metres."""
    with rasterio.open(folder / "DTM.tif") as source:
        heights = source.read(1).astype(np.float32)
        heights[heights == source.nodata] = np.nan
        west, north, cell_m, crs = source.bounds.left, source.bounds.top, source.res[0], str(source.crs)
    # The lattice counts from the origin in whole cells: the block is moved onto it by less than a cell, the roads too.
    grid = Grid(crs, round(west / cell_m), round(north / cell_m), cell_m, *heights.shape)
    moved = grid.bounds[0] - west, grid.bounds[3] - north
    nothing = dict.fromkeys(TRACK_COUNTS, np.zeros(grid.shape, np.float32))
    ours = places_along(draw_tracks(heights, nothing, grid, watercourses=[]).geometry)
    true = places_along(gpd.read_file(folder / "upd_roads.shp").geometry) + moved
    inside = shapely.intersects_xy(shapely.box(*grid.bounds), *true.T)
    true = true[inside]
    middle = (grid.bounds[0] + grid.bounds[2]) / 2
    return [
        _row("west", ours, true, ours[:, 0] < middle, true[:, 0] < middle),
        _row("east", ours, true, ours[:, 0] >= middle, true[:, 0] >= middle),
    ]


def _row(name: str, ours: Places, true: Places, ours_here: NDArray[np.bool_], true_here: NDArray[np.bool_]) -> str:
    off = np.asarray(cKDTree(ours).query(true[true_here])[0])
    right = np.asarray(cKDTree(true).query(ours[ours_here])[0]) <= NEAR_M
    return f"{name} {np.mean(off <= NEAR_M):8.2f} {np.mean(right):10.2f} {np.median(off[off <= NEAR_M]):9.1f}"


def main() -> None:
    """Print the table."""
    root = os.environ.get("TUSSOCK_DATA")
    if not root:
        print("TUSSOCK_DATA does not name the folder with the measuring data: nothing was measured")
        return
    print("half   recall  precision  offset m")
    print("\n".join(measure_roads(Path(root) / "dtm_roads")))


if __name__ == "__main__":
    main()
