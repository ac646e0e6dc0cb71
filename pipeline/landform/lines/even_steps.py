"""Places at even steps along many lines at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import EastNorth

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]


def ways_along(vertices: EastNorth, ends: Numbers, /) -> Floats:
    """(n,) metres along its line from its first vertex to each.

    Parameters
    ----------
    vertices : (n, 2) of all lines, one after the other
    ends : (m,) number of the vertex after the last one of each line
    """
    step = np.diff(vertices, axis=0, prepend=vertices[:1])
    return _added_up(np.hypot(step[:, 0], step[:, 1]), ends)


def at_even_steps(vertices: EastNorth, way_m: Floats, ends: Numbers, n_steps: Numbers, /) -> tuple[EastNorth, Floats]:
    """(k, 2) places at so many equal steps along each line, both its ends included, and (k,) metres along it.

    What `numpy.linspace` and `numpy.interp` give of each line, for all of them at once.

    Parameters
    ----------
    vertices, way_m, ends : as `ways_along` takes them and gives them
    n_steps : (m,) at least 1 each
    """
    places, at_m = np.empty((int((n_steps + 1).sum()), 2)), np.empty(int((n_steps + 1).sum()))
    _fill_steps(np.ascontiguousarray(vertices), way_m, ends, n_steps, places, at_m)
    return places, at_m


@compiled
def _added_up(step_m: Floats, ends: Numbers) -> Floats:
    """As `ways_along`, of the steps from one vertex to the next."""
    way_m = np.empty(len(step_m))
    first = 0
    for end in ends:
        way_m[first] = 0.0
        for vertex in range(first + 1, end):
            way_m[vertex] = way_m[vertex - 1] + step_m[vertex]
        first = end
    return way_m


@compiled
def _fill_steps(
    vertices: EastNorth, way_m: Floats, ends: Numbers, n_steps: Numbers, places: EastNorth, at_m: Floats
) -> None:
    """As `at_even_steps`."""
    first, new = 0, 0
    for line in range(len(ends)):
        last, vertex = ends[line] - 1, first
        step_m = way_m[last] / n_steps[line]
        for step in range(n_steps[line] + 1):
            along_m = way_m[last] if step == n_steps[line] else step * step_m
            while vertex < last and way_m[vertex + 1] <= along_m:
                vertex += 1
            at_m[new] = along_m
            for axis in range(2):
                if vertex == last or way_m[vertex] == along_m:
                    places[new, axis] = vertices[vertex, axis]
                else:
                    rise = (vertices[vertex + 1, axis] - vertices[vertex, axis]) / (way_m[vertex + 1] - way_m[vertex])
                    places[new, axis] = rise * (along_m - way_m[vertex]) + vertices[vertex, axis]
            new += 1
        first = ends[line]
