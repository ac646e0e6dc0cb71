"""Places that somebody walked past in sight: a track near them, and neither a rise nor a thicket between."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point

from pipeline.lattice.grid import Grid, Heights

PAST_M = 20.0
"""A place is passed within this distance of a track: what a mapper who looks around sees and would note, and four times
what a watch is off by in forest (our choice)."""
SURELY_M = 5.0
"""Within this a mapper has stood at the place, whatever grows there: as near as a watch can tell (our choice)."""
EYE_M, THING_M = 1.6, 0.5
"""Height of the eye, and of the thing looked at, over the ground (our choice)."""
LEAST_SIGHT = 0.5
"""Share of the light that must come through the growth for a thing to be seen (our choice)."""
FACING = 0.5
"""Share of a plant's area that stands across a level view, leaves turned every way (Ross 1981)."""
STEP_M = 1.0


def passed(
    places: Sequence[Point],
    tracks: Sequence[LineString],
    bare_earth: Heights,
    density: Heights,
    grid: Grid,
    /,
) -> NDArray[np.bool_]:
    """(n,) whether each place was walked past in sight.

    The view from the nearest point of a track goes straight to the thing. It is cut off where the ground rises above
    it, and fades with the plants on the way, as exp(-FACING x density x metres) (Beer and Lambert). Ground that the
    survey did not see hides what lies behind it.

    Parameters
    ----------
    tracks : in the CRS of the grid
    bare_earth : (rows, cols) metres
    density : (rows, cols) of the running layer, m2/m3, NaN where not seen
    """
    if not tracks or not places:
        return np.zeros(len(places), np.bool_)
    walked = shapely.union_all(list(tracks))
    found = [_is_seen(place, walked, bare_earth, density, grid) for place in places]
    return np.array(found, np.bool_)


def _is_seen(place: Point, walked: shapely.Geometry, bare_earth: Heights, density: Heights, grid: Grid) -> bool:
    view = shapely.shortest_line(walked, place)
    if view.length > PAST_M:
        return False
    if view.length <= SURELY_M:
        return True
    n = max(2, int(view.length / STEP_M) + 1)
    at = shapely.get_coordinates(shapely.line_interpolate_point(view, np.linspace(0, 1, n), normalized=True))
    ground, growth = _along(bare_earth, grid, at), _along(density, grid, at)
    if not np.isfinite(ground).all() or not np.isfinite(growth).all():
        return False
    sight = np.linspace(ground[0] + EYE_M, ground[-1] + THING_M, n)
    through = np.exp(-FACING * growth.mean() * view.length)
    return bool((ground[1:-1] <= sight[1:-1]).all() and through >= LEAST_SIGHT)


def _along(values: Heights, grid: Grid, at: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) cell values at places; NaN outside."""
    cell = grid.cell_index(at[:, 0], at[:, 1])
    return np.where(cell >= 0, values.ravel()[np.maximum(cell, 0)], np.nan)
