"""Ways that only the new map has, along which the surveys differ: made since, not overlooked before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from pipeline.lattice.sampling import sample
from pipeline.refresh.compare.survey import Measured

STEP_M = 2.0
BESIDE_M = 6.0
"""A drawn way so near to an old one is the old one, in metres. Our choice."""
LEAST_SHARE, LEAST_M = 0.5, 20.0
"""A way is new where something changed along so large a share of it, over so many metres. Our choice."""
CLEARED_RATIO = 0.45
"""Less than this share of the height of the trees is left where a way was cut through them: the window that heights
are averaged in is as wide as a way. Our choice."""


def changed_ways(new: Sequence[BaseGeometry], old: Sequence[BaseGeometry], measured: Measured, /) -> list[BaseGeometry]:
    """The stretches of new ways along which ground, trees or undergrowth changed."""
    before = shapely.union_all(list(old)).buffer(BESIDE_M) if len(old) else shapely.Point()
    found = []
    for line in new:
        for part in shapely.get_parts(line.difference(before)):
            if isinstance(part, LineString) and part.length > LEAST_M:
                found += _changed_stretch(part, measured)
    return found


def _changed_stretch(line: LineString, measured: Measured) -> list[BaseGeometry]:
    at = np.arange(STEP_M / 2, line.length, STEP_M)
    changed = _changed_at(shapely.get_coordinates(shapely.line_interpolate_point(np.array([line]), at)), measured)
    if not changed.any():
        return []
    first, last = np.flatnonzero(changed)[[0, -1]]
    stretch = substring(line, float(at[first] - STEP_M / 2), float(at[last] + STEP_M / 2))
    share = float(changed[first : last + 1].mean())
    return [stretch] if share >= LEAST_SHARE and stretch.length >= LEAST_M else []


def _changed_at(places: NDArray[np.float64], measured: Measured) -> NDArray[np.bool_]:
    """(n,) whether something a way would do was done at each place: the ground levelled, trees or bushes cleared."""
    grid = measured.grid
    found = np.zeros(len(places), np.bool_)
    for side in ((0, 0), (1.5, 0), (-1.5, 0), (0, 1.5), (0, -1.5)):
        found |= sample(measured.ground.changed.astype(np.float32), grid, places + np.array(side)) > 0
    if measured.canopy is not None:
        before, after = (sample(values, grid, places) for values in (measured.canopy.old, measured.canopy.new))
        found |= (before > 4.0) & (after < CLEARED_RATIO * measured.canopy.usual_ratio * before)
    if measured.density is not None:
        drop, error = (
            sample(values, grid, places)
            for values in (measured.density.old - measured.density.new, measured.density.error)
        )
        found |= drop > np.maximum(4 * error, 0.12)
    return found
