"""Rides of the whole area: they run from field to field."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays, grid_files, layers
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import larger_cells, sum_into
from pipeline.settings import VegetationSettings
from pipeline.vegetation.draft import rides_of
from pipeline.vegetation.rides.counts import RIDE_CELL_M, RIDE_COUNTS, Counts
from pipeline.vegetation.rides.rides import Candidates


def rides(*, candidates: Path, plan: Path, counts: Path, out: Path, settings: VegetationSettings) -> None:
    """Rides, followed from the places that the fields found; counts are read where a ride may run only."""
    names = cast("dict[str, object]", arrays.read_json(plan)["fields"])
    found = Candidates.join([_candidates(candidates / name) for name in names])
    grid, _ = grid_files.read_grid_of(counts)
    larger, times = larger_cells(grid, least_m=RIDE_CELL_M)

    def read(part: Grid) -> dict[str, Heights]:
        small = grid.within(part.bounds)
        return sum_into(grid_files.read_sums(counts, RIDE_COUNTS, bounds=part.bounds), small, part, times)

    layers.write_features(out, rides_of(found, Counts(larger, read), grid.crs, settings=settings))


def _candidates(folder: Path) -> Candidates:
    """What the step `vegetation` wrote; none where a field holds no ground."""
    columns = {name: cast("NDArray[np.float64]", values) for name, values in arrays.map_arrays(folder).items()}
    return Candidates(**columns) if columns else Candidates.join([])
