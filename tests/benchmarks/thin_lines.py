"""Walls of the bare earth and wires measured against what people drew and labelled.

Run: TUSSOCK_DATA=folder python -m tests.benchmarks.thin_lines

Blocks 3506_0 and 3507_0 were tuned on; the least length of a terraced slope was fitted on all eight. The wires of the
one line there is were tuned on too.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import rasterio
import shapely
from scipy import ndimage

from pipeline.lattice.grid import Grid, Mask
from pipeline.manmade.lines.walls import draw_walls
from pipeline.returns.asprs import WIRE
from tests.benchmarks.classes import classify, read_cloud

CELL_M = 0.5
NEAR_M = 2.0


def measure_walls(path: Path) -> str:
    """Length drawn, length that is none, recall and precision within NEAR_M of one block of `dtm_walls`."""
    with rasterio.open(path) as source:
        fine = source.read(1).astype(np.float32)
        times = round(CELL_M / source.res[0])
    with rasterio.open(str(path).replace("_dtm", "_walls")) as source:
        drawn = source.read(1) == 1
    rows, cols = (side // times for side in fine.shape)
    heights = fine.reshape(rows, times, cols, times).mean(axis=(1, 3))
    true = drawn.reshape(rows, times, cols, times).any(axis=(1, 3))
    grid = Grid("EPSG:31256", 0, rows, CELL_M, rows, cols)
    found = draw_walls(heights, grid)
    ours = np.zeros(true.shape, np.bool_)
    for line in found.geometry:
        places = shapely.get_coordinates(shapely.segmentize(line, CELL_M / 2))
        index = grid.cell_index(places[:, 0], places[:, 1])
        ours.ravel()[index[index >= 0]] = True
    right, met = (_share(one, other) for one, other in ((ours, true), (true, ours)))
    length_m = float(found.length.sum())
    return f"{length_m:7.0f} {length_m * (1 - right):7.0f} {met:7.2f} {right:9.2f}"


def _share(of: Mask, near: Mask) -> float:
    """Share of the cells that have one of the others near; 1 where there are none, 0 where the others are missing."""
    if not of.any():
        return 1.0
    if not near.any():
        return 0.0
    return float((ndimage.distance_transform_edt(~near) * CELL_M <= NEAR_M)[of].mean())


def measure_wires(path: Path) -> str:
    """Recall and precision of class 14."""
    cloud = read_cloud([path])
    ours, true = classify(cloud).asprs_class == WIRE, cloud.producer_class == WIRE
    both = int((ours & true).sum())
    return f"{both / max(int(true.sum()), 1):7.3f} {both / max(int(ours.sum()), 1):9.3f}"


def main() -> None:
    """Both tables."""
    if not os.environ.get("TUSSOCK_DATA"):
        print("TUSSOCK_DATA does not name the folder with the measuring data: nothing was measured")
        return
    root = Path(os.environ["TUSSOCK_DATA"])
    print(f"terrace walls of dtm_walls in cells of {CELL_M} m, within {NEAR_M} m")
    print("block       drawn   false  recall precision")
    for path in sorted((root / "dtm_walls").glob("*_dtm.tif")):
        print(f"{path.stem.removeprefix('block_').removesuffix('_dtm'):8} {measure_walls(path)}")
    print("\nreturns of wires\ntile        recall precision")
    for path in sorted((root / "wires").glob("*.laz")):
        print(f"{path.stem:8} {measure_wires(path)}")


if __name__ == "__main__":
    main()
