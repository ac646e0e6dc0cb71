"""What a finished draft says of its ground, for an estimate of hours."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from shapely.geometry import MultiPolygon, Polygon

from pipeline.effort.rates.gain import grades_of
from pipeline.effort.rates.measuring import Cells, measure
from pipeline.files import arrays, layers, rasters
from pipeline.lattice.grid import Bounds


@dataclass(frozen=True)
class Ground:
    """The ground of a draft, measured.

    Attributes
    ----------
    cells, measures : the squares, and what each holds
    grades : task to how well the survey shows what it is about
    outline, crs : of the draft, or of the part of it
    """

    cells: Cells
    measures: pd.DataFrame
    grades: dict[str, str]
    outline: Polygon | MultiPolygon
    crs: str


def measure_draft(
    *, draft: Path, slope: Path, outline: Path, survey: Path, within: Polygon | MultiPolygon | None = None
) -> Ground:
    """The ground of a draft, or the part of it within an outline."""
    area, crs = layers.read_outline(outline)
    # A draft of an earlier version does not say what its tiles cover.
    has_covered = "covered" in layers.count_features(outline)
    covered = layers.read_outline(outline, layer="covered")[0] if has_covered else area
    kept = area if within is None else within
    tables = {name: layers.read_layer(draft, name) for name in layers.count_features(draft)}
    with rise_in(slope) as rise_of:
        cells, measures = measure(tables, kept, covered, rise_of=rise_of)
    return Ground(cells, measures, grades_of(arrays.read_json(survey)), kept, crs)


@contextmanager
def rise_in(slope: Path, /) -> Iterator[Callable[[Bounds], float]]:
    """Mean rise over run within bounds, read from a raster of degrees; NaN where nothing is known."""
    with rasters.reading_heights(slope) as read:

        def rise_of(bounds: Bounds) -> float:
            degrees, _ = read(bounds)
            known = degrees[np.isfinite(degrees)]
            return float(np.tan(np.radians(known)).mean()) if known.size else float("nan")

        yield rise_of
