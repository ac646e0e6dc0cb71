"""Standing water of an area of any size: looked for in larger cells, its shore drawn in the area's own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.larger_cells import cells_times_as_wide
from pipeline.lattice.reach import within_reach
from pipeline.water.sight.ground import Ground, Window, seen_in, small_window, times_for
from pipeline.water.standing import Usual, Water, bodies_of, water_surface

MOST_SEARCHED = 20_000_000
"""Most cells that standing water is looked for in at one time, for the sake of memory: some 70 bytes each. An area of
more is searched in larger cells first. Where cells are half a metre that begins at 5 square kilometres; the search
takes cells of 1 m up to 20, of 2 m up to 80 and of 4 m up to 320 square kilometres, and misses ponds that are less
than three such cells across. Our choice."""
MOST_DRAWN = 20_000_000
"""Most cells around one body of water that its shore is drawn in, for the sake of memory: 5 square kilometres of half a
metre. A lake that needs a larger rectangle, or a long river, gets a shore of larger cells. Our choice."""
SHORE_MARGIN_M = 20.0
"""How far, in metres, the shore may lie from where the search in larger cells has seen the water: a few of its cells,
and the window in which pulses are counted. Our choice."""


def standing_water(ground: Ground, /, *, thin_max_ratio: float) -> list[Water]:
    """Ponds and lakes, largest first.

    Parameters
    ----------
    thin_max_ratio : float
        Share of the usual pulses below which level ground is water.
    """
    grid = ground.grid
    times = times_for(grid, most_cells=MOST_SEARCHED)
    sight = seen_in(ground, (slice(0, grid.rows), slice(0, grid.cols)), times)
    usual = Usual.of(sight)
    surface = water_surface(sight, usual, thin_max_ratio=thin_max_ratio)
    if times == 1:
        bodies = bodies_of(surface, sight)
    else:
        larger, water = sight.grid, surface.water
        del sight, surface
        bodies = [
            body
            for place in _places(water, larger)
            for body in _drawn(ground, place, times, usual, thin_max_ratio=thin_max_ratio)
        ]
    return sorted(bodies, key=lambda body: (-body.shape.area, body.shape.bounds))


@dataclass(frozen=True)
class _Place:
    """Where the search in larger cells has seen water.

    Attributes
    ----------
    window : Window
        In larger cells.
    grid : Grid
        The larger cells of the window.
    near : (rows, cols) bool
        Those in which the shore may lie. Other cells of the window belong to other places.
    """

    window: Window
    grid: Grid
    near: Mask


def _places(water: Mask, larger: Grid) -> Iterator[_Place]:
    labels, _ = ndimage.label(within_reach(water, reach_m=SHORE_MARGIN_M, cell_m=larger.cell_m))
    for number, (rows, cols) in enumerate(ndimage.find_objects(labels), start=1):
        yield _Place((rows, cols), larger.part((rows, cols)), labels[rows, cols] == number)


def _drawn(ground: Ground, place: _Place, times: int, usual: Usual, /, *, thin_max_ratio: float) -> list[Water]:
    """The bodies of water of a place, in cells as small as `MOST_DRAWN` allows."""
    window = small_window(cells_times_as_wide(ground.grid, times), ground.grid, times, place.window)
    sight = seen_in(ground, window, times_for(ground.grid.part(window), most_cells=MOST_DRAWN))
    surface = water_surface(sight, usual, thin_max_ratio=thin_max_ratio)
    return [body for body in bodies_of(surface, sight) if _is_in(body, place)]


def _is_in(body: Water, place: _Place) -> bool:
    at = body.shape.representative_point()
    (cell,) = place.grid.cell_index(np.array([at.x]), np.array([at.y])).tolist()
    return cell >= 0 and bool(place.near.ravel()[cell])
