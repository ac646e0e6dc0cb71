"""Places at even steps along many lines at once."""

from __future__ import annotations

import numpy as np

from pipeline.landform.lines.even_steps import at_even_steps, ways_along


def lines() -> list[np.ndarray]:
    """Winding lines of 2 to 40 vertices far from the origin, one of them with vertices that stand twice."""
    random = np.random.default_rng(4)
    far = np.array([412_000.0, 6_051_000.0])
    found = [random.normal(0, 5, (n, 2)).cumsum(axis=0) + far for n in (2, 3, 40, 17)]
    return [*found, np.repeat(found[1], 2, axis=0)]


def test_every_line_is_stepped_along_as_numpy_steps_along_it() -> None:
    """Judge outside the project: linspace and interp of one line after the other give the same bits."""
    n_steps = np.array([1, 7, 60, 5, 4])
    ends = np.cumsum([len(line) for line in lines()])
    way_m = ways_along(np.concatenate(lines()), ends)
    places, at_m = at_even_steps(np.concatenate(lines()), way_m, ends, n_steps)
    first = 0
    for line, n in zip(lines(), n_steps, strict=True):
        way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        at = np.linspace(0, way[-1], n + 1)
        np.testing.assert_array_equal(at_m[first : first + n + 1], at)
        for axis in (0, 1):
            np.testing.assert_array_equal(places[first : first + n + 1, axis], np.interp(at, way, line[:, axis]))
        first += n + 1
    assert first == len(places)
