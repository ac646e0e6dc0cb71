"""What thirty notes mend: `python -m tests.benchmarks.calibration SCENE OUT ...` prints a table.

SCENE is a folder with `truth_pad.tif` (true plant-area density) and `truth_open.tif`, OUT the folder of a run on it.
The mapper of the scene draws bands at limits 40 % above or below ours; thirty notes are made at random places. The
figure is the quadratic weighted kappa of the drawn bands, cell by cell in forest, against what that mapper would draw.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
from numpy.typing import NDArray

from pipeline.files.rasters import read_heights
from pipeline.lattice.grid import Grid
from pipeline.settings import CalibrationSettings, VegetationSettings
from pipeline.vegetation.calibration.agreement import confusion, weighted_kappa
from pipeline.vegetation.calibration.calibration import calibrate
from pipeline.vegetation.calibration.notes import Notes, density_at
from pipeline.vegetation.draft import limits_of

N_NOTES = 30
SEEDS = range(4)
SHIFTS = (1.4, 1 / 1.4)
EDGE_M = 5.0
"""Notes are not made this near to the edge of the scene."""


def truth_on(grid: Grid, path: Path) -> NDArray[np.float64]:
    """A truth raster at the cell centres of the grid, NaN outside."""
    east, north = np.meshgrid(*grid.centres())
    with rasterio.open(path) as source:
        values = np.array([v[0] for v in source.sample(np.column_stack((east.ravel(), north.ravel())))], np.float64)
        west, south, right, top = source.bounds
    inside = (east > west) & (east < right) & (north > south) & (north < top)
    return np.where(inside, values.reshape(grid.shape), np.nan)


def main() -> None:
    """Print a line for each scene and shift."""
    settings, limits = CalibrationSettings(), limits_of(VegetationSettings())
    for scene, out in zip(map(Path, sys.argv[1::2]), map(Path, sys.argv[2::2]), strict=True):
        density, grid = read_heights(out / "rasters" / "understorey.tif")
        pad, is_open = (truth_on(grid, scene / f"truth_{name}.tif") for name in ("pad", "open"))
        forest = np.isfinite(density) & np.isfinite(pad) & (is_open == 0)
        plain = weighted_kappa(confusion(np.digitize(pad[forest], limits), np.digitize(density[forest], limits)))
        for shift in SHIFTS:
            theirs = tuple(limit * shift for limit in limits)
            real = np.digitize(pad, theirs)
            before = weighted_kappa(confusion(real[forest], np.digitize(density[forest], limits)))
            after = []
            for seed in SEEDS:
                rng = np.random.default_rng(seed)
                edge = round(EDGE_M / grid.cell_m)
                inner = np.flatnonzero(np.pad(forest[edge:-edge, edge:-edge], edge))
                row, col = np.divmod(rng.choice(inner, N_NOTES, replace=False), grid.cols)
                east, north = grid.centres()
                places = gpd.points_from_xy(east[col], north[row])
                found = density_at(density, grid, np.asarray(places, object), radius_m=settings.note_radius_m)
                notes = Notes(np.column_stack((east[col], north[row])), found, real[row, col].astype(np.int64))
                fitted = calibrate(notes, limits=limits).limits
                after.append(weighted_kappa(confusion(real[forest], np.digitize(density[forest], fitted))))
            print(
                f"{scene.name}, limits x {shift:.2f}: kappa unshifted {plain:.3f}; shifted, before notes {before:.3f}, "
                f"after {N_NOTES} notes " + " ".join(f"{kappa:.3f}" for kappa in after)
            )


if __name__ == "__main__":
    main()
