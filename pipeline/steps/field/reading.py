"""What the steps of a field read: rasters of the field and of a margin around it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np

from pipeline.files import rasters
from pipeline.lattice.fields import Field
from pipeline.lattice.grid import Grid, Heights


def field_of(core: Sequence[float], /) -> Field:
    """The field with this core, as its step is told it."""
    west, south, east, north = core
    return Field("", (west, south, east, north))


def read_rasters(paths: Sequence[Path], field: Field, /, *, margin_m: float) -> tuple[list[Heights], Grid]:
    """Rasters of a field and its margin, as far as they reach, and the grid they lie on.

    The first of them says where anything is known: where it knows nothing the grid has no cells.
    """
    read = [rasters.read_heights(path, bounds=field.reach(margin_m)) for path in paths]
    grid = read[0][1]
    if not np.isfinite(read[0][0]).any():
        return [np.empty((0, 0), np.float32) for _ in paths], grid.part((slice(0, 0), slice(0, 0)))
    return [values for values, _ in read], grid


def table_text(features: gpd.GeoDataFrame, /) -> str:
    """All that a table of features holds, as text for a mark; their numbers in it, which say nothing, left out.

    A feature more in one corner moves the numbers of all that come after it.
    """
    return str(features.to_wkb(hex=True).to_csv(index=False))
