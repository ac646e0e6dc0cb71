"""Houses and boulders where the points of a survey are gone: two maps, and how near its ground returns lay.

A house or a boulder lets no pulse through to the ground, so the nearest ground return is as far as its rim.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Grid, Heights

HIDDEN_M, BARE_M = 1.0, 0.6
"""Under a house the ground is farther than this from a ground return, in the middle of its cells, and beside none it is
nearer than that, in metres. Our choice."""
STONE_M, STONE_TIMES, STONE_BARE_M = 0.8, 2.2, 0.55
"""Within a boulder the ground return is as far as this, in metres; where it is gone, so many times nearer, and nearer
than that. Our choice."""
LOOK_M = 0.8
"""A drawn boulder is looked at within so many metres."""
LEAST_RISE_M = 0.3
"""Where bare earth rose by more than this, in metres, the new survey may take the boulder for ground. Our choice."""
BESIDE_M = 2.0
"""A house or boulder of the other map so near is the same one, in metres. Our choice."""


@dataclass(frozen=True)
class Found:
    """A house or boulder of one map whose spot the other survey sees otherwise."""

    shape: BaseGeometry
    words: str


def houses_of_maps(
    drawn: Sequence[BaseGeometry],
    others: Sequence[BaseGeometry],
    hidden: Heights | None,
    bare: Heights | None,
    grid: Grid,
    /,
) -> list[Found]:
    """Houses of one map that the other does not have, where the ground is hidden in its survey and bare in the other.

    Parameters
    ----------
    drawn, others : outlines of houses in this map, and in the other
    hidden, bare : (rows, cols) metres to the nearest ground return in this survey, and in the other
    """
    if hidden is None or bare is None:
        return []
    found = []
    for shape in drawn:
        if shape.geom_type != "Polygon" or _is_near(shape, others):
            continue
        far, near = (_level(values, shape.buffer(-1.0), grid, "middle") for values in (hidden, bare))
        if far > HIDDEN_M and near < BARE_M:
            found.append(
                Found(
                    shape,
                    f"one map shows a house; ground returns {near:.1f} m apart there in one survey, "
                    f"none within {far:.1f} m in the other",
                )
            )
    return found


def boulders_of_maps(
    drawn: Sequence[BaseGeometry],
    others: Sequence[BaseGeometry],
    standing: Heights | None,
    gone: Heights | None,
    rise: Heights,
    grid: Grid,
    /,
) -> list[Found]:
    """Boulders of one map that the other does not have, where ground returns now lie in place of them.

    Parameters
    ----------
    drawn, others : places of boulders
    standing, gone : (rows, cols) metres to the nearest ground return with the boulder, and without
    rise : (rows, cols) bare earth of the survey without it less that of the other
    """
    if standing is None or gone is None:
        return []
    # A survey with fewer pulses has its ground returns farther apart everywhere.
    denser = max(1.0, float(np.nanmedian(standing)) / max(float(np.nanmedian(gone)), 1e-6))
    found = []
    for place in drawn:
        disc = place.buffer(LOOK_M)
        if _is_near(place, others):
            continue
        far, near = (_level(values, disc, grid, "highest") for values in (standing, gone))
        lifted = _level(rise, disc, grid, "middle")
        times = far / max(near * denser, 1e-6)
        if far > STONE_M and near < STONE_BARE_M and times > STONE_TIMES and not lifted > LEAST_RISE_M:
            found.append(
                Found(
                    disc,
                    f"no ground return within {far:.1f} m in one survey, one within {near:.1f} m all "
                    "over its spot in the other",
                )
            )
    return found


def _is_near(shape: BaseGeometry, others: Sequence[BaseGeometry]) -> bool:
    return bool(len(others)) and bool(shapely.dwithin(shape, np.asarray(others, object), BESIDE_M).any())


def _level(values: Heights, shape: BaseGeometry, grid: Grid, which: Literal["middle", "highest"]) -> float:
    """The median or the highest value within a shape; NaN where it has none."""
    rows, cols = grid.window_around(shape.bounds)
    part = values[rows, cols]
    east, north = grid.part((rows, cols)).centres()
    inside = shapely.contains_xy(shape, *np.meshgrid(east, north)) & np.isfinite(part)
    if not inside.any():
        return float("nan")
    return float(np.median(part[inside]) if which == "middle" else part[inside].max())
