"""How fast one runs: rasters of the area joined from fields."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np

from pipeline.files import arrays, rasters
from pipeline.files.grid_files import Mosaic

DESCRIPTIONS = {
    "understorey": "plant-area density of the running layer, m2/m3",
    "understorey_error": "standard error of the plant-area density, m2/m3",
    "running_speed": "expected share of free running speed, 0 to 1",
}
"""What each raster holds, as its file says it."""


def running(*, fields: Path, plan: Path, like: Path, out: Path) -> None:
    """Write the rasters that the fields' vegetation was drawn from, each as large as another raster of the area."""
    names = cast("dict[str, object]", arrays.read_json(plan)["fields"])
    mosaic = Mosaic.of([fields / name for name in names])
    grid = rasters.read_grid(like)
    for name, description in DESCRIPTIONS.items():
        with rasters.writing_heights(out / f"{name}.tif", grid, description=description) as put:
            for part in grid.bands():
                put(mosaic.part(name, part) if mosaic else np.full(part.shape, np.nan, np.float32), part)
